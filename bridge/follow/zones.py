"""Where targets may be lit: the performance polygon and the areas joined to it, with margin and height range."""

from __future__ import annotations

import numpy as np

from bridge.geometry.areas import Prism
from bridge.geometry.frames import Array
from bridge.geometry.stage import Stage


class Zones:
    """The area test. The polygon itself is always on; `more_areas` are joined to it while on."""

    def __init__(self, stage: Stage) -> None:
        self.polygon = Prism(stage.polygon.area)
        self.polygon.on = True
        self.more = {area.name: Prism(area) for area in stage.more_areas}
        self.margin = stage.polygon.margin
        self.fade_in, self.fade_out = stage.polygon.fade_in, stage.polygon.fade_out

    def outside_by(self, point: Array) -> float:
        """How far a point (3,) is outside all areas that are on, metres; negative inside."""
        joined = [self.polygon, *(prism for prism in self.more.values() if prism.on)]
        return min(prism.outside_by(point) for prism in joined)

    def allow(self, points: Array, allowed: np.ndarray) -> np.ndarray:
        """Who may be lit now (T,), given who was: lost beyond the margin, found again only inside."""
        outside = np.array([self.outside_by(point) for point in points])
        return np.where(allowed, outside <= self.margin, outside <= 0.0)
