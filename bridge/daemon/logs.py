"""Log lines on standard error, written by a thread of their own: a blocked terminal or pipe cannot stop a frame."""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import sys
import threading
import time
from collections.abc import Callable

LOG = logging.getLogger("tetherlight")
QUEUE_LINES = 2000
MOST_REASONS = 1000
FIRSTS = 10
STANDARD_ERROR = 2


class _UtcFormatter(logging.Formatter):
    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        moment = time.gmtime(record.created)
        return time.strftime("%Y-%m-%dT%H:%M:%S", moment) + f".{int(record.msecs):03d}+00:00"

    def formatMessage(self, record: logging.LogRecord) -> str:
        """The one way out for texts from the network: names must neither forge a line nor drive a terminal."""
        record.message = printable(record.message.replace("\n", " | "))
        return super().formatMessage(record)


class _Hand(logging.Handler):
    """Hands records to the writing thread; when that is stuck, the newest lines are dropped, never waited for."""

    def __init__(self) -> None:
        super().__init__()
        self.records: queue.Queue[logging.LogRecord | None] = queue.Queue(QUEUE_LINES)

    def emit(self, record: logging.LogRecord) -> None:
        with contextlib.suppress(queue.Full):
            self.records.put_nowait(record)


class _Gone(logging.Handler):
    """After the end: without a handler the logging module would write to standard error itself, and might block."""

    def emit(self, record: logging.LogRecord) -> None:
        pass


def start_logging(level: str = "info") -> Callable[[], None]:
    """Log to standard error from now on; returns the function that writes what is left and ends the thread.

    Where nobody reads standard error (a full pipe, a stopped terminal) the thread may stay in a write for ever. So it
    writes to the descriptor itself, holding no lock that the end of the interpreter would wait for, and is given up.
    """
    hand = _Hand()
    LOG.handlers = [hand]
    LOG.setLevel(level.upper())
    LOG.propagate = False
    thread = threading.Thread(target=_write_all, args=(hand.records, _descriptor()), name="log", daemon=True)
    thread.start()

    def stop() -> None:
        with contextlib.suppress(queue.Full):
            hand.records.put(None, timeout=0.5)
        thread.join(timeout=1.0)
        LOG.handlers = [_Gone()]

    return stop


def _descriptor() -> int:
    try:
        return sys.stderr.fileno()
    except (AttributeError, OSError, ValueError):  # closed, or replaced by something that is no file
        return STANDARD_ERROR


def _write_all(records: queue.Queue[logging.LogRecord | None], descriptor: int) -> None:
    formatter = _UtcFormatter("%(asctime)s %(levelname)s %(message)s")
    while (record := records.get()) is not None:
        try:
            left = f"{formatter.format(record)}\n".encode("utf-8", "backslashreplace")
            while left:
                left = left[os.write(descriptor, left) :]
        except Exception:  # the reader is gone, or a line that cannot be made: the next one may be written
            continue


def printable(text: str) -> str:
    """What came from a network, safe to show: no line breaks and no terminal's control characters."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else "?" for sign in text)


class Throttle:
    """Counts, and lets at most one line a second per reason through to the log, beside what is new of it.

    What was kept back is said with the next line of that reason, or by `flush` once the reason has gone quiet. The
    first of each `kind` of a reason is always said, unless made-up kinds come by more than FIRSTS in a second.
    """

    def __init__(self, say: Callable[[str], None], every_s: float = 1.0, named: bool = True) -> None:
        """`named`: every line begins with its reason."""
        self.total = 0
        self._say, self._named = say, named
        self._every_s = every_s
        self._last_s: dict[str, float] = {}
        self._kept: dict[str, tuple[int, str]] = {}
        self._known: set[tuple[str, str]] = set()
        self._firsts: dict[str, int] = {}

    def count(self, reason: str, text: str, now_s: float, kind: str = "") -> None:
        """One more of `reason`; `text` is said unless this reason had its line within the last second.

        `kind` is the address that it is about, say.
        """
        self.total += 1
        quiet = now_s - self._last_s.get(reason, -1e9) >= self._every_s
        if quiet:
            self._last_s[reason], self._firsts[reason] = now_s, 0
        if not quiet and not self._is_first(reason, kind):
            self._kept[reason] = (self._kept.get(reason, (0, ""))[0] + 1, text)
            return
        self._known.add((reason, kind))
        kept, _ = self._kept.pop(reason, (0, ""))
        more = f" (and {kept} more like it)" if kept else ""
        self._say((f"{reason}: " if self._named else "") + printable(text) + more)

    def _is_first(self, reason: str, kind: str) -> bool:
        """Whether this kind was never said, and there is room to say it."""
        if (reason, kind) in self._known or self._firsts.get(reason, 0) >= FIRSTS:
            return False
        self._firsts[reason] = self._firsts.get(reason, 0) + 1
        return True

    def flush(self, now_s: float) -> None:
        """Say what was kept back of reasons that have been quiet for a second."""
        for reason in [r for r in self._kept if now_s - self._last_s[r] >= self._every_s]:
            self._last_s[reason] = now_s
            count, text = self._kept.pop(reason)
            self._say(f"{reason if self._named else printable(text)}: {count} more like it")
        if len(self._last_s) > MOST_REASONS:  # made up by whoever sends: they must not fill memory
            self._last_s = {r: s for r, s in self._last_s.items() if now_s - s < self._every_s or r in self._kept}
            self._firsts = {r: n for r, n in self._firsts.items() if r in self._last_s}
        if len(self._known) > MOST_REASONS:
            self._known.clear()
