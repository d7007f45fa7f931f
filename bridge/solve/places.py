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


def on_floor(stage: Stage, plan: Array) -> Array:
    """Plan points (P, 2) put on the floor, (P, 3)."""
    return np.column_stack([plan, Floors(stage.floors).height_at(plan)])
