"""One thread for everything that touches a disk, so that the loop never waits for one."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from bridge.daemon.logs import LOG

Job = Callable[[], None]


class Worker:
    """Runs jobs in order. A job under a key that is still waiting is replaced by the newer one of that key."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[str | Job | None] = queue.SimpleQueue()
        self._latest: dict[str, Job] = {}
        self._failing: set[str] = set()
        self._thread = threading.Thread(target=self._run, name="disk", daemon=True)
        self._thread.start()

    def do(self, job: Job) -> None:
        """Run this, after what was given before."""
        self._queue.put(job)

    def latest(self, key: str, job: Job) -> None:
        """Run this, or what is given later under the same key before its turn comes."""
        self._latest[key] = job
        self._queue.put(key)  # a key whose job was run under an earlier turn is passed over

    def stop(self, timeout_s: float = 5.0) -> None:
        """Finish what was given, then end."""
        self._queue.put(None)
        self._thread.join(timeout_s)

    def _run(self) -> None:
        while (item := self._queue.get()) is not None:
            name = item if isinstance(item, str) else "job"
            job = self._latest.pop(item, None) if isinstance(item, str) else item
            if job is None:
                continue
            try:
                job()
            except Exception as error:  # said once until it works again; a full disk must not stop the show
                if name not in self._failing or name == "job":
                    LOG.error("could not write (%s): %s", name, error)
                self._failing.add(name)
            else:
                if name in self._failing and name != "job":
                    LOG.warning("writing (%s) works again", name)
                self._failing.discard(name)
