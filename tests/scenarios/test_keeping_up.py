"""A head that cannot keep up stays lit, says `moving` and how far off, and is `lit` again when it has caught up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.daemon import status
from bridge.follow.judging.states import WORDS
from bridge.geometry.stage import Target, Walk
from bridge.rig.profile import Axis
from tests.conftest import spot_profile
from tests.scenarios.random_shows import Twin, differences, hung_outside

RATE = 44
SPEED, ACCELERATION = 18.0, 60.0  # deg/s, deg/s²: a runner before a head 12 m away needs 24 deg/s
SIZE_M, HEIGHT_M, RUN_M_S = 2.0, 1.3, 5.0
ON_M, OFF_M = 0.25 * SIZE_M, 0.2 * SIZE_M
SLOW = spot_profile(pan=Axis(-270.0, 270.0, SPEED, ACCELERATION), tilt=Axis(-135.0, 135.0, SPEED, ACCELERATION))


def slow_bridge(make_bridge: Callable[..., Any], seed: int = 1, predict: bool = False, **more: Any) -> Any:
    """Slow heads on a performer who stands. None is so late that it goes dark, or `move_in_black_after` says so."""
    more = {"move_in_black_after": 5.0} | more
    target = Target("lead", height=HEIGHT_M, size=SIZE_M, walk=Walk(predict=predict))
    made = make_bridge(seed, hung_outside, rig={"profile": SLOW}, targets=(target,), floors=(), no_light=(), **more)
    made.stand(-5.0, 3.0, seconds=8.0)
    made.assert_lit((-5.0, 3.0, HEIGHT_M))
    return made


def runner(time_s: float) -> tuple[float, float]:
    """To the other side, back half the way, and there he stands."""
    to, back = min(RUN_M_S * time_s, 10.0), min(max(RUN_M_S * time_s - 10.0, 0.0), 5.0)
    return -5.0 + to - back, 3.0


def run(bridge: Any, seconds: float) -> Iterator[tuple[tuple[float, float, float], Any]]:
    """Where the runner is, as he says a frame before each, and the frames."""
    for number in range(round(seconds * RATE)):
        x, y = runner(number / RATE)
        bridge.say("/target/lead/position", x, y)
        yield (x, y, HEIGHT_M), bridge.run(1 / RATE)[0]


def run_until(bridge: Any, seconds: float) -> None:
    for _ in run(bridge, seconds):
        pass


@pytest.mark.parametrize("seed", range(1, 4))
def test_it_stays_lit_says_so_and_says_how_far_off(make_bridge: Callable[..., Any], seed: int) -> None:
    bridge, late, seen = slow_bridge(make_bridge, seed), np.zeros(12, dtype=bool), []
    for point, frame in run(bridge, 8.0):
        miss = bridge.misses(point, frame)
        late = miss > np.where(late, OFF_M, ON_M)
        seen.append(late)
        assert [WORDS[int(state)] for state in frame.state] == ["moving" if each else "lit" for each in late]
        np.testing.assert_allclose(np.zeros(12) if frame.behind is None else frame.behind, np.where(late, miss, 0.0))
        assert (frame.behind is None) == (not late.any())
        assert (frame.level == 1.0).all()
    assert (np.sum(seen, axis=0) > RATE / 4).all()
    assert sum(0 < each.sum() < 12 for each in seen) > RATE / 4, "some were behind while others were not"
    bridge.assert_lit(point)


def test_no_motor_is_asked_for_more_than_it_can_do(make_bridge: Callable[..., Any]) -> None:
    bridge = slow_bridge(make_bridge)
    frames = [frame for _, frame in run(bridge, 8.0)]
    angles = np.degrees([[frame.pan_rad, frame.tilt_rad] for frame in frames])
    speed = np.diff(angles, axis=0) * RATE
    assert np.abs(speed).max() <= SPEED + 1e-6
    assert np.abs(speed).max() > 0.99 * SPEED
    assert np.abs(np.diff(speed, axis=0) * RATE).max() <= ACCELERATION + 1e-4


def test_a_head_that_is_led_is_off_by_what_lacks_to_where_the_runner_will_be(make_bridge: Callable[..., Any]) -> None:
    bridge, told = slow_bridge(make_bridge, predict=True), 0
    for number, (point, frame) in enumerate(run(bridge, 2.0)):
        if frame.behind is not None and 0.8 < number / RATE < 1.8:  # once his speed is known, until he turns
            ahead = (point[0] + RUN_M_S * (SLOW.lag + 1 / RATE), *point[1:])
            where = frame.behind > 0.0
            np.testing.assert_allclose(frame.behind[where], bridge.misses(ahead, frame)[where], atol=0.05)
            told += 1
    assert told > RATE / 2


def test_the_feed_tells_of_exactly_those_heads(make_bridge: Callable[..., Any]) -> None:
    bridge, most = slow_bridge(make_bridge), 0
    for _, frame in run(bridge, 4.0):
        told = list(status.rows(bridge.door, bridge.now_s).behind)
        assert [name for name, _ in told] == [name for name in bridge.rig.names if bridge.state(name) == "moving"]
        assert [metres for _, metres in told] == [] if frame.behind is None else list(frame.behind[frame.behind > 0.0])
        most = max(most, len(told))
    assert most >= 3


def test_a_head_that_is_too_late_moves_in_the_dark_and_is_not_off(make_bridge: Callable[..., Any]) -> None:
    bridge, dark = slow_bridge(make_bridge, move_in_black_after=0.6), 0
    for _, frame in run(bridge, 2.0):
        told = dict(status.rows(bridge.door, bridge.now_s).behind)
        out = [n for n, name in enumerate(bridge.rig.names) if bridge.state(name) == "moving" and name not in told]
        assert all(frame.level[bridge.number(name)] == 1.0 for name in told)
        dark += bool(out) and not frame.level[out].any()
    assert dark > 5


@pytest.mark.parametrize(("address", "state"), [("/dark", "dark"), ("/fixture/foh-1/out", "out")])
def test_a_head_without_light_is_not_off(make_bridge: Callable[..., Any], address: str, state: str) -> None:
    bridge = slow_bridge(make_bridge)
    run_until(bridge, 1.5)
    assert bridge.state("foh-1") == "moving"
    bridge.say(address, 1)
    bridge.run(1 / RATE)
    assert bridge.state("foh-1") == state
    assert "foh-1" not in dict(status.rows(bridge.door, bridge.now_s).behind)


def test_outside_comes_first_and_shows_for_as_long_as_the_gate_is_shut(make_bridge: Callable[..., Any]) -> None:
    bridge = slow_bridge(make_bridge)
    run_until(bridge, 1.5)
    assert bridge.state("foh-1") == "moving"
    bridge.say("/target/lead/position", 7.5, 3.0)
    bridge.run(1 / RATE)
    assert bridge.states == {"outside"}
    assert not list(status.rows(bridge.door, bridge.now_s).behind)
    bridge.say("/target/lead/position", 4.0, 3.0)
    shut = 0
    for frame in bridge.run(0.8):
        dark = frame.level == 0.0
        assert {WORDS[int(state)] for state in frame.state[dark]} <= {"outside"}
        shut += bool((dark & (bridge.misses((4.0, 3.0, HEIGHT_M), frame) > ON_M)).any())
    assert shut > 5, "some were too late for their light while their gates were shut"
    bridge.stand(4.0, 3.0, seconds=5.0)
    bridge.assert_lit((4.0, 3.0, HEIGHT_M))


def test_both_ways_say_the_same(make_bridge: Callable[..., Any]) -> None:
    short, full = slow_bridge(make_bridge), slow_bridge(make_bridge, short_ways=False)
    for (_, ours), (_, theirs) in zip(run(short, 5.0), run(full, 5.0), strict=True):
        assert not differences(ours, theirs)


def test_another_engine_goes_on_from_what_was_kept(make_bridge: Callable[..., Any]) -> None:
    bridge = slow_bridge(make_bridge)
    started = bridge.now_s
    for number in range(2 * RATE):
        x, y = runner(number / RATE)
        bridge.say("/target/lead/position", x, y)
        bridge.run(1 / RATE)
        off = bridge.frame.behind
        if off is not None and ((off > OFF_M) & (off < ON_M)).any():  # moving only because it was
            break
    else:
        pytest.fail("nobody was between the two bounds")
    twin = Twin(bridge, bridge.engine.state())
    for number in range(round((bridge.now_s - started) * RATE), 5 * RATE):
        place = runner(number / RATE)
        for each in (bridge, twin):
            each.say("/target/lead/position", *place)
        bridge.now_s = twin.now_s = bridge.now_s + 1 / RATE
        assert not differences(bridge.tick(), twin.tick())


def test_who_can_keep_up_never_moves(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(1, lambda made: replace(hung_outside(made)), floors=(), no_light=())
    bridge.stand(-5.0, 3.0)
    for number in range(4 * RATE):
        bridge.say("/target/lead/position", *(runner(number / RATE / 4)))
        assert bridge.run(1 / RATE)[0].behind is None
        assert bridge.states == {"lit"}
