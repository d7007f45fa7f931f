"""Writes the state to go on from, a little ahead of any crash, without making a frame wait."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Protocol

from bridge.daemon.state import StateFolder
from bridge.daemon.transmission import Transmission
from bridge.daemon.worker import Worker

LIVE_EVERY_S = 0.5
SOON_S = 0.1
"""What was switched is written with the next frame, but no oftener than this."""


class Engine(Protocol):
    """What is needed of `bridge.follow.engine.Engine` here."""

    def whole(self, now_s: float) -> dict[str, Any]: ...


class Memory:
    """Takes snapshots in the loop and hands them to the worker. `wall` gives seconds since 1970."""

    def __init__(
        self,
        folder: StateFolder,
        engine: Engine,
        transmission: Transmission,
        worker: Worker,
        wall: Callable[[], float],
    ) -> None:
        self._folder, self._engine, self._transmission = folder, engine, transmission
        self._worker, self._wall = worker, wall
        self._written: dict[str, Any] | None = None
        self._kept_s = -math.inf
        self._changed = True

    def changed(self) -> None:
        """Something was switched that a crash must not undo: write it with the next frame."""
        self._changed = True

    def keep(self, now_s: float) -> bool:
        """Write what is due; True when there was something."""
        if now_s < self._kept_s + (SOON_S if self._changed else LIVE_EVERY_S):
            return False
        self._changed, self._kept_s = False, now_s
        self._keep_lasting(self._keep_live(now_s, running=True))
        return True

    def goodbye(self, now_s: float) -> None:
        """The stop was clean: the next start is a fresh one, but for what lasts."""
        self._keep_lasting(self._keep_live(now_s, running=False))

    def _keep_lasting(self, lasting: dict[str, Any]) -> None:
        if lasting != self._written:
            self._written = lasting
            self._worker.latest("still and trims", lambda: self._write_lasting(lasting))

    def _write_lasting(self, lasting: dict[str, Any]) -> None:
        try:
            self._folder.write_lasting({"engine": lasting})
        except OSError:
            self._written = None  # a full disk: try again with the next look
            raise

    def _keep_live(self, now_s: float, running: bool) -> dict[str, Any]:
        """Returns what lasts of it."""
        transmission, engine = self._transmission, self._engine.whole(now_s)
        data = {
            "running": running,
            "wall_s": self._wall(),
            "armed": transmission.armed,
            "refused": sorted(transmission.contested),
            "sequences": {str(u): n for u, n in transmission.sequences.items()},
            "engine": engine,
        }
        self._worker.latest("live state", lambda: self._folder.write_live(data))
        return dict(engine["lasting"])
