"""Ways that end before an edge: distances are those of plane geometry, worked out by hand beside each case."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString
from shapely.geometry import Polygon as Shape

from bridge.follow.where.edges import SHORT_OF_M, Edges
from bridge.geometry.stage import Area, Floor, PerformancePolygon, Stage

SQUARE = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
RISER = Floor("riser", ((-2.0, 5.0), (2.0, 5.0), (2.0, 8.0), (-2.0, 8.0)), 0.6)
ROWS = Area("rows", ((-6.0, -4.0), (6.0, -4.0), (6.0, -1.0), (-6.0, -1.0)), (0.0, 2.0))
ON, OFF = np.array([True]), np.array([False])


def edges(floors: tuple[Floor, ...] = (RISER,), rows: tuple[Area, ...] = (ROWS,)) -> Edges:
    return Edges(Stage(PerformancePolygon(Area("polygon", SQUARE)), floors=floors, no_light=rows))


def short(place: tuple[float, float, float], way: tuple[float, float], on: np.ndarray = ON) -> tuple[float, float]:
    x, y, z = edges().shorten(np.array([place]), np.array([[*way, 0.0]]), on)[0].tolist()
    assert z == 0.0
    return x, y


@pytest.mark.parametrize(
    ("place", "way", "ends"),
    [
        ((0.0, 4.5, 1.3), (0.0, 0.3), (0.0, 0.3)),  # 0.5 m before the riser, 0.3 m ahead
        ((0.0, 4.5, 1.3), (0.0, 1.0), (0.0, 0.49)),  # up to 1 cm before its edge
        ((0.0, 5.5, 1.9), (0.0, -1.0), (0.0, -0.49)),  # nor down from it
        ((3.0, 6.0, 1.3), (-2.0, 0.0), (-0.99, 0.0)),  # its side
        ((0.0, 4.995, 1.3), (0.0, 1.0), (0.0, 0.0)),  # nearer than 1 cm: not at all
        ((0.0, 4.995, 1.3), (0.0, -1.0), (0.0, -1.0)),  # away from it
        ((3.0, 4.0, 1.3), (0.0, 3.0), (0.0, 3.0)),  # past it
        ((0.0, -0.5, 1.3), (0.0, -1.0), (0.0, -0.49)),  # the rows, at y = -1
        ((0.0, -2.0, 1.3), (0.0, -3.0), (0.0, -3.0)),  # who is in them may be led in them, and out
        ((0.0, -0.5, 2.5), (0.0, -1.0), (0.0, -1.0)),  # over them
    ],
)
def test_a_way_ends_before_the_first_edge(
    place: tuple[float, float, float], way: tuple[float, float], ends: tuple[float, float]
) -> None:
    assert short(place, way) == pytest.approx(ends, abs=1e-9)


def test_an_area_that_is_off_is_no_hindrance() -> None:
    assert short((0.0, -0.5, 1.3), (0.0, -1.0), OFF) == (0.0, -1.0)


def test_each_way_by_itself() -> None:
    places = np.array([[0.0, 4.5, 1.3], [5.0, 4.5, 1.3]])
    ways = np.array([[0.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    assert edges().shorten(places, ways, ON)[:, 1] == pytest.approx([0.49, 1.0])


def test_without_edges_a_way_is_what_it_was() -> None:
    ways = np.array([[1.0, 2.0, 0.5]])
    assert edges((), ()).shorten(np.zeros((1, 3)), ways, np.zeros(0, dtype=bool)) is ways


place = st.tuples(st.floats(-5.9, 5.9), st.floats(0.1, 4.8))


@given(place, st.tuples(st.floats(-6, 6), st.floats(-4, 6)))
def test_no_way_crosses_an_outline_as_shapely_sees_it(start: tuple[float, float], way: tuple[float, float]) -> None:
    ends = short((*start, 1.3), way)
    line = LineString([start, (start[0] + ends[0], start[1] + ends[1])])
    assert not line.crosses(Shape(RISER.corners).exterior)
    assert not line.crosses(Shape(ROWS.corners).exterior)
    whole = LineString([start, (start[0] + way[0], start[1] + way[1])])
    near = (
        whole.distance(Shape(RISER.corners)) <= 2 * SHORT_OF_M or whole.distance(Shape(ROWS.corners)) <= 2 * SHORT_OF_M
    )
    assert near or ends == pytest.approx(way, abs=1e-12)


@pytest.mark.parametrize(
    ("seen", "now", "there"),
    [
        ((5.0, 3.0), (5.8, 3.0), (5.8, 3.0)),  # inside
        ((5.0, 3.0), (6.8, 3.0), (5.99, 3.0)),  # up to 1 cm before the area's edge
        ((6.1, 3.0), (6.8, 3.0), (6.8, 3.0)),  # he was outside already
    ],
)
def test_nobody_is_carried_out_of_the_area(
    seen: tuple[float, float], now: tuple[float, float], there: tuple[float, float]
) -> None:
    assert edges().inside((*seen, 1.3), (*now, 1.4)) == pytest.approx((*there, 1.4), abs=1e-9)
