"""interface.md: the states, their order, and which of them carry light; limits, reach and nearness."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.follow.judging.states import WORDS
from bridge.geometry.stage import Area

ALIVE = "/target/lead/alive"


def settle(bridge: Any, seconds: float = 2.0) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


# "Where several hold, the order is: ..."
def test_the_order_of_the_states_is_the_contracts() -> None:
    assert WORDS == (
        "still", "dark", "desk", "out", "sighting", "unsolved", "no-light", "too-near",
        "out-of-reach", "outside", "no-input", "moving", "limit", "held", "lit",
    )  # fmt: skip


def test_the_first_that_holds_is_shown(make_bridge: Callable[..., Any]) -> None:
    """One head for which more and more holds, from the bottom of the order to the top."""
    lap = Area("lap", ((-1.0, 1.0), (1.0, 1.0), (1.0, 3.0), (-1.0, 3.0)), (0.0, 2.0), on=False)
    bridge = make_bridge(no_light=(lap,))
    bridge.stand(0.0, 2.0)
    seen = [bridge.state("foh-1")]
    for address, *args in [
        ("/fixture/foh-1/hold", 1),
        ("/no-light/lap", 1),
        ("/sight/foh-1/point", *bridge.angles("foh-1")),
        ("/fixture/foh-1/out", 1),
        ("/dark", 1),
        ("/fixture/foh-1/still", 1),
    ]:
        bridge.say(address, *args)
        settle(bridge, 0.2)
        seen.append(bridge.state("foh-1"))
    assert seen == ["lit", "held", "no-light", "sighting", "out", "dark", "still"]
    bridge.say("/fixture/foh-1/still", 0)
    settle(bridge, 0.2)
    assert bridge.state("foh-1") == "dark"


def limited(pan: float, around: Callable[[Any], tuple[float, float]]) -> Callable[[Any], Any]:
    """foh-1 with soft pan limits so that its beam stops `pan` degrees short of what `around` says it needs."""

    def change(made: Any) -> Any:
        first, *rest = made.fixtures
        low, high = around(made)
        return replace(made, fixtures=(replace(first, pan_limits=(low, high - pan)), *rest))

    return change


def needed(point: tuple[float, float, float]) -> Callable[[Any], tuple[float, float]]:
    """The pan of foh-1 on face 1 for a point, of a level unturned base: atan2(-x, y) in its own frame."""

    def around(made: Any) -> tuple[float, float]:
        dx, dy, _ = np.subtract(point, made.poses["foh-1"].position)
        pan = float(np.degrees(np.arctan2(-dx, dy)))
        return pan - 60.0, pan

    return around


def level_bridge(make_bridge: Callable[..., Any], make_rig: Callable[..., Any], short_deg: float) -> Any:
    point = (-5.0, 3.0, 1.3)  # to the left of foh-1 as seen by it: pan is positive there, at the upper limit

    def change(made: Any) -> Any:
        level = make_rig(1, level_deg=0.0, yaw_deg=0.0, stage=made.stage)
        poses = {name: replace(pose, faces=(1,)) for name, pose in level.poses.items()}
        return limited(short_deg, needed(point))(replace(level, poses=poses))

    bridge = make_bridge(change=change)
    bridge.stand(-5.0, 3.0)
    return bridge


# "`limit`: a soft limit clamps and the clamped beam is still within the spot's radius of the target; further off, or
# past the profile's range, is `out-of-reach`, dark."  At some 15 m in plan a degree is 0.26 m; the radius is 1 m.


def test_clamped_within_the_spots_radius_is_limit_and_lit(
    make_bridge: Callable[..., Any], make_rig: Callable[..., Any]
) -> None:
    bridge = level_bridge(make_bridge, make_rig, 2.0)
    miss = bridge.misses((-5.0, 3.0, 1.3))[bridge.number("foh-1")]
    assert 0.3 < miss < 1.0
    assert (bridge.state("foh-1"), bridge.level("foh-1")) == ("limit", 1.0)


def test_clamped_further_off_is_out_of_reach_and_dark(
    make_bridge: Callable[..., Any], make_rig: Callable[..., Any]
) -> None:
    bridge = level_bridge(make_bridge, make_rig, 6.0)
    assert bridge.misses((-5.0, 3.0, 1.3))[bridge.number("foh-1")] > 1.0
    bridge.assert_dark("out-of-reach", ["foh-1"])
    bridge.assert_lit((-5.0, 3.0, 1.3), [name for name in bridge.rig.names if name != "foh-1"])


def test_a_smaller_spot_turns_limit_into_out_of_reach(
    make_bridge: Callable[..., Any], make_rig: Callable[..., Any]
) -> None:
    bridge = level_bridge(make_bridge, make_rig, 2.0)
    bridge.say("/target/lead/size", 0.5)
    settle(bridge)
    bridge.assert_dark("out-of-reach", ["foh-1"])


def test_past_the_profiles_range_is_out_of_reach_however_near(make_bridge: Callable[..., Any]) -> None:
    def narrow(made: Any) -> Any:
        tilt = replace(made.fixtures[0].profile.tilt, from_deg=-20.0, to_deg=20.0)
        profile = replace(made.fixtures[0].profile, tilt=tilt)
        return replace(made, fixtures=tuple(replace(f, profile=profile) for f in made.fixtures))

    bridge = make_bridge(change=narrow)
    bridge.stand(0.0, 1.0)
    bridge.assert_dark("out-of-reach", ["foh-1", "foh-2", "foh-3", "foh-4"])


# min_distance: "metres from the lens to the nearest lit surface that the maker allows"


def test_nearer_than_the_maker_allows_is_too_near_and_dark(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge()
    x, y, z = bridge.rig.heads.position[bridge.number("mid-2")]
    bridge.stand(float(x), float(y), float(z) - 2.1)
    assert bridge.state("mid-2") in ("lit", "outside")
    near = make_bridge(polygon=replace_height(bridge.engine.stage, 20.0))
    near.stand(float(x), float(y), float(z) - 2.1)
    near.assert_lit((x, y, z - 2.1), ["mid-2"])
    near.stand(float(x), float(y), float(z) - 1.9)
    near.assert_dark("too-near", ["mid-2"])


def replace_height(stage: Any, top: float) -> Any:
    return replace(stage.polygon, area=replace(stage.polygon.area, height=(-0.5, top)))


# "clients read the level": lit, limit, held and sighting carry light, a lost input that holds, and who moves
# because its motors do not keep up (test_keeping_up.py); nothing else does


def test_only_the_states_that_carry_light_do(bridge: Any) -> None:
    rng, carrying = np.random.default_rng(9), {"lit", "limit", "held", "sighting"}
    words = ["hold", "out", "still"]

    def act(_: float) -> None:
        bridge.say("/target/lead/position", float(rng.uniform(-7, 7)), float(rng.uniform(-1, 9)))
        name = bridge.rig.names[rng.integers(12)]
        bridge.say(f"/fixture/{name}/{words[rng.integers(3)]}", int(rng.integers(2)))
        bridge.say("/dark", int(rng.random() < 0.1))

    fade_s, dark_since = 0.2 + 2 / 44, np.zeros(12)
    for number, frame in enumerate(bridge.run(20.0, act, every_s=0.7)):
        carries = np.array([WORDS[int(state)] in carrying for state in frame.state])
        carries |= np.zeros(12, dtype=bool) if frame.behind is None else frame.behind > 0.0
        dark_since = np.where(carries, number / 44, dark_since)
        assert not (frame.level[number / 44 - dark_since > fade_s] > 0).any()


@pytest.mark.parametrize("state", ["still", "dark", "out"])
def test_what_an_operator_asks_for_is_dark_in_the_same_frame(bridge: Any, state: str) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say({"still": "/still", "dark": "/dark", "out": "/fixture/foh-1/out"}[state], 1)
    settle(bridge, 1 / 44)
    bridge.assert_dark(state, ["foh-1"])
