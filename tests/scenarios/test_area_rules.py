"""interface.md, stage.yaml: where a target may be lit. margin 0.15, fade_out 0.2, fade_in 0.3, height -0.5 .. 4."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

ALIVE = "/target/lead/alive"


def settle(bridge: Any, seconds: float = 2.0) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


# "A lit target goes dark when it is more than `margin` outside; a dark one is lit again once it is inside."


def test_a_lit_target_stays_lit_within_the_margin(bridge: Any) -> None:
    bridge.stand(5.9, 3.0)
    bridge.stand(6.14, 3.0)
    bridge.assert_lit((6.14, 3.0, 1.3))


def test_a_lit_target_goes_dark_beyond_the_margin(bridge: Any) -> None:
    bridge.stand(5.9, 3.0)
    bridge.stand(6.16, 3.0)
    bridge.assert_dark("outside")


def test_a_dark_target_stays_dark_until_it_is_inside(bridge: Any) -> None:
    bridge.stand(7.0, 3.0)
    bridge.stand(6.01, 3.0)
    bridge.assert_dark("outside")
    bridge.stand(5.99, 3.0)
    bridge.assert_lit((5.99, 3.0, 1.3))


def test_the_first_place_of_a_target_counts_as_any_other(bridge: Any) -> None:
    bridge.stand(6.5, 3.0)
    bridge.assert_dark("outside")


# "its place in plan (x, y) and its z, not the pool of light"


@pytest.mark.parametrize(("z", "lit"), [(3.9, True), (4.14, True), (4.2, False), (-0.64, True), (-0.7, False)])
def test_the_height_range_has_the_same_margin(bridge: Any, z: float, lit: bool) -> None:
    bridge.stand(0.5, 2.0)
    bridge.stand(0.5, 2.0, z)
    assert bridge.states == ({"lit"} if lit else {"outside"})


def test_the_pool_may_reach_over_the_edge(bridge: Any) -> None:
    bridge.say("/target/lead/size", 4.0)
    bridge.stand(5.9, 0.1)
    bridge.assert_lit((5.9, 0.1, 1.3))


# fades: linear in level


def test_the_light_fades_out_and_in_linearly_in_its_times(bridge: Any) -> None:
    bridge.stand(5.9, 3.0)
    bridge.say("/target/lead/position", 6.3, 3.0)
    out = np.array([frame.level[0] for frame in settle(bridge)])
    bridge.say("/target/lead/position", 5.9, 3.0)
    back = np.array([frame.level[0] for frame in settle(bridge)])
    for levels, fade_s in ((1 - out, 0.2), (back, 0.3)):
        steps = np.diff(levels[(levels > 0) & (levels < 1)])
        np.testing.assert_allclose(steps, 1 / (fade_s * 44), rtol=1e-6)
        assert len(steps) >= fade_s * 44 - 4
    assert out[0] < 1.0, "it begins with the frame that knows"


# "By themselves, heads go dark and come back at most once a second, whatever the target does at an edge."


@pytest.mark.parametrize("beat_s", [0.023, 0.1, 0.25, 0.5, 0.7])
def test_a_target_that_dances_on_the_edge_does_not_make_heads_flicker(bridge: Any, beat_s: float) -> None:
    bridge.stand(5.9, 3.0)
    steps = iter(range(10_000))
    frames = bridge.run(
        12.0, lambda _: bridge.say("/target/lead/position", 6.3 if next(steps) % 2 else 5.9, 3.0), every_s=beat_s
    )
    lit = np.array([frame.level > 0 for frame in frames])
    for change in (np.diff(lit.astype(int), axis=0) > 0, np.diff(lit.astype(int), axis=0) < 0):
        for head in change.T:
            gaps = np.diff(np.flatnonzero(head)) / 44
            assert gaps.size == 0 or gaps.min() >= 1.0 - 1 / 44
    assert not lit.all(), "it was outside for half of the time"


# "outside: dark | stay: when the target leaves the area"


def stays(made: Any) -> Any:
    first, *rest = made.fixtures
    return replace(made, fixtures=(replace(first, outside="stay"), *rest))


def test_a_head_that_stays_is_lit_outside_too(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=stays)
    bridge.stand(5.9, 3.0)
    bridge.stand(7.0, 3.0)
    bridge.assert_lit((7.0, 3.0, 1.3), ["foh-1"])
    bridge.assert_dark("outside", [name for name in bridge.rig.names if name != "foh-1"])


# "stay_within: how far beyond the area an `outside: stay` head may go on lighting, metres", 5.0; margin 0.15


def test_a_head_that_stays_does_not_light_the_far_house(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=stays)
    bridge.stand(5.9, 0.1)
    frames = bridge.stand(60.0, -40.0)
    bridge.assert_dark("outside")
    assert not any(frame.level[0] for frame in frames[round(0.3 * 44) :]), "and is out when the fade is"


@pytest.mark.parametrize(("x", "lit"), [(11.1, True), (11.2, False)])
def test_a_head_that_stays_goes_dark_a_margin_beyond_and_comes_back_within(
    make_bridge: Callable[..., Any], x: float, lit: bool
) -> None:
    bridge = make_bridge(change=stays)
    bridge.stand(10.9, 3.0)
    bridge.assert_lit((10.9, 3.0, 1.3), ["foh-1"])
    bridge.stand(x, 3.0)
    assert bridge.state("foh-1") == ("lit" if lit else "outside")
    bridge.stand(11.05, 3.0)
    assert bridge.state("foh-1") == ("lit" if lit else "outside")
    bridge.stand(10.95, 3.0)
    bridge.assert_lit((10.95, 3.0, 1.3), ["foh-1"])


def test_how_far_a_head_stays_counts_from_the_area_as_it_is_switched_and_in_height(
    make_bridge: Callable[..., Any],
) -> None:
    bridge = make_bridge(change=stays, stay_within=1.0)
    bridge.stand(0.0, -3.9)
    assert bridge.state("foh-1") == "outside", "the thrust, which ends at y -3, is off"
    bridge.say("/area/thrust", 1)
    settle(bridge)
    bridge.assert_lit((0.0, -3.9, 1.3), ["foh-1"])
    bridge.say("/area/thrust", 0)
    settle(bridge)
    assert bridge.state("foh-1") == "outside"
    bridge.stand(0.0, 1.0, 4.9)
    assert bridge.state("foh-1") == "lit"
    bridge.stand(0.0, 1.0, 5.2)
    assert bridge.state("foh-1") == "outside"


def test_a_head_that_stays_within_nothing_is_as_the_others(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=stays, stay_within=0.0)
    bridge.stand(5.9, 3.0)
    bridge.stand(6.1, 3.0)
    bridge.assert_lit((6.1, 3.0, 1.3))
    bridge.stand(6.2, 3.0)
    bridge.assert_dark("outside")


def test_a_target_that_dances_where_staying_ends_makes_its_head_go_dark_once_a_second_at_most(
    make_bridge: Callable[..., Any],
) -> None:
    bridge = make_bridge(change=stays)
    bridge.stand(10.9, 3.0)
    steps = iter(range(10_000))
    frames = bridge.run(
        12.0, lambda _: bridge.say("/target/lead/position", 11.3 if next(steps) % 2 else 10.9, 3.0), every_s=0.5
    )
    lit = np.array([frame.level[0] > 0 for frame in frames])
    went_dark = np.flatnonzero(np.diff(lit.astype(int)) < 0)
    assert went_dark.size > 1
    assert np.diff(went_dark).min() >= 44 - 1


def test_heads_follow_in_the_dark_and_are_there_when_the_target_comes_back(bridge: Any) -> None:
    bridge.stand(5.9, 3.0)
    bridge.stand(6.8, 3.0)
    bridge.assert_dark("outside")
    assert bridge.misses((6.8, 3.0, 1.3)).max() < 1e-3


def test_each_target_has_its_own_verdict(bridge: Any) -> None:
    bridge.say("/fixture/foh-1/follow", "second")
    bridge.say("/target/second/position", 1.0, 3.0)
    bridge.stand(7.0, 3.0, seconds=1.9)
    bridge.assert_lit((1.0, 3.0, 1.5), ["foh-1"])
    bridge.assert_dark("outside", [name for name in bridge.rig.names if name != "foh-1"])
