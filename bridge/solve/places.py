"""The points of the stage that predictions are made for and that marks may be put on."""

from __future__ import annotations

import numpy as np

from bridge.geometry.areas import Floors, Polygon
from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array


def performance_points(stage: Stage, across: int = 7, deep: int = 5) -> Array:
    """Grid (P, 3) over the performance polygon, edge to edge, on the floor and at the first target's height."""
    plan = plan_grid(stage, across, deep)
    floor = Floors(stage.floors).height_at(plan)
    height = stage.targets[0].height if stage.targets else 1.3
    return np.concatenate([np.column_stack([plan, floor]), np.column_stack([plan, floor + height])])


def plan_grid(stage: Stage, across: int, deep: int, inset: float = 0.0) -> Array:
    """Plan points (P, 2) of a grid that lie at least `inset` metres inside the performance polygon (or on its edge).

    The grid follows the smallest rectangle round the polygon, however that is turned: laid along x and y it would
    lose the whole edge of a turned stage, where aim is worst. Without an inset the corners belong to it always.
    """
    polygon = Polygon(stage.polygon.area.corners)
    origin, along, aside = _rectangle_round(polygon)
    u, v = (np.linspace(*_shrunk(float(np.hypot(*side)), inset), n) for side, n in ((along, across), (aside, deep)))
    steps = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    plan = origin + steps @ np.array([along / np.hypot(*along), aside / np.hypot(*aside)])
    inside = plan[polygon.outside_by(plan) <= 1e-6 - inset]
    if inset == 0.0:
        corners = polygon.corners
        far = np.linalg.norm(corners[:, None] - inside, axis=-1).min(axis=1, initial=np.inf) > 1e-6
        inside = np.concatenate([inside, corners[far]])
    return inside if len(inside) else np.array([polygon.inner_point()])


def _rectangle_round(polygon: Polygon) -> tuple[Array, Array, Array]:
    """Corner and two sides (2,) of the smallest rectangle round a polygon, the side nearer to x first."""
    from shapely.geometry import Polygon as Shape

    corners = np.array(Shape(polygon.corners).minimum_rotated_rectangle.exterior.coords)
    one, other = corners[1] - corners[0], corners[3] - corners[0]
    return (corners[0], one, other) if abs(one[0]) >= abs(other[0]) else (corners[0], other, one)


def _shrunk(length: float, inset: float) -> tuple[float, float]:
    """From and to along a side, less the inset at both ends, or its middle where nothing is left."""
    return min(inset, length / 2), max(length - inset, length / 2)


def on_floor(stage: Stage, plan: Array) -> Array:
    """Plan points (P, 2) put on the floor, (P, 3)."""
    return np.column_stack([plan, Floors(stage.floors).height_at(plan)])
