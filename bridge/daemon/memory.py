"""Writes the state to go on from, a little ahead of any crash, without making a frame wait."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from bridge.daemon.boot import Moment
from bridge.daemon.lasting import Lasting
from bridge.daemon.state import StateFolder
from bridge.daemon.worker import Worker
from bridge.door.door import Door

LIVE_EVERY_S = 1.0
"""What is younger than that, angles and places, is in mapped memory (freshest.py)."""
SOON_S = 0.1
"""What was set, a level say, is written with the next frame, but no oftener than this."""
SWITCHES = frozenset({"arm", "dark", "out", "still", "trim"})
"""The last words of the addresses of what is on disk at once, in `lasting.json`."""

Told = Callable[[str, bool], None]


class Memory:
    """Takes snapshots in the loop and hands them on: what lasts to a thread of its own, the rest to the worker.

    `told(part, on_disk)` is called, on another thread, once a changed part of what lasts is on disk or could not be
    written; parts are called armed, dark, out, still, trims and angles.
    """

    def __init__(
        self, folder: StateFolder, door: Door, worker: Worker, moment: Callable[[], Moment], told: Told
    ) -> None:
        self._folder, self._door = folder, door
        self._worker, self._moment = worker, moment
        self._lasting = Lasting(self._write_lasting, told)
        self._kept_s = -math.inf
        self._changed = self._switched = True

    def obeyed(self, address: str) -> None:
        """A message was obeyed: note whether a crash must not undo it."""
        words = address.split("/")
        if words[1] not in ("target", "sight", "walk"):  # those come all the time, and are kept every second
            self._changed = True
            self._switched = self._switched or words[-1] in SWITCHES

    def switch(self) -> None:
        """Hand on what was switched since the last call: to be called as soon as messages were obeyed."""
        if self._switched:
            self._switched = False
            self._lasting.keep(self._door.lasting(), self._moment())

    def keep(self, now_s: float) -> bool:
        """Write what is due; True when there was something."""
        self.switch()
        if now_s < self._kept_s + (SOON_S if self._changed else LIVE_EVERY_S):
            return False
        self._changed, self._kept_s = False, now_s
        self._keep_live(running=True)
        self._lasting.keep(self._door.lasting(), self._moment())  # a head that was made still comes to rest later
        return True

    def goodbye(self) -> None:
        """The stop was clean: the next start is a fresh one, but for what lasts."""
        self._keep_live(running=False)
        self._lasting.keep(self._door.lasting(), self._moment())
        self._lasting.stop()

    def _write_lasting(self, parts: Mapping[str, Any], moment: Moment) -> None:
        self._folder.write_lasting({"boot": moment.boot, "boot_s": moment.s, "door": dict(parts)})

    def _keep_live(self, running: bool) -> None:
        moment = self._moment()
        data = {
            "running": running,
            "boot": moment.boot,
            "boot_s": moment.s,
            "sequences": {str(u): n for u, n in self._door.transmission.sequences.items()},
            "door": self._door.left_behind(),
        }
        self._worker.latest("live state", lambda: self._folder.write_live(data))
