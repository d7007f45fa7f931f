"""Levels, sizes and heights over a time (linear, from where they are), and sizes and heights by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.scenarios.random_shows import FRAME_S, TARGETS

ALIVE = "/target/lead/alive"
LEVELS = ["/level", "/fixture/foh-1/level", "/target/lead/level"]


def run(bridge: Any, seconds: float) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


@pytest.fixture
def lit(make_bridge: Callable[..., Any]) -> Any:
    bridge = make_bridge(targets=TARGETS)
    bridge.stand(1.0, 3.0)
    return bridge


@pytest.mark.parametrize("address", LEVELS)
def test_a_level_fades_linearly_in_its_time(lit: Any, address: str) -> None:
    lit.say(address, 0.2, 2.0)
    levels = np.array([frame.level for frame in run(lit, 3.0)])
    gone_s = np.arange(1, len(levels) + 1) * FRAME_S
    n = lit.number("foh-1")
    np.testing.assert_allclose(levels[:, n], 1 - 0.8 * np.minimum(gone_s / 2.0, 1.0), atol=1e-5)
    others = np.delete(levels, n, axis=1)
    assert (others == 1.0).all() if address.startswith("/fixture") else np.allclose(others, levels[:, [n]])


@pytest.mark.parametrize("address", LEVELS)
def test_a_fade_begins_where_the_last_one_is(lit: Any, address: str) -> None:
    lit.say(address, 0.0, 2.0)
    run(lit, 1.0)
    assert lit.level("foh-1") == pytest.approx(0.5, abs=1e-5)
    lit.say(address, 1.0, 1.0)
    levels = np.array([frame.level[lit.number("foh-1")] for frame in run(lit, 1.5)])
    gone_s = np.arange(1, len(levels) + 1) * FRAME_S
    np.testing.assert_allclose(levels, np.minimum(0.5 + 0.5 * gone_s, 1.0), atol=1e-5)
    lit.say(address, 0.4)
    run(lit, FRAME_S)
    assert lit.level("foh-1") == pytest.approx(0.4)


def test_levels_multiply_in_the_middle_of_their_fades(lit: Any) -> None:
    for address in LEVELS:
        lit.say(address, 0.0, 2.0)
    run(lit, 1.0)
    assert lit.level("foh-1") == pytest.approx(0.125, abs=1e-4)


def test_at_level_0_they_follow_in_the_dark_and_one_message_picks_the_performer_up(lit: Any) -> None:
    """ "at 0 they follow in the dark, so that a performer is picked up with one message" """
    lit.say("/target/lead/level", 0.0)
    for frame in lit.run(3.0, lambda s: lit.say("/target/lead/position", 1.0 - s, 3.0 + s), every_s=FRAME_S):
        assert not frame.level.any()
    place = lit.place()
    lit.stand(*place[:2], seconds=1.0)
    assert lit.misses(lit.place()).max() < 1e-3
    lit.say("/target/lead/level", 1.0)
    run(lit, FRAME_S)
    lit.assert_lit(lit.place())


def diameter(bridge: Any, name: str) -> float:
    """Of the spot, m, by the zoom that is sent: 55 degrees at 0, 5 at 65535, linear between (tests/conftest.py)."""
    n = bridge.number(name)
    degrees = 55.0 - 50.0 * bridge.frame.zoom_raw[n] / 65535
    return float(2 * bridge.frame.distance[n] * np.tan(np.radians(degrees / 2)))


def test_a_size_by_name_and_over_a_time(lit: Any) -> None:
    assert diameter(lit, "mid-2") == pytest.approx(2.0, abs=1e-3)
    lit.say("/target/lead/size", "half", 1.0)
    run(lit, 0.5)
    assert diameter(lit, "mid-2") == pytest.approx(1.6, abs=1e-2)
    run(lit, 0.6)
    assert diameter(lit, "mid-2") == pytest.approx(1.2, abs=1e-3)
    lit.say("/target/lead/size", "tight")
    run(lit, FRAME_S)
    assert diameter(lit, "mid-2") == pytest.approx(0.8, abs=1e-3)


def test_a_height_by_name_and_over_a_time(lit: Any) -> None:
    lit.say("/target/lead/height", "seated", 2.0)
    frames = run(lit, 1.0)
    assert lit.place()[2] == pytest.approx(1.1, abs=1e-5)
    assert lit.misses((1.0, 3.0, 1.1)).max() < 1e-3
    assert min(frame.level.min() for frame in frames) == 1.0
    run(lit, 1.5)
    lit.assert_lit((1.0, 3.0, 0.9))


@pytest.mark.parametrize(
    ("address", "args", "reason"),
    [
        ("/target/lead/size", ("vast",), "unknown-name"),
        ("/target/second/size", ("tight",), "unknown-name"),
        ("/target/lead/height", ("tight",), "unknown-name"),
        ("/target/lead/level", ("half",), "arguments"),
        ("/level", (0.5, -1.0), "range"),
        ("/level", (0.5, 3601.0), "range"),
        ("/level", (0.5, float("nan")), "not-finite"),
        ("/fixture/foh-1/level", (0.5, "slowly"), "arguments"),
        ("/target/lead/size", (1.0, 1.0, 1.0), "arguments"),
        ("/target/lead/level", (1.01, 1.0), "range"),
        ("/target/nobody/level", (1.0,), "unknown-name"),
    ],
)
def test_what_is_no_fade_is_refused_and_changes_nothing(
    lit: Any, address: str, args: tuple[Any, ...], reason: str
) -> None:
    before = lit.frame
    assert lit.refused(address, *args).reason == reason
    frame = run(lit, 0.5)[-1]
    np.testing.assert_array_equal(frame.level, before.level)
    np.testing.assert_array_equal(frame.zoom_raw, before.zoom_raw)


def test_a_name_that_is_not_known_is_answered_with_those_that_are(lit: Any) -> None:
    assert "known: tight, half" in str(lit.refused("/target/lead/size", "vast"))
