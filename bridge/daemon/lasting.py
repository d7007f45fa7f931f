"""What people's safety may hang on goes to disk first: at the moment it is switched, on a thread of its own.

Sightings and solves take their time on the disk; `still` must not stand in line behind them. It is the newest that
counts: what was not written yet is replaced, and a disk that fails is tried again until it takes it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Any

from bridge.daemon.boot import Moment
from bridge.daemon.logs import LOG

Parts = Mapping[str, Any]
RETRY_S = 1.0
NEVER = object()


class Lasting:
    """`write(parts, moment)` puts all parts on disk for sure, or raises OSError; it runs on the thread.

    `told(part, on_disk)` hears of every part that was changed since the first: that it is on disk now, or could not
    be written (once; when it is written after all, it hears that). It is called on the thread.
    """

    def __init__(self, write: Callable[[Parts, Moment], None], told: Callable[[str, bool], None]) -> None:
        self._write, self._told = write, told
        self._parts: Parts = {}
        self._at_start: Parts = {}
        self._waiting: tuple[Parts, Moment] | None = None
        self._on_disk: Parts = {}
        self._stopping = False
        self._wake = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="lasting", daemon=True)
        self._thread.start()

    def keep(self, parts: Parts, moment: Moment) -> None:
        """Write these parts, which were so at this moment, as soon as can be; the same as before changes nothing."""
        with self._wake:
            self._at_start = self._at_start or parts
            if parts != self._parts:
                self._parts, self._waiting = parts, (parts, moment)
                self._wake.notify()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Write what is waiting, then end; a disk that fails is tried once more."""
        with self._wake:
            self._stopping = True
            self._wake.notify()
        self._thread.join(timeout_s)

    def _run(self) -> None:
        failed: tuple[Parts, Moment] | None = None
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._waiting or self._stopping, RETRY_S if failed else None)
                job, self._waiting, stopping = self._waiting or failed, None, self._stopping
            if job is not None:
                failed = None if self._wrote(*job, failing=failed is not None, again=job is failed) else job
            if stopping:
                return

    def _wrote(self, parts: Parts, moment: Moment, failing: bool, again: bool) -> bool:
        changed = [part for part, value in parts.items() if self._on_disk.get(part, NEVER) != value]
        try:
            self._write(parts, moment)
        except Exception as error:  # a full disk must not stop the show, and whoever relies on it must know
            if not failing:
                LOG.error("NOT ON DISK, a crash would lose it: %s (%s); tried again", ", ".join(changed), error)
            if not again:
                self._tell(changed, on_disk=False)
            return False
        if failing:
            LOG.warning("on disk now: %s", ", ".join(changed))
        if not failing and not self._on_disk:  # how things were at the start is no news
            changed = [part for part in changed if self._at_start.get(part, NEVER) != parts[part]]
        self._on_disk = parts
        self._tell(changed, on_disk=True)
        return True

    def _tell(self, parts: list[str], on_disk: bool) -> None:
        for part in parts:
            self._told(part, on_disk)
