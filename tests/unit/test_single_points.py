"""The plain-number way for single points says the same as the array way, which is checked against OpenCV."""

import numpy as np
import pytest

from bridge.geometry.areas import Floors, Polygon
from bridge.geometry.stage import Floor

HORSESHOE = ((0.0, 0.0), (6.0, 0.0), (6.0, 5.0), (4.0, 5.0), (4.0, 2.0), (2.0, 2.0), (2.0, 5.0), (0.0, 5.0))


def test_a_point_is_as_far_outside_either_way() -> None:
    polygon = Polygon(HORSESHOE)
    points = np.random.default_rng(11).uniform(-2, 8, (2000, 2))
    one_by_one = [polygon.distance_outside(x, y) for x, y in points.tolist()]
    assert one_by_one == pytest.approx(polygon.outside_by(points).tolist(), abs=1e-12)


def test_the_floor_is_as_high_either_way() -> None:
    floors = Floors([Floor("low", HORSESHOE, 0.4), Floor("high", ((1.0, 1.0), (3.0, 1.0), (3.0, 3.0)), 0.9)])
    points = np.random.default_rng(12).uniform(-1, 7, (2000, 2))
    assert [floors.height_of(x, y) for x, y in points.tolist()] == floors.height_at(points).tolist()
