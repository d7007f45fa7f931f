"""Values that go from one to another over a time, each by itself, linearly: levels, sizes, heights."""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.keeping import NEVER_S, Field, Part, Seats, time_field
from bridge.geometry.frames import Array


class Ramps(Part):
    """n values: each on its way from `start` to `goal` between `begin_s` and `end_s`."""

    def __init__(self, values: Array, over: str = "", low: float = -np.inf, high: float = np.inf) -> None:
        """`over` says whose values they are (see keeping.Field); outside `low` .. `high` none is taken back."""
        self.goal: Array = np.array(values, dtype=np.float64)
        self.start = self.goal.copy()
        self.begin_s = np.full(len(self.goal), NEVER_S)
        self.end_s = np.full(len(self.goal), NEVER_S)
        self._over_s = NEVER_S
        self.kept = (
            Field("goal", over, low=low, high=high),
            Field("start", over, low=low, high=high),
            time_field("begin_s", over),
            time_field("end_s", over),
        )

    def restore(self, data: Any, seats: Seats) -> None:
        """As of `Part`. What is on no way that has a beginning and an end is at its goal."""
        super().restore(data, seats)
        on_way = np.isfinite(self.begin_s) & (self.begin_s < self.end_s) & np.isfinite(self.end_s)
        self.begin_s, self.end_s = (np.where(on_way, at_s, NEVER_S) for at_s in (self.begin_s, self.end_s))
        self._over_s = float(self.end_s.max(initial=NEVER_S))

    def set(self, number: int, goal: float, now_s: float, over_s: float = 0.0) -> None:
        """Let one value go to its goal, from where it is now, in `over_s` seconds."""
        self.start, self.goal = self.start.copy(), self.goal.copy()
        self.start[number] = self.at(now_s)[number]
        self.goal[number] = goal
        self.begin_s[number], self.end_s[number] = (now_s, now_s + over_s) if over_s > 0 else (NEVER_S, NEVER_S)
        self._over_s = float(self.end_s.max())

    def at(self, now_s: float) -> Array:
        """The values (n,) now; the array is not to be changed."""
        if now_s >= self._over_s:
            return self.goal
        on_way = now_s < self.end_s
        begin_s = np.where(on_way, self.begin_s, 0.0)
        span = np.where(on_way, self.end_s - begin_s, 1.0)
        share = np.where(on_way, (now_s - begin_s) / span, 1.0)
        return self.start + np.minimum(np.maximum(share, 0.0), 1.0) * (self.goal - self.start)
