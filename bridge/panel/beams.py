"""Where each beam lands as it is sent: by the poses in use, pan and tilt of the feed, on the floors as they stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.frames import Array
from bridge.geometry.stage import Stage
from bridge.rig.fixture import Fixture, Pose
from bridge.rig.rig import Rig

FARTHEST_M = 300.0
NEVER_M = 1e6


class Beams:
    """The beams of N fixtures. Heads without a pose have none."""

    def __init__(self, fixtures: Sequence[Fixture], poses: Mapping[str, Pose], stage: Stage) -> None:
        self._rig = Rig.from_fixtures(fixtures, poses)
        self._floors = [(floor.name, Polygon(floor.corners), floor.height) for floor in stage.floors]

    def land(self, pan_deg: Array, tilt_deg: Array, heights: Mapping[str, float]) -> Array:
        """Points (N, 3) m where the axes meet stage or floors, NaN where one meets nothing within FARTHEST_M.

        `heights` are floors that stand otherwise than in the file. Upright sides of floors are not looked at.
        """
        start, direction = self._rig.heads.beam(np.radians(pan_deg), np.radians(tilt_deg))
        best = self._reach(start, direction, 0.0)
        for name, polygon, height in self._floors:
            lies = heights.get(name, height)
            along = self._reach(start, direction, lies)
            on = polygon.contains(start[:, :2] + along[:, None] * direction[:, :2])
            if lies < 0:  # a pit: over it there is no stage at 0
                open_below = polygon.contains(start[:, :2] + best[:, None] * direction[:, :2])
                best = np.where(open_below, NEVER_M, best)
            best = np.where(on, np.minimum(best, along), best)
        best = np.where(self._rig.has_pose & (best < FARTHEST_M), best, np.nan)
        return np.asarray(start + best[:, None] * direction)

    def at_height(self, pan_deg: Array, tilt_deg: Array, heights_m: Array) -> Array:
        """Points (N, 3) m where each axis passes a height of its own (N,); NaN where that is nowhere near."""
        start, direction = self._rig.heads.beam(np.radians(pan_deg), np.radians(tilt_deg))
        along = self._reach(start, direction, heights_m)
        along = np.where(self._rig.has_pose & (along < FARTHEST_M), along, np.nan)
        return np.asarray(start + along[:, None] * direction)

    @staticmethod
    def _reach(start: Array, direction: Array, height_m: Array | float) -> Array:
        """How far rays go until they reach a level, (N,) m; far away where they never do."""
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (height_m - start[:, 2]) / direction[:, 2]
        return np.where((along > 0) & (along < NEVER_M), along, NEVER_M)
