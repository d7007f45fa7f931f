"""The one clock of a daemon: monotonic, in whole microseconds, so that a capture gives back every moment exactly."""

from __future__ import annotations

import time


def now_s() -> float:
    """Seconds of the machine's monotonic clock."""
    return time.monotonic_ns() // 1000 / 1e6


def microseconds(at_s: float) -> int:
    """A moment of `now_s` in whole microseconds."""
    return round(at_s * 1e6)
