"""Where the bridge leads nobody by itself: over a floor's edge, into a no-light area, or out of the area unseen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.frames import Array
from bridge.geometry.stage import Area, Point2, Point3, Stage

SHORT_OF_M = 0.01
LEAST_M = 1e-4


class Edges:
    """The outlines of a stage that nobody is led across by the bridge alone."""

    def __init__(self, stage: Stage) -> None:
        self._area, self._round = Polygon(stage.polygon.area.corners), _Sides([stage.polygon.area.corners])
        self._areas: Sequence[Area] = stage.no_light
        self._no_light = [Polygon(area.corners) for area in stage.no_light]
        self._floors = len(stage.floors)
        outlines = [*(floor.corners for floor in stage.floors), *(area.corners for area in stage.no_light)]
        self._sides = _Sides(outlines) if outlines else None

    def inside(self, seen: Point3, now: Point3) -> Point3:
        """Where somebody is now who was seen last at another place, m: within the area, if he was in it then."""
        if self._area.distance_outside(*seen[:2]) > 0.0 or self._area.distance_outside(*now[:2]) <= 0.0:
            return now
        way = np.array([[now[0] - seen[0], now[1] - seen[1]]])
        share = float(self._round.until(np.array([seen[:2]]), way).min())
        return seen[0] + share * (now[0] - seen[0]), seen[1] + share * (now[1] - seen[1]), now[2]

    def shorten(self, place: Array, way: Array, no_light_on: np.ndarray) -> Array:
        """Ways (K, 3) from places (K, 3), m, shortened to end before the first outline that lies across them.

        `no_light_on` (A,): the no-light areas that are on; one that the place is in is no hindrance.
        """
        if self._sides is None or np.abs(way[:, :2]).max(initial=0.0) < LEAST_M:
            return way
        until = self._sides.until(place[:, :2], way[:, :2])
        if until.min() >= 1.0:  # nothing is near, as nearly always
            return way
        for number, area in enumerate(self._areas):
            low, high = area.height
            inside = self._no_light[number].contains(place[:, :2])
            counts = no_light_on[number] & ~inside & (place[:, 2] >= low) & (place[:, 2] <= high)
            until[~counts, self._floors + number] = 1.0
        return np.asarray(way * until.min(axis=1)[:, None])


class _Sides:
    """The sides of some outlines, all in one row."""

    def __init__(self, outlines: Sequence[Sequence[Point2]]) -> None:
        corners = [np.asarray(outline, dtype=np.float64) for outline in outlines]
        self._start = np.concatenate(corners)
        self._edge = np.concatenate([np.roll(outline, -1, axis=0) - outline for outline in corners])
        self._first = np.cumsum([0, *(len(outline) for outline in corners[:-1])])

    def until(self, place: Array, way: Array) -> Array:
        """The share of each way (K, 2) up to SHORT_OF_M before it first crosses each outline, (K, outlines)."""
        ox, oy = self._start[:, 0] - place[:, :1], self._start[:, 1] - place[:, 1:]
        wx, wy, (ex, ey) = way[:, :1], way[:, 1:], self._edge.T
        cross = wx * ey - wy * ex
        cross[np.abs(cross) < 1e-12] = np.inf  # alongside
        along, beside = (ox * ey - oy * ex) / cross, (ox * wy - oy * wx) / cross
        short = SHORT_OF_M / np.maximum(np.hypot(wx, wy), LEAST_M)
        hit = (along >= 0.0) & (along <= 1.0 + short) & (beside >= 0.0) & (beside <= 1.0) & np.isfinite(cross)
        shares = np.where(hit, np.maximum(along - short, 0.0), 1.0)
        return np.asarray(np.minimum.reduceat(np.minimum(shares, 1.0), self._first, axis=1))
