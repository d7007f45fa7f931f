"""The points of the stage that predictions are made for and that marks may be put on."""

from __future__ import annotations

import numpy as np

from bridge.geometry.areas import Floors, Polygon
from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array, Mask

MOST_PLACES = 300  # of a map
FINEST = 0.5  # metres between places of a map, unless the stage is so small that it would have fewer than FEW_PLACES
FEW_PLACES = 30


def performance_points(stage: Stage, across: int = 7, deep: int = 5) -> Array:
    """Grid (P, 3) over the performance polygon, edge to edge, on the floor and at the first target's height."""
    return at_both_heights(stage, plan_grid(stage, across, deep))


def at_both_heights(stage: Stage, plan: Array) -> Array:
    """Plan points (P, 2) on the floor, then at the first target's height (2 P, 3)."""
    floor = Floors(stage.floors).height_at(plan)
    height = stage.targets[0].height if stage.targets else 1.3
    return np.concatenate([np.column_stack([plan, floor]), np.column_stack([plan, floor + height])])


def plan_grid(stage: Stage, across: int, deep: int) -> Array:
    """Plan points (P, 2) of a grid that lie inside the performance polygon or on its edge, its corners always.

    The grid follows the smallest rectangle round the polygon, however that is turned: laid along x and y it would
    lose the whole edge of a turned stage, where aim is worst.
    """
    polygon = Polygon(stage.polygon.area.corners)
    origin, along, aside = _rectangle_round(polygon)
    u, v = (np.linspace(0.0, float(np.hypot(*side)), n) for side, n in ((along, across), (aside, deep)))
    steps = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    plan = origin + steps @ np.array([along / np.hypot(*along), aside / np.hypot(*aside)])
    inside = plan[polygon.outside_by(plan) <= 1e-6]
    far = np.linalg.norm(polygon.corners[:, None] - inside, axis=-1).min(axis=1, initial=np.inf) > 1e-6
    return np.concatenate([inside, polygon.corners[far]])


def _rectangle_round(polygon: Polygon) -> tuple[Array, Array, Array]:
    """Corner and two sides (2,) of the smallest rectangle round a polygon, the side nearer to x first."""
    from shapely.geometry import Polygon as Shape

    corners = np.array(Shape(polygon.corners).minimum_rotated_rectangle.exterior.coords)
    one, other = corners[1] - corners[0], corners[3] - corners[0]
    return (corners[0], one, other) if abs(one[0]) >= abs(other[0]) else (corners[0], other, one)


def map_grid(stage: Stage) -> tuple[Array, Array, Mask]:
    """Axes x (X,), y (Y,) of a grid over the performance polygon and all other areas, and which of its places (Y, X)
    lie in any of them: some 0.5 to 1 m apart, wider where that would be more than MOST_PLACES."""
    polygons = [Polygon(area.corners) for area in (stage.polygon.area, *stage.more_areas)]
    corners = np.concatenate([polygon.corners for polygon in polygons])
    low, high = corners.min(axis=0), corners.max(axis=0)
    covered = sum(_square_metres(polygon.corners) for polygon in polygons)
    step = max(np.sqrt(covered / MOST_PLACES), min(FINEST, np.sqrt(covered / FEW_PLACES)), 0.01)
    while True:
        x, y = (np.linspace(a, b, int(np.ceil((b - a) / step - 1e-9)) + 1) for a, b in zip(low, high, strict=True))
        plan = np.stack(np.meshgrid(x, y), axis=-1)
        inside = np.any([polygon.outside_by(plan) <= 1e-6 for polygon in polygons], axis=0)
        if np.count_nonzero(inside) <= MOST_PLACES:
            return x, y, inside
        step *= 1.05


def _square_metres(corners: Array) -> float:
    x, y = corners.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2


def on_floor(stage: Stage, plan: Array) -> Array:
    """Plan points (P, 2) put on the floor, (P, 3)."""
    return np.column_stack([plan, Floors(stage.floors).height_at(plan)])
