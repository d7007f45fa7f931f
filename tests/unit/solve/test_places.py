"""The points that predictions are made for: a stage that is turned keeps its edge, where aim is worst."""

import numpy as np
import pytest

from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Area, PerformancePolygon, Stage
from bridge.solve.places import performance_points, plan_grid

RECTANGLE = np.array([[-6.0, 0.0], [6.0, 0.0], [6.0, 8.0], [-6.0, 8.0]])


def turned(degrees: float) -> np.ndarray:
    angle = np.radians(degrees)
    return RECTANGLE @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def stage_of(corners: np.ndarray) -> Stage:
    return Stage(PerformancePolygon(Area("performance_polygon", tuple(map(tuple, corners.tolist())))))


@pytest.mark.parametrize("degrees", [0.0, 1.0, -2.8, 17.0, 45.0, 90.0, 200.0])
def test_the_grid_turns_with_the_stage(degrees: float) -> None:
    """7 x 5 points edge to edge, 20 of them on the outline, the corners among them: whichever way it is turned."""
    corners = turned(degrees)
    plan = plan_grid(stage_of(corners), 7, 5)
    on_edge = np.abs(Polygon(tuple(map(tuple, corners.tolist()))).outside_by(plan)) < 1e-6
    assert (len(plan), int(on_edge.sum())) == (35, 20)
    for corner in corners:
        assert np.linalg.norm(plan - corner, axis=1).min() < 1e-6
    assert len(performance_points(stage_of(corners))) == 70


def test_every_corner_of_an_odd_stage_counts() -> None:
    corners = np.array([[-6.0, 0.0], [0.0, -3.0], [6.0, 0.0], [4.0, 8.0], [-5.0, 7.0]])
    plan = plan_grid(stage_of(corners), 7, 5)
    assert all(np.linalg.norm(plan - corner, axis=1).min() < 1e-6 for corner in corners)
