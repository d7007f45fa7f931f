"""A thin loop over `select`: wakes to the microsecond, where asyncio's and epoll's timers round to the millisecond."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import os
import resource
import select
import signal
import sys
import time
from collections import deque
from collections.abc import Callable
from typing import Any

from bridge.daemon.logs import LOG
from bridge.errors import NetworkError

_PR_SET_TIMERSLACK = 29
MOST_DESCRIPTORS = 65536
DESCRIPTORS = 40
"""Beside the sockets that listen: streams, pipes, the state folder, a solve, and the modules that are imported."""
SWITCH_S = 0.0005
"""How long another thread may keep the interpreter while the loop wants it (Python's default is 5 ms)."""


class Loop:
    """Calls readers when their descriptors are readable, and `on_due` when `due_s` has come.

    `select` takes descriptors below 1024 only: create what is added here before sockets by the hundred.
    """

    def __init__(self) -> None:
        self._readers: dict[int, Callable[[], bool]] = {}
        self._rests: dict[int, Callable[[], float]] = {}
        self._later: deque[Callable[[], None]] = deque()
        self._signals: dict[signal.Signals, Any] = {}
        self._wake_read, self._wake_write = os.pipe()
        for end in (self._wake_read, self._wake_write):
            os.set_blocking(end, False)
        self.add_reader(self._wake_read, self._woken)
        self._ended = False

    def add_reader(self, descriptor: int, read: Callable[[], bool], rests: Callable[[], float] | None = None) -> None:
        """`read` is called when there is something to read; again at once for as long as it returns True.

        `rests` tells until when nobody needs to look (monotonic seconds; the past: now).
        """
        self._readers[descriptor] = read
        if rests is not None:
            self._rests[descriptor] = rests

    def remove_reader(self, descriptor: int) -> None:
        """Look at this one no more; before it is closed."""
        self._readers.pop(descriptor, None)
        self._rests.pop(descriptor, None)

    def call(self, job: Callable[[], None]) -> None:
        """Run this in the loop soon; may be called from any thread."""
        self._later.append(job)
        with contextlib.suppress(OSError):  # full: it is awake anyway
            os.write(self._wake_write, b"\0")

    def on_signals(self, numbers: tuple[signal.Signals, ...], handle: Callable[[], None]) -> None:
        """Run `handle` in the loop when one of these signals comes."""
        signal.set_wakeup_fd(self._wake_write, warn_on_full_buffer=False)
        for number in numbers:
            before = signal.signal(number, lambda *_: self._later.append(handle))
            self._signals.setdefault(number, before)

    def end(self) -> None:
        """Leave `run` after this round."""
        self._ended = True

    def run(self, due_s: Callable[[], float], on_due: Callable[[], None]) -> None:
        """Until `end` is called."""
        again: set[int] = set()
        while True:
            while self._later:
                self._guarded(self._later.popleft())
            if self._ended:
                return
            ready = self._ready(due_s(), at_once=bool(again))
            again = {number for number in again.union(ready) if number in self._readers and self._readers[number]()}
            if time.monotonic() >= due_s():
                on_due()

    def _ready(self, due_s: float, at_once: bool) -> list[int]:
        """Descriptors that can be read, when there is one or the time has come."""
        now_s, until_s, watched = time.monotonic(), due_s, list(self._readers)
        for number, rests in self._rests.items():
            if (rest_s := rests()) > now_s and not at_once:
                watched.remove(number)
                until_s = min(until_s, rest_s)
        return select.select(watched, (), (), 0.0 if at_once else max(0.0, until_s - now_s))[0]

    def close(self) -> None:
        """Give back signals and descriptors."""
        with contextlib.suppress(ValueError):
            signal.set_wakeup_fd(-1)
            for number, before in self._signals.items():
                signal.signal(number, before)
        os.close(self._wake_read)
        os.close(self._wake_write)

    def _woken(self) -> bool:
        with contextlib.suppress(BlockingIOError):
            os.read(self._wake_read, 4096)
        return False

    @staticmethod
    def _guarded(job: Callable[[], None]) -> None:
        try:
            job()
        except Exception:  # said, never fatal: the frames go on
            LOG.exception("a fault of this program, please report it")


def tune_process() -> None:
    """Best effort: precise timers, short turns for other threads, as many sockets as the system lets us have."""
    sys.setswitchinterval(SWITCH_S)
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, 1, 0, 0, 0)  # ns; the default of 50 us is fine as well
    with contextlib.suppress(OSError, ValueError):
        hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, MOST_DESCRIPTORS), hard))
    with contextlib.suppress(OSError):
        os.nice(-10)  # only with the privilege; without it the figures hold on a quiet machine


def require_descriptors(universes: int = 1) -> None:
    """NetworkError where the system does not let us open the files and sockets that a show needs."""
    allowed, needed = resource.getrlimit(resource.RLIMIT_NOFILE)[0], DESCRIPTORS + universes
    if allowed < needed:
        raise NetworkError(
            f"this program may open {allowed} files and sockets, {needed} are needed (one for each universe and "
            f"{DESCRIPTORS} more); `ulimit -n`, or LimitNOFILE of a systemd unit, allows more"
        )


def freeze_memory() -> None:
    """From now on the collector runs only when the service asks for it, in the slack after a frame.

    What start-up made is set aside for good, so that such a collection looks at a few fresh objects.
    """
    gc.collect()
    gc.freeze()
    gc.disable()
