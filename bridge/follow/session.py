"""The focus session and the check walk: heads that an operator aims by hand, at a working light."""

from __future__ import annotations

import math

import numpy as np

from bridge.geometry.frames import Array
from bridge.rig.rig import Rig

WORKING_LEVEL = 0.2
WALK_RENEWAL_S = 0.5
TAKE_UP_RAD = math.radians(1.0)


class Session:
    """Per head (N,): is it aimed by hand, where to (rad), with which light. The working light is capped at 20 %.

    A head is always brought to its final angles from below, so that backlash falls on the same side each time: where
    it would have to come from above it first goes a degree further (`via`), then back up.
    """

    def __init__(self, rig: Rig) -> None:
        count = len(rig)
        self.active = np.zeros(count, dtype=bool)
        self.angle = np.zeros((2, count))
        self.via = np.full((2, count), np.nan)
        self.zoom = np.full(count, np.nan)
        self.focus = np.full(count, np.nan)
        self.level = np.full(count, WORKING_LEVEL)
        self.walk_mark: Array | None = None
        self._walk_until_s = -math.inf
        self._low = np.stack([rig.pan.low, rig.tilt.low])

    def begin(self, fixture: int, pan_rad: float, tilt_rad: float) -> None:
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

    def set_level(self, fixture: int, level: float) -> None:
        """Working light 0..1 of a head, not above the cap."""
        self.level[fixture] = min(level, WORKING_LEVEL)

    def done(self, fixture: int) -> None:
        """Back to following."""
        self.active[fixture] = False

    def setpoints(self, commanded: Array) -> Array:
        """Angles (2, N) to go to now, given the angles commanded so far."""
        arrived = np.abs(commanded - self.via) < 1e-4
        self.via[arrived] = np.nan
        return np.where(np.isnan(self.via), self.angle, self.via)

    def walk(self, mark: Array, now_s: float) -> None:
        """Press and hold: all solved heads on this mark for the next half second."""
        self.walk_mark, self._walk_until_s = mark, now_s + WALK_RENEWAL_S

    def walking(self, now_s: float) -> bool:
        """Whether the check walk is still held."""
        if now_s > self._walk_until_s:
            self.walk_mark = None
        return self.walk_mark is not None
