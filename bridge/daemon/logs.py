"""Log lines on standard error, written by a thread of their own: a blocked terminal or pipe cannot stop a frame."""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable

LOG = logging.getLogger("tetherlight")
QUEUE_LINES = 2000


class _UtcFormatter(logging.Formatter):
    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        moment = time.gmtime(record.created)
        return time.strftime("%Y-%m-%dT%H:%M:%S", moment) + f".{int(record.msecs):03d}+00:00"


class _Hand(logging.Handler):
    """Hands records to the writing thread; when that is stuck, the newest lines are dropped, never waited for."""

    def __init__(self) -> None:
        super().__init__()
        self.records: queue.Queue[logging.LogRecord | None] = queue.Queue(QUEUE_LINES)

    def emit(self, record: logging.LogRecord) -> None:
        with contextlib.suppress(queue.Full):
            self.records.put_nowait(record)


def start_logging(level: str = "info") -> Callable[[], None]:
    """Log to standard error from now on; returns the function that writes what is left and ends the thread."""
    hand = _Hand()
    target = logging.StreamHandler()
    target.setFormatter(_UtcFormatter("%(asctime)s %(levelname)s %(message)s"))
    LOG.handlers = [hand]
    LOG.setLevel(level.upper())
    LOG.propagate = False
    thread = threading.Thread(target=_write_all, args=(hand.records, target), name="log", daemon=True)
    thread.start()

    def stop() -> None:
        with contextlib.suppress(queue.Full):
            hand.records.put(None, timeout=0.5)
        thread.join(timeout=1.0)
        LOG.handlers = []

    return stop


def _write_all(records: queue.Queue[logging.LogRecord | None], target: logging.Handler) -> None:
    while (record := records.get()) is not None:
        target.handle(record)


def printable(text: str) -> str:
    """What came from a network, safe to show: no line breaks and no terminal's control characters."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)


class Throttle:
    """Counts by reason, and lets at most one line a second per reason through to the log.

    What was kept back is said with the next line of that reason, or by `flush` once the reason has gone quiet.
    """

    def __init__(self, say: Callable[[str], None], every_s: float = 1.0) -> None:
        self.counts: dict[str, int] = {}
        self._say = say
        self._every_s = every_s
        self._last_s: dict[str, float] = {}
        self._kept: dict[str, int] = {}

    def count(self, reason: str, text: str, now_s: float) -> None:
        """One more of `reason`; `text` is said unless this reason had its line within the last second."""
        self.counts[reason] = self.counts.get(reason, 0) + 1
        if now_s - self._last_s.get(reason, -1e9) < self._every_s:
            self._kept[reason] = self._kept.get(reason, 0) + 1
            return
        kept = self._kept.pop(reason, 0)
        self._last_s[reason] = now_s
        self._say(f"{reason}: {printable(text)}" + (f" (and {kept} more like it)" if kept else ""))

    def flush(self, now_s: float) -> None:
        """Say what was kept back of reasons that have been quiet for a second."""
        for reason in [r for r in self._kept if now_s - self._last_s[r] >= self._every_s]:
            self._last_s[reason] = now_s
            self._say(f"{reason}: {self._kept.pop(reason)} more like it")

    @property
    def total(self) -> int:
        """How many were counted, all reasons together."""
        return sum(self.counts.values())
