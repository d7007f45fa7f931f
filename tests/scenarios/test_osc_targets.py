"""interface.md, "OSC 1.0 over UDP", the `/target/...` rows, one test or more for each sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.wire.settings import LostInput

HERE, THERE = "127.0.0.1", "127.0.0.9"


@pytest.mark.parametrize(
    ("x", "y", "z"), [(0.0, 2.0, 1.3), (-5.0, 1.0, 1.3), (0.0, 6.5, 1.9)], ids=["stage", "corner", "riser"]
)
def test_two_numbers_light_floor_height_plus_the_targets_height(bridge: Any, x: float, y: float, z: float) -> None:
    bridge.stand(x, y)
    bridge.assert_lit((x, y, z))


def test_three_numbers_light_exactly_that_point(bridge: Any) -> None:
    bridge.stand(0.0, 6.5, 2.2)
    bridge.assert_lit((0.0, 6.5, 2.2))


def test_numbers_may_come_as_integers(bridge: Any) -> None:
    bridge.stand(1, 3)
    bridge.assert_lit((1, 3, 1.3))


def test_a_velocity_moves_the_target_while_it_is_renewed_and_half_a_second_longer(bridge: Any) -> None:
    bridge.stand(-2.0, 3.0)
    bridge.run(2.0, lambda _: bridge.say("/target/lead/velocity", 1.0, 0.5))
    # the last of these was said 0.1 s before the end
    x, y, _ = bridge.meets("foh-1", 1.3)
    assert (x, y) == (pytest.approx(0.0, abs=0.01), pytest.approx(4.0, abs=0.01))
    bridge.run(1.0)
    stopped = bridge.meets("foh-1", 1.3)
    assert (stopped[0], stopped[1]) == (pytest.approx(0.4, abs=0.03), pytest.approx(4.2, abs=0.03))
    bridge.run(0.5)
    np.testing.assert_allclose(bridge.meets("foh-1", 1.3), stopped, atol=1e-6)


def test_a_velocity_of_zero_stops_at_once_and_a_position_ends_a_velocity(bridge: Any) -> None:
    bridge.stand(-2.0, 1.0)
    bridge.say("/target/lead/velocity", 1.0, 0.0)
    bridge.run(0.2)
    bridge.say("/target/lead/velocity", 0.0, 0.0)
    bridge.run(1.0)
    assert bridge.meets("foh-1", 1.3)[0] == pytest.approx(-1.8, abs=0.03)
    bridge.say("/target/lead/velocity", 1.0, 0.0)
    bridge.run(0.1)
    bridge.say("/target/lead/position", -1.0, 1.0)
    bridge.run(1.0)
    bridge.assert_lit((-1.0, 1.0, 1.3))


def pointing_at(bridge: Any, name: str, point: tuple[float, float, float]) -> tuple[float, float]:
    """Angles in degrees, rounded as a person would type them, that put one head's beam near a point on face 1."""
    pan, tilt, _ = bridge.rig.heads.aim(np.broadcast_to(np.array(point), (len(bridge.rig), 3)))
    n = bridge.number(name)
    return round(float(np.degrees(pan[n, 0])), 1), round(float(np.degrees(tilt[n, 0])), 1)


@pytest.mark.parametrize(("point", "level"), [((2.5, 3.0, 1.3), 1.3), ((0.5, 6.0, 1.9), 1.9)], ids=["stage", "riser"])
def test_pointing_steers_the_target_with_one_fixture(
    bridge: Any, point: tuple[float, float, float], level: float
) -> None:
    pan, tilt = pointing_at(bridge, "foh-2", point)
    bridge.say("/target/lead/pointing", "foh-2", pan, tilt)
    bridge.run(3.0, lambda _: bridge.say("/target/lead/alive"))
    assert bridge.angles("foh-2") == (pytest.approx(pan, abs=1e-9), pytest.approx(tilt, abs=1e-9))
    bridge.assert_lit(bridge.meets("foh-2", level))


def test_pointing_meets_a_riser_before_the_floor_behind_it(bridge: Any) -> None:
    # From the front, a beam on its way to a place behind the riser's front edge meets the riser's level first.
    pan, tilt = pointing_at(bridge, "foh-2", (0.0, 7.5, 1.3))
    bridge.say("/target/lead/pointing", "foh-2", pan, tilt)
    bridge.run(3.0, lambda _: bridge.say("/target/lead/alive"))
    met = bridge.meets("foh-2", 1.9)
    assert 5.0 < met[1] < 7.5
    bridge.assert_lit(met)


def test_pointing_is_refused_where_the_beam_meets_nothing(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.refused("/target/lead/pointing", "foh-2", 0.0, 120.0)
    bridge.run(1.0, lambda _: bridge.say("/target/lead/alive"))
    bridge.assert_lit((1.0, 3.0, 1.3))


@pytest.mark.parametrize(("pan", "tilt"), [(271.0, 40.0), (-300.0, 40.0), (0.0, 136.0)])
def test_pointing_out_of_range_is_refused_not_clamped(bridge: Any, pan: float, tilt: float) -> None:
    bridge.refused("/target/lead/pointing", "foh-2", pan, tilt)


def test_pointing_beyond_a_soft_limit_is_refused_not_clamped(make_bridge: Callable[..., Any]) -> None:
    def limited(made: Any) -> Any:
        return replace(made, fixtures=tuple(replace(f, pan_limits=(-200, 200)) for f in made.fixtures))

    make_bridge(change=limited).refused("/target/lead/pointing", "foh-2", 250.0, 40.0)


def test_height_and_size_change_what_is_lit(bridge: Any) -> None:
    bridge.stand(0.0, 3.0)
    bridge.say("/target/lead/height", 1.7)
    bridge.say("/target/lead/size", 1.0)
    bridge.stand(0.0, 3.0)
    bridge.assert_lit((0.0, 3.0, 1.7))
    start, _ = bridge.rig.heads.beam(bridge.frame.pan_rad, bridge.frame.tilt_rad)
    distance = np.linalg.norm(start - (0.0, 3.0, 1.7), axis=1)
    angle_deg = np.degrees(2 * np.arctan(1.0 / (2 * distance)))  # conventions.md, "Light": 2 atan(D / 2r)
    np.testing.assert_allclose(bridge.frame.zoom_raw, 65535 * (55 - np.clip(angle_deg, 5, 55)) / 50, rtol=1e-6)
    np.testing.assert_allclose(bridge.frame.distance, distance, atol=1e-6)


@pytest.mark.parametrize("word", ["height", "size"])
def test_height_and_size_belong_to_one_target(bridge: Any, word: str) -> None:
    bridge.say("/fixture/foh-1/follow", "second")
    bridge.stand(2.0, 3.0, target="second")
    before = (bridge.angles("foh-1"), float(bridge.frame.zoom_raw[bridge.number("foh-1")]))
    bridge.say(f"/target/lead/{word}", 0.9)
    bridge.run(1.0, lambda _: bridge.say("/target/second/alive"))
    assert (bridge.angles("foh-1"), float(bridge.frame.zoom_raw[bridge.number("foh-1")])) == before


# lost_input: {after, then, fade}: "seconds without any /target/NAME/... message; then: hold (never fades) | dark"

DARK_AFTER_2 = LostInput(2.0, "dark", 3.0)


def test_alive_keeps_a_performer_lit_who_stands_still(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(lost_input=DARK_AFTER_2)
    bridge.stand(1.0, 3.0)
    bridge.run(20.0, lambda _: bridge.say("/target/lead/alive"), every_s=1.5)
    bridge.assert_lit((1.0, 3.0, 1.3))


@pytest.mark.parametrize(
    ("address", "args"),
    [("position", (1.0, 3.0)), ("velocity", (0.0, 0.0)), ("height", (1.3,)), ("size", (2.0,)), ("take", ())],
)
def test_any_message_to_the_target_counts_as_life(
    make_bridge: Callable[..., Any], address: str, args: tuple[float, ...]
) -> None:
    bridge = make_bridge(lost_input=DARK_AFTER_2)
    bridge.stand(1.0, 3.0)
    bridge.run(8.0, lambda _: bridge.say(f"/target/lead/{address}", *args), every_s=1.5)
    bridge.assert_lit((1.0, 3.0, 1.3))


def test_a_lost_input_goes_dark_linearly_over_its_fade(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(lost_input=DARK_AFTER_2)
    bridge.stand(1.0, 3.0)
    bridge.say("/target/lead/alive")
    bridge.run(1.9)
    bridge.assert_lit((1.0, 3.0, 1.3))
    levels = np.array([frame.level for frame in bridge.run(3.5)])
    bridge.assert_dark("no-input")
    falls = -np.diff(levels, axis=0)
    falling = falls[(falls > 0).all(axis=1)]
    assert len(falling) / 44 == pytest.approx(3.0, abs=0.1)
    np.testing.assert_allclose(falling[1:-1], 1 / (3.0 * 44), rtol=0.01)


def test_a_lost_input_that_holds_never_fades(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(lost_input=LostInput(2.0, "hold", 3.0))
    bridge.stand(1.0, 3.0)
    bridge.run(30.0)
    assert bridge.states == {"no-input"}
    np.testing.assert_allclose(bridge.frame.level, 1.0)
    assert bridge.misses((1.0, 3.0, 1.3)).max() < 1e-3


@pytest.mark.parametrize("then", ["hold", "dark"])
@pytest.mark.parametrize("away_s", [2.5, 3.5, 9.0])
def test_an_input_that_comes_back_brings_the_light_back_without_a_jump(
    make_bridge: Callable[..., Any], then: str, away_s: float
) -> None:
    bridge = make_bridge(lost_input=LostInput(2.0, then, 3.0))
    bridge.stand(1.0, 3.0)
    before = bridge.run(away_s)[-1].level
    frames = bridge.stand(1.05, 3.0)
    levels = np.array([before, *(frame.level for frame in frames)])
    # the steepest that a fade of the show goes is 0.2 s from end to end
    assert np.abs(np.diff(levels, axis=0)).max() <= 1 / (0.2 * 44) + 1e-6
    bridge.assert_lit((1.05, 3.0, 1.3))


# "One target obeys one sender (its host address) at a time: the first, until its input is lost or another sends take."


def test_the_first_sender_steers_and_another_is_refused(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    for address, args in [("position", (3.0, 3.0)), ("velocity", (1.0, 0.0)), ("height", (1.9,)), ("size", (1.0,))]:
        bridge.refused(f"/target/lead/{address}", *args, host=THERE)
    bridge.refused("/target/lead/alive", host=THERE)
    bridge.run(1.0)
    bridge.assert_lit((1.0, 3.0, 1.3))
    bridge.say("/target/second/position", 3.0, 3.0, host=THERE)  # another target may have another sender


def test_a_refused_sender_does_not_keep_the_input_alive(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(lost_input=DARK_AFTER_2)
    bridge.stand(1.0, 3.0)

    def interfere(gone_s: float) -> None:
        if gone_s < 1.9:
            bridge.refused("/target/lead/alive", host=THERE)

    bridge.run(6.0, interfere)
    bridge.assert_dark("no-input")


def test_take_hands_the_target_over(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/target/lead/take", host=THERE)
    bridge.refused("/target/lead/position", 0.0, 2.0, host=HERE)
    bridge.say("/target/lead/position", 1.2, 3.0, host=THERE)
    bridge.run(1.0)
    bridge.assert_lit((1.2, 3.0, 1.3))


def test_whoever_takes_a_target_over_puts_it_where_they_say_at_once_however_far(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.run(1.0, lambda _: bridge.say("/target/lead/position", 1.0, 3.0))
    bridge.say("/target/lead/take", host=THERE)
    bridge.say("/target/lead/position", -4.0, 6.0, host=THERE)
    bridge.run(2.5, lambda _: bridge.say("/target/lead/alive", host=THERE))
    bridge.assert_lit((-4.0, 6.0, 1.3))


def test_a_lost_target_obeys_the_next_sender(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.run(2.2)
    bridge.say("/target/lead/position", 1.2, 3.0, host=THERE)
    bridge.refused("/target/lead/position", 0.0, 2.0, host=HERE)
    bridge.run(1.5)
    bridge.assert_lit((1.2, 3.0, 1.3))


def test_before_the_first_input_heads_are_dark_on_the_middle_of_the_polygon(bridge: Any) -> None:
    bridge.run(1.0)
    bridge.assert_dark("no-input")
    assert bridge.misses((0.0, 4.0, 1.3)).max() < 1e-3


def test_a_life_sign_alone_is_no_place_to_light(bridge: Any) -> None:
    bridge.run(1.0, lambda _: bridge.say("/target/lead/alive"))
    bridge.assert_dark("no-input")
