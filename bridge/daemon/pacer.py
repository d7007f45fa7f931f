"""When the next frame is due: a pure class; the thin loop in `service.py` only asks and obeys."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

READ_AHEAD_S = 0.002
MIN_GAP_S = 0.001
"""Between ticks that send nothing: a flood of input that changes no slot must not turn into a flood of ticks."""
MOST_LEAD = 0.5
LEAD_RECOVERY = 1.02


class Pacer:
    """One tick for all universes; times in seconds of one monotonic clock.

    - An observation is due at once when 1/rate has passed since the last packet, else at the first moment it has.
    - Without one, ticks go on at the rate: motion, fades and keep-alives need them.
    - Spacing counts from when the last frame really began to leave, never from a grid: none is early, and a stall is
      followed by one frame, not by a burst of those that were missed. Universes leave in one order, and each keeps its
      own distance (service.py).
    - While packets flow a tick starts as much earlier as every recent one took to compute, so that the rate is
      held by large rigs too; `allowed_s` is what the packets of the tick must wait for.
    """

    def __init__(self, rate_hz: float) -> None:
        self.period_s = 1.0 / rate_hz
        self._last_sent_s = -math.inf
        self._last_tick_s = -math.inf
        self._lead_s = 0.0
        self._fresh = False
        self._observed_s = -math.inf
        self.late_s = 0.0

    def observe(self, at_s: float = -math.inf) -> None:
        """Something arrived, at this moment, that may change the next frame."""
        if not self._fresh:
            self._fresh, self._observed_s = True, at_s

    def set_rate(self, rate_hz: float) -> None:
        """Another rate from the next packet on."""
        self.period_s = 1.0 / rate_hz

    @property
    def allowed_s(self) -> float:
        """The first moment at which the next data packet may leave."""
        return self._last_sent_s + self.period_s

    def due_s(self) -> float:
        """When to tick next; in the past means now."""
        early_s = self.allowed_s - self._lead_s
        idle_s = max(self._last_tick_s + self.period_s, early_s)
        if self._last_tick_s <= self._last_sent_s:  # the last tick sent: both clocks are one
            return early_s
        fresh_s = max(early_s, self._last_tick_s + MIN_GAP_S, self._observed_s)
        return min(idle_s, fresh_s) if self._fresh else idle_s

    def wait(self, clock: Callable[[], float]) -> None:
        """Until `allowed_s`, asleep."""
        while (left_s := self.allowed_s - clock()) > 0:
            time.sleep(left_s)

    def read_s(self) -> float:
        """From when on it is of use to read input: what is read sooner could not leave sooner.

        While packets flow, what has arrived is read in one go shortly before the next frame.
        """
        flowing = self._last_tick_s <= self._last_sent_s
        return self.allowed_s - self._lead_s - READ_AHEAD_S if flowing else -math.inf

    def ticked(self, start_s: float, ready_s: float, sent_s: float | None) -> None:
        """A tick began at `start_s`, was computed at `ready_s`; its first data packet left at `sent_s` (None: none)."""
        self.late_s = 0.0 if sent_s is None else self._late_s(start_s, sent_s)
        self._fresh = False
        self._last_tick_s = start_s
        self._lead_s = min(ready_s - start_s, self._lead_s * LEAD_RECOVERY + 1e-6, MOST_LEAD * self.period_s)
        if sent_s is not None:
            self._last_sent_s = sent_s

    def _late_s(self, start_s: float, sent_s: float) -> float:
        """How late a frame was that left: its packet while packets flow, the start of its tick after silence."""
        if not math.isfinite(self._last_sent_s):
            return 0.0
        flowing = self._last_tick_s <= self._last_sent_s
        return max(0.0, sent_s - self.allowed_s if flowing else start_s - self.due_s())
