"""Where the bridge leads nobody by itself: over a floor's edge, into a no-light area, or out of the area unseen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.frames import Array
from bridge.geometry.stage import Area, Point3, Stage

SHORT_OF_M = 0.01
LEAST_M = 1e-4


class Edges:
    """The outlines of a stage that nobody is led across by the bridge alone."""

    def __init__(self, stage: Stage) -> None:
        self._area = Polygon(stage.polygon.area.corners)
        self._floors = [Polygon(floor.corners) for floor in stage.floors]
        self._areas: Sequence[Area] = stage.no_light
        self._no_light = [Polygon(area.corners) for area in stage.no_light]
        self._all = [*self._floors, *self._no_light]
        self._starts = [polygon.corners for polygon in self._all]
        self._ends = [np.roll(polygon.corners, -1, axis=0) for polygon in self._all]

    def inside(self, seen: Point3, now: Point3) -> Point3:
        """Where somebody is now who was seen last at another place, m: within the area, if he was in it then."""
        if self._area.distance_outside(*seen[:2]) > 0.0 or self._area.distance_outside(*now[:2]) <= 0.0:
            return now
        place, way = np.array([seen[:2]]), np.array([[now[0] - seen[0], now[1] - seen[1]]])
        share = float(_until(place, way, self._area.corners, np.roll(self._area.corners, -1, axis=0))[0])
        return seen[0] + share * (now[0] - seen[0]), seen[1] + share * (now[1] - seen[1]), now[2]

    def shorten(self, place: Array, way: Array, no_light_on: np.ndarray) -> Array:
        """Ways (K, 3) from places (K, 3), m, shortened to end before the first outline that lies across them.

        `no_light_on` (A,): the no-light areas that are on; one that the place is in is no hindrance.
        """
        if not self._all or np.abs(way[:, :2]).max(initial=0.0) < LEAST_M:
            return way
        share = np.ones(len(way))
        for number, (start, end) in enumerate(zip(self._starts, self._ends, strict=True)):
            area = number - len(self._floors)
            counts = np.ones(len(way), dtype=bool)
            if area >= 0:
                if not no_light_on[area]:
                    continue
                low, high = self._areas[area].height
                counts = ~self._no_light[area].contains(place[:, :2]) & (place[:, 2] >= low) & (place[:, 2] <= high)
            share = np.where(counts, np.minimum(share, _until(place[:, :2], way[:, :2], start, end)), share)
        return np.asarray(way * share[:, None])


def _until(place: Array, way: Array, start: Array, end: Array) -> Array:
    """The share (K,) of each way up to SHORT_OF_M before it first crosses a side from `start` to `end` (E, 2)."""
    edge, offset = end - start, start - place[:, None, :]
    cross = way[:, None, 0] * edge[:, 1] - way[:, None, 1] * edge[:, 0]
    safe = np.where(np.abs(cross) > 1e-12, cross, np.inf)
    along = (offset[..., 0] * edge[:, 1] - offset[..., 1] * edge[:, 0]) / safe
    beside = (offset[..., 0] * way[:, None, 1] - offset[..., 1] * way[:, None, 0]) / safe
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), LEAST_M)[:, None]
    hit = np.isfinite(safe) & (along >= 0.0) & (along <= 1.0 + SHORT_OF_M / length) & (beside >= 0.0) & (beside <= 1.0)
    first = np.where(hit, along - SHORT_OF_M / length, 1.0).min(axis=1)
    return np.clip(first, 0.0, 1.0)
