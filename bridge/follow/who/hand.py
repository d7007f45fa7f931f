"""Heads in somebody's hands: aimed one by one in a focus session, or all on one mark in a check walk."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bridge.follow.keeping import (
    FARTHEST_M,
    FINEST_RAW,
    LATEST_S,
    NEVER_S,
    Data,
    Field,
    Part,
    Seats,
    mapping_in,
    number_in,
    numbers_in,
)
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3
from bridge.rig.rig import Rig

WORKING_LEVEL = 0.2
WALK_RENEWAL_S = 0.5
TAKE_UP_RAD = math.radians(1.0)
ARRIVED_RAD = 1e-4


class InHand(Part):
    """Per head (N,): is it aimed by hand, where to (2, N) rad, with which light. The working light is capped at 20 %.

    A head is always brought to its final angles from below, so that backlash falls on the same side each time: where
    it would have to come from above it first goes a degree further (`via`), then back up.
    """

    kept = (
        Field("active", "heads", bool),
        Field("angle", "heads", axis=1),
        Field("via", "heads", gap=np.nan, axis=1),
        Field("zoom", "heads", low=0, high=FINEST_RAW, gap=np.nan),
        Field("focus", "heads", low=0, high=FINEST_RAW, gap=np.nan),
        Field("level", "heads", low=0, high=WORKING_LEVEL),
        Field("seen", "heads", bool),
    )

    def __init__(self, rig: Rig) -> None:
        count = len(rig)
        self.active = np.zeros(count, dtype=bool)
        self.angle = np.zeros((2, count))
        self.via = np.full((2, count), np.nan)
        self.zoom = np.full(count, np.nan)
        self.focus = np.full(count, np.nan)
        self.level = np.full(count, WORKING_LEVEL)
        self.seen = np.zeros(count, dtype=bool)
        self._walk_mark: Point3 | None = None
        self._walk_until_s = NEVER_S
        self._low = np.stack([rig.pan.low, rig.tilt.low])

    # One head

    def take(self, fixture: int, pan_rad: float, tilt_rad: float) -> None:
        """Take a head out of following, at the angles it has, unless it is aimed by hand already."""
        if not self.active[fixture]:
            self.active[fixture] = True
            self.angle[:, fixture] = pan_rad, tilt_rad
            self.via[:, fixture] = np.nan
            self.zoom[fixture] = self.focus[fixture] = np.nan
            self.level[fixture] = WORKING_LEVEL

    def point(self, fixture: int, pan_rad: float, tilt_rad: float) -> None:
        """Aim a head; what would arrive from above takes the way round by `via`."""
        wanted = np.array([pan_rad, tilt_rad])
        from_above = wanted < self.angle[:, fixture] - 1e-9
        below = np.maximum(wanted - TAKE_UP_RAD, self._low[:, fixture])
        self.via[:, fixture] = np.where(from_above, below, np.nan)
        self.angle[:, fixture] = wanted

    def set_raw(self, fixture: int, channel: str, raw: float) -> None:
        """Zoom or focus of a head, raw."""
        (self.zoom if channel == "zoom" else self.focus)[fixture] = raw

    def set_level(self, fixture: int, level: float) -> None:
        """Working light 0..1 of a head, not above the cap."""
        self.level[fixture] = min(level, WORKING_LEVEL)

    def done(self, fixture: int) -> None:
        """Back to following."""
        self.active[fixture] = False

    def angles(self, fixture: int) -> tuple[float, float] | None:
        """Pan and tilt (rad) to which a head is aimed by hand, or None."""
        pan, tilt = self.angle[:, fixture].tolist()
        return (pan, tilt) if self.active[fixture] else None

    def setpoints(self, commanded: Array) -> Array:
        """Angles (2, N) to go to now, given the angles commanded so far."""
        self.via[np.abs(commanded - self.via) < ARRIVED_RAD] = np.nan
        return np.where(np.isnan(self.via), self.angle, self.via)

    # All heads

    def walk(self, mark: Point3, now_s: float) -> None:
        """Press and hold: all solved heads on this mark for the next half second."""
        if mark != self.walk_mark(now_s):
            self.seen[:] = False
        self._walk_mark, self._walk_until_s = mark, now_s + WALK_RENEWAL_S

    def walk_mark(self, now_s: float) -> Point3 | None:
        """The mark that is walked, while it is held."""
        return self._walk_mark if now_s <= self._walk_until_s else None

    def walked(self, mark: Point3) -> float:
        """Until when this mark was held last, as far as is known; NEVER_S for another than the last."""
        return self._walk_until_s if self._walk_mark == mark else NEVER_S

    def saw(self, lit: np.ndarray) -> None:
        """Which heads (N,) are lit on the mark that is walked: `seen` since this walk began."""
        self.seen |= lit

    # What is kept

    def state(self) -> Data:
        """As of keeping.Part."""
        mark = None if self._walk_mark is None else list(self._walk_mark)
        return super().state() | {"walk": {"mark": mark, "until_s": self._walk_until_s}}

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part."""
        super().restore(data, seats)
        walk = mapping_in(mapping_in(data).get("walk"))
        mark = numbers_in(walk.get("mark"), 3, -FARTHEST_M, FARTHEST_M)
        until_s = number_in(walk.get("until_s"), -LATEST_S, LATEST_S)
        if mark and until_s is not None:
            self._walk_mark, self._walk_until_s = (mark[0], mark[1], mark[2]), until_s
