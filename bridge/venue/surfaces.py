"""What light falls on and where it must not fall: floors with their risers' sides, and no-light prisms.

Rays are cut where they cross, in plan, the edges of the polygons. Between two such cuts the floor has one height, so
the first piece that ends below it is where the ray lands: on top, or on a riser's vertical side at the cut itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.stage import Area, Floor

Array = NDArray[np.float64]
FAR_M = 200.0  # no hall is longer


def inside(corners: Array, x: Array, y: Array) -> NDArray[np.bool_]:
    """Even-odd test of plan points against one polygon (k, 2); any broadcastable shape."""
    x0, y0 = corners[:, 0], corners[:, 1]
    x1, y1 = np.roll(x0, -1), np.roll(y0, -1)
    px, py = x[..., None], y[..., None]
    straddles = (y0 > py) != (y1 > py)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = x0 + (py - y0) * (x1 - x0) / (y1 - y0)
    odd: NDArray[np.bool_] = (np.count_nonzero(straddles & (px < crossing), axis=-1) % 2).astype(bool)
    return odd


def plan_distance(corners: Array, x: float, y: float) -> float:
    """How far a plan point is outside a polygon (m); 0 inside."""
    if bool(inside(corners, np.array(x), np.array(y))):
        return 0.0
    start, edge = corners, np.roll(corners, -1, axis=0) - corners
    to_point = np.array([x, y]) - start
    share = np.clip((to_point * edge).sum(axis=1) / np.maximum((edge**2).sum(axis=1), 1e-12), 0, 1)
    return float(np.linalg.norm(to_point - share[:, None] * edge, axis=1).min())


def _cuts(corners: Array, start: Array, ray: Array) -> Array:
    """Ray parameters at which rays (m, 3) cross the edges of a polygon in plan, (m, k); FAR_M where they do not."""
    a, edge = corners, np.roll(corners, -1, axis=0) - corners
    rx, ry = ray[:, :1], ray[:, 1:2]
    wx, wy = a[:, 0] - start[:, :1], a[:, 1] - start[:, 1:2]
    cross = rx * edge[:, 1] - ry * edge[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (wx * edge[:, 1] - wy * edge[:, 0]) / cross
        s = (wx * ry - wy * rx) / cross
    good = np.isfinite(t) & (t > 0) & (s >= -1e-9) & (s <= 1 + 1e-9)
    return np.where(good, np.minimum(t, FAR_M), FAR_M)


class Ground:
    """The ground at z = 0 and the stage's floors over it; the highest counts where they overlap, as in stage.yaml."""

    def __init__(self, floors: Sequence[Floor]) -> None:
        ordered = sorted(floors, key=lambda f: f.height)
        self._shapes = [(np.asarray(f.corners, dtype=np.float64), f.height) for f in ordered]

    @property
    def lowest(self) -> float:
        """Height of the lowest floor."""
        return min([0.0, *(height for _, height in self._shapes)])

    def height(self, x: Array, y: Array) -> Array:
        """Floor height under plan points; any shape."""
        z = np.full(np.shape(x), -np.inf)
        for corners, height in self._shapes:  # rising, so the highest is written last
            z = np.where(inside(corners, x, y), height, z)
        return np.where(np.isneginf(z), 0.0, z)

    def land(self, start: Array, ray: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Distances (m,) along unit rays (m, 3) to the first floor or riser side, nan where none within FAR_M.

        The second array is True where the ray landed on top of a floor, not on a vertical side.
        """
        count = start.shape[0]
        pieces = [np.zeros((count, 1)), *(_cuts(c, start, ray) for c, _ in self._shapes)]
        cut = np.sort(np.concatenate([*pieces, np.full((count, 1), FAR_M)], axis=1), axis=1)
        low, high = cut[:, :-1], cut[:, 1:]
        middle = (low + high) / 2
        x, y = (start[:, k : k + 1] + middle * ray[:, k : k + 1] for k in (0, 1))
        floor = self.height(x, y)
        z0, dz = start[:, 2:], ray[:, 2:]
        blocked = (z0 + low * dz <= floor) & (low > 0)
        below = z0 + high * dz <= floor
        with np.errstate(divide="ignore", invalid="ignore"):
            top = (floor - z0) / dz
        found = (blocked | below) & (high > low)
        first = np.argmax(found, axis=1)[:, None]
        at_side = np.take_along_axis(blocked, first, 1)
        t = np.where(at_side, np.take_along_axis(low, first, 1), np.take_along_axis(top, first, 1))[:, 0]
        hit = found.any(axis=1) & (t < FAR_M)
        return np.where(hit, t, np.nan), hit & ~at_side[:, 0]


class NoLightPrisms:
    """The prisms in which no light may be; each can be switched."""

    def __init__(self, areas: Sequence[Area]) -> None:
        self.names = [area.name for area in areas]
        self.on = {area.name: area.on for area in areas}
        self._areas = {a.name: (np.asarray(a.corners, dtype=np.float64), a.height) for a in areas}

    def active(self) -> list[str]:
        """The areas that are on."""
        return [name for name in self.names if self.on[name]]

    def boxes_meet(self, name: str, start: Array, end: Array) -> NDArray[np.bool_]:
        """Which bundles of rays (h, k, 3), as boxes, meet the prism's box, (h,)."""
        corners, (bottom, top) = self._areas[name]
        low = np.minimum(start, end).min(axis=1)
        high = np.maximum(start, end).max(axis=1)
        box_low, box_high = np.array([*corners.min(axis=0), bottom]), np.array([*corners.max(axis=0), top])
        meet: NDArray[np.bool_] = ((low <= box_high) & (high >= box_low)).all(axis=1)
        return meet

    def through(self, name: str, start: Array, ray: Array, length: Array) -> NDArray[np.bool_]:
        """Which of the rays (m, 3), each `length` long, pass through the prism."""
        corners, (bottom, top) = self._areas[name]
        # The piece of the ray between the prism's lowest and highest plane ...
        z, dz = start[:, 2], ray[:, 2]
        with np.errstate(divide="ignore", invalid="ignore"):
            t_a, t_b = (bottom - z) / dz, (top - z) / dz
        level = np.abs(dz) < 1e-12
        within = (z >= bottom) & (z <= top)
        enter = np.where(level, np.where(within, 0.0, np.inf), np.minimum(t_a, t_b))
        leave = np.where(level, length, np.maximum(t_a, t_b))
        enter, leave = np.maximum(enter, 0.0), np.minimum(leave, length)
        # ... cut at the prism's sides: some piece's middle is inside when the ray passes through.
        cut = np.concatenate([enter[:, None], _cuts(corners, start, ray), leave[:, None]], axis=1)
        cut = np.sort(np.clip(cut, enter[:, None], np.maximum(leave, enter)[:, None]), axis=1)
        middle = (cut[:, :-1] + cut[:, 1:]) / 2
        middle = np.where(np.isfinite(middle), middle, 0.0)
        lit = inside(corners, start[:, :1] + middle * ray[:, :1], start[:, 1:2] + middle * ray[:, 1:2])
        wide = np.diff(cut, axis=1) > 1e-6  # a ray that only grazes an edge is not in
        with np.errstate(invalid="ignore"):
            through: NDArray[np.bool_] = (lit & wide).any(axis=1) & (leave > enter)
        return through
