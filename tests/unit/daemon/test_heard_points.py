"""What is kept of points: rate and jitter by the second, bounded whatever comes, gone ones make room."""

from __future__ import annotations

import pytest

from bridge.daemon.heard_points import MOST_PLACES, MOST_POINTS, HeardPoints, PointHeard
from bridge.wire.tracked import Point

HERE = (1.0, 2.0, 3.0)


def test_rate_and_jitter_are_of_the_last_whole_second() -> None:
    """Gaps of 15 and 25 ms in turn: 50 a second, one sigma of 5 ms."""
    heard = PointHeard(10.0)
    at_s = 10.0
    for n in range(120):
        heard.take(HERE, at_s, at_s, "h")
        at_s += 0.015 if n % 2 else 0.025
    assert heard.rate_hz == pytest.approx(50.0, rel=0.02)
    assert heard.jitter_s == pytest.approx(0.005, rel=0.02)


def test_a_point_that_comes_once_a_second_has_a_rate_and_no_jitter() -> None:
    heard = PointHeard(10.0)
    for n in range(5):
        heard.take(HERE, 10.0 + n, 10.0 + n, "h")
    assert (heard.rate_hz, heard.jitter_s) == (1.0, 0.0)


def test_the_last_second_is_by_when_it_was_seen_and_bounded() -> None:
    heard = PointHeard(0.0)
    for n in range(1000):
        heard.take((float(n), 0.0, 0.0), n / 1000, n / 1000 + 0.2, "h")
    assert len(heard.last_second(1.0)) == MOST_PLACES
    assert [round(at_s, 3) for at_s, _ in heard.last_second(1.9965)] == [0.997, 0.998, 0.999]


def test_the_same_sample_once_more_is_told_from_another() -> None:
    heard = PointHeard(0.0)
    stamped = Point("7", HERE, None, 5, "c")
    assert [heard.repeats(stamped), heard.repeats(stamped)] == [False, True]
    assert not heard.repeats(stamped._replace(sampled_us=6))
    assert not heard.repeats(stamped._replace(clock="d"))
    assert [heard.repeats(Point("7", HERE)), heard.repeats(Point("7", HERE))] == [False, False]


def test_there_is_room_for_so_many_and_for_those_that_are_followed() -> None:
    points = HeardPoints()
    points.always = frozenset({"lead"})
    for n in range(MOST_POINTS + 50):
        heard = points.point(f"p{n}", 1.0)
        if heard is not None:
            heard.take(HERE, 1.0, 1.0, "h")
    assert (len(points.by_name), points.refused) == (MOST_POINTS, 50)
    assert points.point("lead", 1.0) is not None
    assert len(points.there(1.5)) == MOST_POINTS
    assert points.there(5.0) == {}


def test_a_point_that_is_gone_makes_room_for_a_new_one() -> None:
    points = HeardPoints()
    for n in range(MOST_POINTS):
        heard = points.point(f"p{n}", 1.0)
        assert heard is not None
        heard.take(HERE, 1.0 + n / 1000, 1.0 + n / 1000, "h")
    assert points.point("new", 5.0) is None
    assert points.point("new", 20.0) is not None
    assert "p0" not in points.by_name
    assert len(points.by_name) == MOST_POINTS
