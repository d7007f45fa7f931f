"""The last thing before light leaves: no head flashes faster than people can bear, whatever is asked.

Flashing above three times a second can bring on seizures (W3C, WCAG 2.2, success criterion 2.3.1, which also says
that a change of a tenth of full light counts). A head may go dark at any moment at once. It comes on again, or back
up by more than a tenth after it went down by as much, at most three times in any second; a fourth rise waits, low.
"""

from __future__ import annotations

import numpy as np

from bridge.follow.keeping import NEVER_S, Field, Part, time_field
from bridge.geometry.frames import Array

SWING = 0.1
RISES = 3
WITHIN_S = 1.05  # a second, and what packets may come closer together on their way


class FlashGuard(Part):
    """Per head (N,): is it `up`, the highest level since it rose or the lowest since it fell, and its last rises."""

    kept = (
        Field("_up", "heads", bool),
        Field("_mark", "heads", low=0.0, high=1.0),
        time_field("_risen_s", "heads"),
    )

    def __init__(self, count: int) -> None:
        self._up = np.zeros(count, dtype=bool)
        self._mark = np.zeros(count)
        self._risen_s = np.full((count, RISES), NEVER_S)

    def limit(self, wanted: Array, now_s: float) -> Array:
        """The levels (N,) that may be sent of those that are wanted."""
        down = ~self._up
        falling = (wanted < self._mark - SWING) | (wanted <= 0)
        if not (down | falling).any():
            self._mark = np.maximum(self._mark, wanted)
            return wanted
        fallen = self._up & falling
        lowest = np.where(fallen, wanted, np.minimum(self._mark, wanted))
        self._mark = np.where(down | fallen, lowest, np.maximum(self._mark, wanted))
        rising = down & ((wanted > self._mark + SWING) | ((self._mark <= 0) & (wanted > 0)))
        begun = rising & (now_s - self._risen_s[:, 0] >= WITHIN_S)
        if begun.any():
            self._risen_s[begun] = np.column_stack([self._risen_s[begun, 1:], np.full(int(begun.sum()), now_s)])
        self._up = (self._up & ~fallen) | begun
        self._mark = np.where(begun, wanted, self._mark)
        return np.where(rising & ~begun, self._mark, wanted)
