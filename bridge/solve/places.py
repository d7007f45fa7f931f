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
    """Plan points (P, 2) of a grid that lie at least `inset` metres inside the performance polygon (or on its edge)."""
    corners = stage.polygon.area.corners
    polygon = Polygon(corners)
    low, high = polygon.corners.min(axis=0) + inset, polygon.corners.max(axis=0) - inset
    low, high = np.minimum(low, (low + high) / 2), np.maximum(high, (low + high) / 2)
    x, y = np.meshgrid(np.linspace(low[0], high[0], across), np.linspace(low[1], high[1], deep), indexing="ij")
    plan = np.stack([x.ravel(), y.ravel()], axis=-1)
    inside = plan[polygon.outside_by(plan) <= 1e-6 - inset]
    return inside if len(inside) else np.array([polygon.inner_point()])


def on_floor(stage: Stage, plan: Array) -> Array:
    """Plan points (P, 2) put on the floor, (P, 3)."""
    return np.column_stack([plan, Floors(stage.floors).height_at(plan)])
