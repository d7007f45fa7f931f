"""interface.md, "OSC 1.0 over UDP", the `/fixture/...`, `/truss/...`, `/level`, `/sight/...` and `/walk` rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.scenarios.lamps import illuminance, lamps

ALIVE = "/target/lead/alive"


def settle(bridge: Any, seconds: float = 2.0) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


def others(bridge: Any, *names: str) -> list[str]:
    return [name for name in bridge.rig.names if name not in names]


# /fixture/NAME/level, /level: "one fixture's level; the master"


def test_level_is_master_times_fixture(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/fixture/foh-1/level", 0.5)
    settle(bridge, 0.1)
    bridge.assert_lit((1.0, 3.0, 1.3), ["foh-1"], level=0.5)
    bridge.assert_lit((1.0, 3.0, 1.3), others(bridge, "foh-1"))
    bridge.say("/level", 0.5)
    settle(bridge, 0.1)
    bridge.assert_lit((1.0, 3.0, 1.3), ["foh-1"], level=0.25)
    bridge.assert_lit((1.0, 3.0, 1.3), others(bridge, "foh-1"), level=0.5)
    bridge.say("/level", 0)
    settle(bridge, 0.1)
    assert not bridge.frame.level.any()


# /fixture/NAME/follow: "hand the fixture to another target"


def test_a_fixture_is_handed_to_another_target_and_back(bridge: Any) -> None:
    bridge.say("/target/second/position", -4.0, 2.0)
    bridge.stand(4.0, 2.0)
    bridge.say("/fixture/foh-1/follow", "second")

    def both(_: float) -> None:
        bridge.say(ALIVE)
        bridge.say("/target/second/alive")

    frames = bridge.run(3.0, both)
    bridge.assert_lit((-4.0, 2.0, 1.5), ["foh-1"])  # second's own height
    bridge.assert_lit((4.0, 2.0, 1.3), others(bridge, "foh-1"))
    # the others never noticed; the one went over in the dark
    rest = [bridge.number(name) for name in others(bridge, "foh-1")]
    assert min(frame.level[rest].min() for frame in frames) == 1.0
    one = bridge.number("foh-1")
    between = [
        frame
        for frame in frames
        if min(bridge.misses((4.0, 2.0, 1.3), frame)[one], bridge.misses((-4.0, 2.0, 1.5), frame)[one]) > 1.0
    ]
    assert between
    assert not any(frame.level[one] for frame in between)
    bridge.say("/fixture/foh-1/follow", "lead")
    bridge.run(3.0, both)
    bridge.assert_lit((4.0, 2.0, 1.3))


# /fixture/NAME/hold: "stop following, keep the last look"


def test_a_held_fixture_keeps_its_look_and_follows_again_when_let_go(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    before, zoom = bridge.angles("foh-1"), float(bridge.frame.zoom_raw[0])
    bridge.say("/fixture/foh-1/hold", 1)
    bridge.stand(1.0, 4.5)
    bridge.say("/target/lead/size", 1.0)
    settle(bridge, 1.0)
    assert (bridge.state("foh-1"), bridge.level("foh-1")) == ("held", 1.0)
    assert bridge.angles("foh-1") == before
    assert float(bridge.frame.zoom_raw[0]) == zoom
    bridge.assert_lit((1.0, 4.5, 1.3), others(bridge, "foh-1"))
    bridge.say("/fixture/foh-1/hold", 0)
    bridge.stand(1.0, 4.5)
    bridge.assert_lit((1.0, 4.5, 1.3))


def test_a_held_fixture_does_not_care_for_the_area_or_a_lost_input(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/fixture/foh-1/hold", True)
    bridge.stand(20.0, 3.0)
    assert (bridge.state("foh-1"), bridge.level("foh-1")) == ("held", 1.0)
    bridge.run(5.0)
    assert (bridge.state("foh-1"), bridge.level("foh-1")) == ("held", 1.0)


# /fixture/NAME/out: "take a head out: dark, at rest, not counted in evenness"


def test_a_head_that_is_out_is_dark_and_at_rest(make_bridge: Callable[..., Any]) -> None:
    def rested(made: Any) -> Any:
        return replace(made, fixtures=tuple(replace(f, rest=(10.0, 45.0)) for f in made.fixtures))

    bridge = make_bridge(change=rested)
    bridge.stand(1.0, 3.0)
    bridge.say("/fixture/foh-1/out", 1)
    (first, *_) = settle(bridge, 3.0)
    assert first.level[bridge.number("foh-1")] == 0.0
    bridge.assert_dark("out", ["foh-1"])
    assert bridge.angles("foh-1") == (pytest.approx(10.0), pytest.approx(45.0))
    bridge.say("/fixture/foh-1/out", 0)
    settle(bridge, 3.0)
    bridge.assert_lit((1.0, 3.0, 1.3))


def test_evenness_gives_every_head_the_same_illuminance_and_does_not_count_a_head_that_is_out(
    make_bridge: Callable[..., Any],
) -> None:
    shares = {0: 0.7}
    bridge = make_bridge(change=lamps(shares), evenness=True)
    bridge.stand(0.5, 2.0, seconds=5.0)
    lux = illuminance(bridge.frame, shares)
    np.testing.assert_allclose(lux, lux.min(), rtol=0.01)
    assert bridge.level("foh-1") == pytest.approx(1.0, abs=0.01), "the weakest is at full"
    bridge.say("/fixture/foh-1/out", 1)
    settle(bridge, 4.0)
    without = illuminance(bridge.frame, shares)[1:]
    np.testing.assert_allclose(without, without.min(), rtol=0.01)
    assert without.min() > 1.1 * lux.min()
    assert bridge.frame.level[1:].max() == pytest.approx(1.0, abs=0.01)


def test_one_bad_head_cannot_darken_the_rest(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=lamps({0: 0.05}), evenness=True)
    bridge.stand(0.5, 2.0, seconds=5.0)
    np.testing.assert_allclose(bridge.frame.level[1:], 0.5, atol=1e-6)
    deeper = make_bridge(change=lamps({0: 0.05}), evenness=True, evenness_least=0.2)
    deeper.stand(0.5, 2.0, seconds=5.0)
    np.testing.assert_allclose(deeper.frame.level[1:], 0.2, atol=1e-6)


def test_a_weak_group_does_not_dim_another(make_bridge: Callable[..., Any]) -> None:
    """The first head is a group of its own, then the first three are."""
    shares = {0: 0.6, 1: 0.8}
    for size, levels in ((1, [1.0, 1.0, 0.8]), (3, [1.0, 0.75, 0.6])):

        def grouped(made: Any, size: int = size) -> Any:
            made = lamps(shares)(made)
            fixtures = [replace(f, evenness="key" if n < size else None) for n, f in enumerate(made.fixtures)]
            return replace(made, fixtures=tuple(fixtures))

        bridge = make_bridge(change=grouped, evenness=True)
        bridge.stand(0.5, 2.0, seconds=5.0)
        np.testing.assert_allclose(bridge.frame.level[:3], levels, rtol=0.02)


def test_without_evenness_levels_are_left_alone(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=lamps({0: 0.7}), evenness=False)
    bridge.stand(0.5, 2.0)
    bridge.assert_lit((0.5, 2.0, 1.3))


# /fixture/NAME/trim, /truss/NAME/trim: "shift what it lights on the floor, metres, kept until set to 0 0";
# "Trims shift what is lit, never the area test."


def test_trims_of_a_fixture_and_its_truss_add_up_and_stay(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/fixture/foh-1/trim", 0.3, -0.2)
    bridge.say("/truss/foh/trim", 0.0, 0.5)
    settle(bridge, 2.0)
    bridge.assert_lit((1.3, 3.3, 1.3), ["foh-1"])
    bridge.assert_lit((1.0, 3.5, 1.3), ["foh-2", "foh-3", "foh-4"])
    bridge.assert_lit((1.0, 3.0, 1.3), ["mid-1", "mid-4", "back-2"])
    bridge.stand(2.0, 2.0)
    bridge.assert_lit((2.3, 2.3, 1.3), ["foh-1"])
    bridge.say("/fixture/foh-1/trim", 0, 0)
    bridge.say("/truss/foh/trim", 0, 0)
    bridge.stand(2.0, 2.0)
    bridge.assert_lit((2.0, 2.0, 1.3))


def test_a_trim_never_moves_the_area_test(bridge: Any) -> None:
    bridge.stand(5.9, 3.0)
    bridge.say("/fixture/foh-1/trim", 1.0, 0.0)
    settle(bridge)
    bridge.assert_lit((6.9, 3.0, 1.3), ["foh-1"])
    bridge.stand(6.3, 3.0)
    bridge.say("/fixture/foh-1/trim", -1.0, 0.0)
    settle(bridge)
    bridge.assert_dark("outside", ["foh-1"])


# /sight/FIXTURE/point, nudge, zoom, focus, level, done: "focus session: aim one head, absolute or by a step, degrees"


def test_a_sighted_head_goes_where_it_is_told_at_the_working_light_and_comes_back(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/sight/foh-1/point", 12.5, 41.25)
    settle(bridge, 3.0)
    assert bridge.angles("foh-1") == (pytest.approx(12.5), pytest.approx(41.25))
    assert bridge.state("foh-1") == "sighting"
    assert 0 < bridge.level("foh-1") <= 0.2
    bridge.assert_lit((1.0, 3.0, 1.3), others(bridge, "foh-1"))
    bridge.say("/sight/foh-1/nudge", -0.5, 0.25)
    settle(bridge, 1.0)
    assert bridge.angles("foh-1") == (pytest.approx(12.0), pytest.approx(41.5))
    bridge.say("/sight/foh-1/done")
    settle(bridge, 3.0)
    bridge.assert_lit((1.0, 3.0, 1.3))


def test_a_nudge_starts_from_where_the_head_is(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    pan, tilt = bridge.angles("mid-3")
    bridge.say("/sight/mid-3/nudge", 1.0, -2.0)
    settle(bridge, 1.5)
    assert bridge.angles("mid-3") == (pytest.approx(pan + 1.0), pytest.approx(tilt - 2.0))


def test_nudges_that_come_quickly_all_count(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    pan, tilt = bridge.angles("mid-3")
    bridge.run(1.0, lambda _: bridge.say("/sight/mid-3/nudge", 0.1, 0.1), every_s=0.1)
    bridge.run(1.5)
    assert bridge.angles("mid-3") == (pytest.approx(pan + 1.0), pytest.approx(tilt + 1.0))


def test_zoom_focus_and_level_are_set_for_the_sighting(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    n = bridge.number("foh-2")
    bridge.say("/sight/foh-2/zoom", 0.25)
    bridge.say("/sight/foh-2/focus", 1.0)
    bridge.say("/sight/foh-2/level", 0.1)
    settle(bridge, 1.0)
    assert (bridge.frame.zoom_raw[n], bridge.frame.focus_raw[n]) == (pytest.approx(16384, abs=1), 65535)
    assert bridge.level("foh-2") == pytest.approx(0.1)
    assert bridge.state("foh-2") == "sighting"


def test_a_sighting_works_before_the_first_input_and_without_a_pose(make_bridge: Callable[..., Any]) -> None:
    def unsolved(made: Any) -> Any:
        return replace(made, poses={name: pose for name, pose in made.poses.items() if name != "foh-1"})

    bridge = make_bridge(change=unsolved)
    bridge.run(1.5)
    bridge.say("/sight/foh-1/point", -30.0, 50.0)
    bridge.run(2.0)
    assert bridge.angles("foh-1") == (pytest.approx(-30.0), pytest.approx(50.0))
    assert bridge.state("foh-1") == "sighting"
    assert bridge.level("foh-1") > 0


# /walk MARK: "check walk, press and hold: every solved fixture on that mark at the focus level; ends 0.5 s after the
# last message"


def test_a_walk_puts_every_solved_fixture_on_the_mark_while_it_is_held(make_bridge: Callable[..., Any]) -> None:
    def unsolved(made: Any) -> Any:
        return replace(made, poses={name: pose for name, pose in made.poses.items() if name != "foh-1"})

    bridge = make_bridge(change=unsolved)
    bridge.stand(1.0, 3.0)
    solved = others(bridge, "foh-1")

    def hold(_: float) -> None:
        bridge.say(ALIVE)
        bridge.say("/walk", "E")

    bridge.run(4.0, hold)
    where = [bridge.number(name) for name in solved]
    assert bridge.misses((0.5, 4.0, 0.0))[where].max() < 1e-3
    assert {bridge.state(name) for name in solved} == {"sighting"}
    np.testing.assert_allclose(bridge.frame.level[where], 0.2)
    bridge.assert_dark("unsolved", ["foh-1"])
    bridge.say("/walk", "E")
    settle(bridge, 0.45)
    assert {bridge.state(name) for name in solved} == {"sighting"}
    settle(bridge, 0.15)
    assert "sighting" not in {bridge.state(name) for name in solved}
    settle(bridge, 3.0)
    bridge.assert_lit((1.0, 3.0, 1.3), solved)
