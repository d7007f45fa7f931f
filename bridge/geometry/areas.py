"""Plan polygons and the prisms over them: how far outside is a point, and what is the floor's height."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from bridge.geometry.frames import Array
from bridge.geometry.stage import Area, Floor, Point2


class Polygon:
    """A simple plan polygon, corners in metres in either sense, prepared for many points at once."""

    def __init__(self, corners: Sequence[Point2]) -> None:
        self.corners: Array = np.asarray(corners, dtype=np.float64)
        self._a = self.corners
        self._b = np.roll(self.corners, -1, axis=0)
        self._edge = self._b - self._a
        self._rise = np.where(self._edge[:, 1] != 0, self._edge[:, 1], 1.0)  # a level edge is never straddled
        self._length2 = np.maximum(np.einsum("ei,ei->e", self._edge, self._edge), 1e-18)
        sides = np.column_stack([self._a, self._edge]).tolist()
        self._sides = list(zip(sides, self._length2.tolist(), strict=True))

    def contains(self, points: ArrayLike) -> np.ndarray:
        """Even-odd test of points (..., 2); points on an edge may fall on either side (see `outside_by`)."""
        points = np.asarray(points, dtype=np.float64)
        x, y = points[..., 0, None], points[..., 1, None]
        (ax, ay), (bx, by) = self._a.T, self._b.T
        straddles = (ay > y) != (by > y)
        x_cross = ax + (bx - ax) * (y - ay) / self._rise
        return np.asarray(np.logical_xor.reduce(straddles & (x < x_cross), axis=-1))

    def outside_by(self, points: ArrayLike) -> Array:
        """Signed distance (...,) in metres from points (..., 2) to the outline: positive outside, negative inside."""
        points = np.asarray(points, dtype=np.float64)
        offset = points[..., None, :] - self._a
        along = np.einsum("...ei,ei->...e", offset, self._edge) / self._length2
        along = np.minimum(np.maximum(along, 0.0), 1.0)
        gap = offset - along[..., None] * self._edge
        distance = np.sqrt(np.min(np.einsum("...ei,...ei->...e", gap, gap), axis=-1))
        return np.where(self.contains(points), -distance, distance)

    def distance_outside(self, x: float, y: float) -> float:
        """`outside_by` for a single point, in plain numbers: for the few targets of a frame that is the shorter way."""
        nearest, inside = math.inf, False
        for (ax, ay, ex, ey), length2 in self._sides:
            px, py = x - ax, y - ay
            along = min(max((px * ex + py * ey) / length2, 0.0), 1.0)
            gap_x, gap_y = px - along * ex, py - along * ey
            nearest = min(nearest, gap_x * gap_x + gap_y * gap_y)
            if (py < 0) != (py < ey) and px < ex * py / ey:
                inside = not inside
        return -math.sqrt(nearest) if inside else math.sqrt(nearest)

    def inner_point(self) -> Point2:
        """A point well inside, also where the polygon is not convex: the middle if that is inside."""
        from shapely.geometry import Polygon as Shape

        shape = Shape(self.corners)
        middle = shape.centroid
        point = middle if shape.contains(middle) else shape.representative_point()
        return float(point.x), float(point.y)

    def grid(self, step: float = 0.5, at_most: int = 400) -> Array:
        """Points (P, 2) over the polygon: its corners, its edges and a grid inside, for checks of reach."""
        low, high = self.corners.min(axis=0), self.corners.max(axis=0)
        step = max(step, float(np.sqrt(np.prod(np.maximum(high - low, 0.1)) / at_most)))
        counts = np.maximum(np.ceil((high - low) / step).astype(int) + 1, 2)
        axes = [np.linspace(a, b, n) for a, b, n in zip(low, high, counts, strict=True)]
        inside = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
        edges = self._a[:, None, :] + self._edge[:, None, :] * np.linspace(0, 1, 9)[:-1, None]
        return np.concatenate([edges.reshape(-1, 2), inside[self.contains(inside)]])


class Prism:
    """A polygon with a height range, z in metres."""

    def __init__(self, area: Area) -> None:
        self.name, self.polygon, self.on = area.name, Polygon(area.corners), area.on
        self.low, self.high = area.height

    def outside_by(self, point: Sequence[float]) -> float:
        """How far a point (x, y, z) is outside, in plan or in height, whichever is more; negative inside."""
        x, y, z = point
        return max(self.polygon.distance_outside(x, y), self.low - z, z - self.high)


class Floors:
    """Height of the floor at a place; the highest floor counts where several overlap; 0 where there is none.

    Heights can be moved live with `set_height`.
    """

    def __init__(self, floors: Iterable[Floor]) -> None:
        floors = tuple(floors)
        self.names = [floor.name for floor in floors]
        self._polygons = [Polygon(floor.corners) for floor in floors]
        self.heights = [float(floor.height) for floor in floors]

    def set_height(self, name: str, height_m: float) -> None:
        """Move a floor; raises KeyError for an unknown name."""
        if name not in self.names:
            raise KeyError(name)
        self.heights[self.names.index(name)] = float(height_m)

    @property
    def lowest(self) -> float:
        """The lowest floor, the stage itself included."""
        return min([0.0, *self.heights])

    def height_at(self, points: ArrayLike) -> Array:
        """Floor height (...,) at plan points (..., 2); a point on a floor's outline stands on it."""
        points = np.asarray(points, dtype=np.float64)
        best = np.full(points.shape[:-1], -np.inf)
        for polygon, height in zip(self._polygons, self.heights, strict=True):
            on = polygon.outside_by(points) <= 1e-9
            best = np.where(on, np.maximum(best, height), best)
        return np.where(np.isfinite(best), best, 0.0)

    def height_of(self, x: float, y: float) -> float:
        """`height_at` for a single place, in plain numbers."""
        under = [h for p, h in zip(self._polygons, self.heights, strict=True) if p.distance_outside(x, y) <= 1e-9]
        return max(under, default=0.0)

    def first_meeting(self, start: Array, direction: Array, above_m: float) -> Array | None:
        """Where a ray (start, unit direction, both (3,)) first meets the surface `above_m` over the floors, or None.

        The surface is a stepped one with upright sides. Candidates are the ray's crossings of each level and of
        each outline; the first after which the ray is on the surface's other side is the meeting.
        """
        tiny = 1e-7
        starts_over = self._height_over(start, above_m) > 0
        candidates = [self._level_crossing(start, direction, h + above_m) for h in {0.0, *self.heights}]
        for polygon in self._polygons:
            candidates.extend(_outline_crossings(polygon.corners, start, direction))
        for t in sorted(t for t in candidates if t is not None and t > 0):
            if (self._height_over(start + (t + tiny) * direction, above_m) > 0) != starts_over:
                return np.asarray(start + t * direction)
        return None

    def _height_over(self, point: Array, above_m: float) -> float:
        x, y, z = point.tolist()
        return z - self.height_of(x, y) - above_m

    @staticmethod
    def _level_crossing(start: Array, direction: Array, z: float) -> float | None:
        return float((z - start[2]) / direction[2]) if abs(direction[2]) > 1e-9 else None


def _outline_crossings(corners: Array, start: Array, direction: Array) -> list[float]:
    """Ray parameters at which a ray crosses the upright sides over a polygon."""
    edge = np.roll(corners, -1, axis=0) - corners
    offset = corners - start[:2]
    cross = direction[0] * edge[:, 1] - direction[1] * edge[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (offset[:, 0] * edge[:, 1] - offset[:, 1] * edge[:, 0]) / cross
        s = (offset[:, 0] * direction[1] - offset[:, 1] * direction[0]) / cross
    return [float(v) for v in t[(np.abs(cross) > 1e-12) & (s >= 0) & (s <= 1)]]
