"""stage.yaml, `light: {at_most: LUX}`: what all heads of a target give the performer together is never more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.door.events import NewShow
from bridge.follow.judging.states import State
from bridge.geometry.stage import LevelMap
from tests.scenarios.lamps import illuminance, lamps
from tests.scenarios.random_shows import CANDELA, Script, play, random_show

ALIVE = "/target/lead/alive"
LUX = 3000.0  # of some 16,000 that twelve of these lamps give
SHARES = {0: 0.6, 5: 0.8}


def total(frame: Any) -> float:
    return float(illuminance(frame, SHARES).sum())


def settle(bridge: Any, seconds: float = 3.0) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


@pytest.fixture
def capped(make_bridge: Callable[..., Any]) -> Any:
    bridge = make_bridge(change=lamps(SHARES), at_most_lux=LUX)
    bridge.stand(0.5, 2.0)
    return bridge


def test_all_heads_together_give_the_ceiling_and_keep_their_balance(capped: Any) -> None:
    assert total(capped.frame) == pytest.approx(LUX, rel=1e-3)
    assert np.ptp(capped.frame.level) == pytest.approx(0.0, abs=1e-9)
    assert capped.states == {"lit"}


def test_below_the_ceiling_nothing_is_held_down(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=lamps(SHARES), at_most_lux=30_000.0)
    bridge.stand(0.5, 2.0)
    assert 10_000 < total(bridge.frame) < 30_000
    bridge.assert_lit((0.5, 2.0, 1.3))


@pytest.mark.parametrize("address", ["/level", "/target/lead/level"])
def test_master_and_target_level_dim_from_the_ceiling(capped: Any, address: str) -> None:
    capped.say(address, 0.5)
    settle(capped)
    assert total(capped.frame) == pytest.approx(LUX / 2, rel=1e-3)


def test_a_head_that_is_dimmed_or_taken_out_leaves_its_share_to_the_others_without_a_jump(capped: Any) -> None:
    before = capped.frame.level
    capped.say("/fixture/foh-2/out", 1)
    frames = settle(capped)
    assert max(total(frame) for frame in frames) <= LUX * (1 + 1e-9)
    assert total(frames[-1]) == pytest.approx(LUX, rel=1e-3)
    levels = np.array([before, *(frame.level for frame in frames)])
    others = np.delete(levels, capped.number("foh-2"), axis=1)
    assert (np.diff(others, axis=0) >= -1e-12).all(), "nobody is lowered"
    assert np.diff(others, axis=0).max() < 0.01
    capped.say("/fixture/foh-3/level", 0.1)
    settle(capped)
    assert total(capped.frame) == pytest.approx(LUX, rel=1e-3)


def test_a_head_that_comes_in_never_brings_more_than_the_ceiling(capped: Any) -> None:
    for name in capped.rig.names[:6]:
        capped.say(f"/fixture/{name}/out", 1)
    settle(capped)
    for name in capped.rig.names[:6]:
        capped.say(f"/fixture/{name}/out", 0)
    frames = settle(capped, 5.0)
    assert max(total(frame) for frame in frames) <= LUX * (1 + 1e-9)
    assert np.count_nonzero(frames[-1].level) == 12


def test_a_held_head_keeps_its_look_when_others_go_and_gives_way_when_they_come(capped: Any) -> None:
    name = "mid-2"
    capped.say(f"/fixture/{name}/hold", 1)
    settle(capped, 1.0)
    held = capped.level(name)
    for other in capped.rig.names[:4]:
        capped.say(f"/fixture/{other}/out", 1)
    settle(capped)
    assert capped.level(name) == held
    assert capped.level("back-1") > 1.2 * held
    assert total(capped.frame) <= LUX * (1 + 1e-9)
    capped.say(f"/fixture/{name}/hold", 0)
    settle(capped)
    capped.say(f"/fixture/{name}/hold", 1)
    for other in capped.rig.names[:4]:
        capped.say(f"/fixture/{other}/out", 0)
    frames = settle(capped, 5.0)
    assert max(total(frame) for frame in frames) <= LUX * (1 + 1e-9)
    assert capped.level(name) < 1.01 * held


def test_heads_that_are_dark_by_themselves_leave_their_share_to_the_others(make_bridge: Callable[..., Any]) -> None:
    def guides(made: Any) -> Any:
        made = lamps(SHARES)(made)
        stay = tuple(replace(f, outside="stay") for f in made.fixtures[:6])
        return replace(made, fixtures=(*stay, *made.fixtures[6:]))

    bridge = make_bridge(change=guides, at_most_lux=LUX)
    bridge.stand(5.9, 2.0)
    bridge.stand(7.0, 2.0)
    assert np.count_nonzero(bridge.frame.level) == 6
    assert total(bridge.frame) == pytest.approx(LUX, rel=1e-3)


def test_a_held_head_counts_with_the_light_it_has_wherever_the_level_map_is_lower(
    make_bridge: Callable[..., Any],
) -> None:
    falling = LevelMap((-6.0, 6.0), (0.0, 8.0), ((1.0, 0.2), (1.0, 0.2)))
    bridge = make_bridge(change=lamps(SHARES), at_most_lux=LUX, level_map=falling)
    held, others = bridge.rig.names[:4], bridge.rig.names[4:]
    for name in others:
        bridge.say(f"/fixture/{name}/out", 1)
    bridge.stand(-5.9, 2.0)
    for name in held:
        bridge.say(f"/fixture/{name}/hold", 1)
    settle(bridge, 0.5)
    assert total(bridge.frame) == pytest.approx(LUX, rel=1e-3)
    bridge.stand(5.9, 2.0)
    for name in others:
        bridge.say(f"/fixture/{name}/out", 0)
    assert max(total(frame) for frame in settle(bridge, 5.0)) <= LUX * (1 + 1e-9)
    assert np.count_nonzero(bridge.frame.level) == 12


def test_each_target_has_the_ceiling_to_itself(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=lamps(SHARES), at_most_lux=LUX)
    bridge.say("/target/second/crew", *bridge.rig.names[:4])
    bridge.say("/target/second/position", -2.0, 3.0)
    bridge.stand(0.5, 2.0, seconds=1.9)
    lux = illuminance(bridge.frame, SHARES)
    assert [lux[:4].sum(), lux[4:].sum()] == pytest.approx([LUX, LUX], rel=1e-3)


def test_heads_without_candela_are_neither_counted_nor_held_down(make_bridge: Callable[..., Any]) -> None:
    def unknown(made: Any) -> Any:
        plain = made.fixtures[2].profile
        fixtures = lamps(SHARES)(made).fixtures
        return replace(made, fixtures=(*fixtures[:2], replace(fixtures[2], profile=plain), *fixtures[3:]))

    bridge = make_bridge(change=unknown, at_most_lux=LUX)
    bridge.stand(0.5, 2.0)
    lux = illuminance(bridge.frame, SHARES)
    assert bridge.frame.level[2] == 1.0
    assert np.delete(lux, 2).sum() == pytest.approx(LUX, rel=1e-3)


def test_a_ceiling_that_is_lifted_by_a_reload_lets_the_light_up_without_a_jump(capped: Any) -> None:
    before, show = capped.frame.level, capped.door.show
    capped.apply(NewShow(capped.now_s, replace(show, stage=replace(show.stage, at_most_lux=None))))
    frames = settle(capped, 4.0)
    levels = np.array([before, *(frame.level for frame in frames)])
    assert np.diff(levels, axis=0).max() < 0.1
    assert levels[-1] == pytest.approx(np.ones(12), abs=1e-4)
    assert capped.door.show.stage.at_most_lux is None


@pytest.mark.parametrize("seed", [2, 5, 8])
def test_whatever_is_done_no_target_gets_more(make_bridge: Callable[..., Any], seed: int) -> None:
    """But for working light: heads that somebody aims by hand, that show which they are, or that are walked."""
    bridge = make_bridge(**random_show(seed, outside=True))
    ceiling, reached = bridge.engine.stage.at_most_lux, 0.0
    assert ceiling is not None
    script = Script(seed, bridge.rig.names, 4.0)
    for number in play((bridge,), script, dict(bridge.door.poses), 700):
        lux = illuminance(bridge.frame, {}, CANDELA.rows)
        follows = bridge.engine.crew.follows
        for target in range(len(bridge.engine.place.names)):
            mine = (follows == target) & (bridge.frame.state != State.SIGHTING)
            assert lux[mine].sum() <= ceiling * (1 + 1e-9), f"frame {number}"
            reached = max(reached, lux[mine].sum())
    assert reached > 0.9 * ceiling
