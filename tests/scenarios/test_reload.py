"""/reload: "taken between two frames without a jump of a lit beam"; what is set live stays, the rest is the file's."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.door.events import NewShow
from bridge.geometry.stage import Target
from bridge.rig.fixture import Pose
from tests.scenarios.random_shows import FRAME_S, LAP, TARGETS, Script, Twin, differences, hung_outside, play, turned

ALIVE = "/target/lead/alive"
BY_HEAD = ("pan_rad", "tilt_rad", "level", "zoom_raw", "focus_raw", "state")


def run(bridge: Any, seconds: float) -> list[Any]:
    return bridge.run(seconds, lambda _: (bridge.say(ALIVE), bridge.say("/target/second/alive")))


def reload(bridge: Any, **changes: Any) -> None:
    """The show is read again, with other fields; `stage` holds those of the stage."""
    show = bridge.door.show
    stage = replace(show.stage, **changes.pop("stage", {}))
    bridge.apply(NewShow(bridge.now_s, replace(show, stage=stage, **changes)))


def with_fixture(bridge: Any, name: str, **changes: Any) -> tuple[Any, ...]:
    return tuple(replace(f, **changes) if f.name == name else f for f in bridge.door.show.fixtures)


def ticks_alike(bridge: Any, twin: Twin, seconds: float) -> None:
    """The bridge goes on as one that was never read again, in all bits."""
    for number in range(round(seconds / FRAME_S)):
        bridge.now_s = twin.now_s = round((bridge.now_s + FRAME_S) * 1e6) / 1e6
        if number % 10 == 0:
            for one in (bridge, twin):
                one.say(ALIVE)
        bridge.tick()
        twin.tick()
        assert not differences(bridge.frame, twin.frame), number


@pytest.fixture
def lit(make_bridge: Callable[..., Any]) -> Any:
    bridge = make_bridge(change=hung_outside, targets=TARGETS, no_light=(LAP,))
    bridge.say("/target/second/position", 3.0, 4.0)
    bridge.stand(1.0, 3.0)
    return bridge


# The same show


@pytest.mark.parametrize("outside", [True, False])
@pytest.mark.parametrize("seed", range(2))
def test_the_same_show_changes_not_one_byte_whatever_is_going_on(
    make_bridge: Callable[..., Any], seed: int, outside: bool
) -> None:
    change: Callable[[Any], Any] = hung_outside if outside else lambda made: made
    bridge, twin = (make_bridge(seed, change, targets=TARGETS, no_light=(LAP,), evenness=True) for _ in range(2))
    script = Script(60 + seed, bridge.rig.names, 4.0)
    for number in play((bridge, twin), script, dict(bridge.door.poses), 500):
        assert not differences(bridge.frame, twin.frame), number
        if number % 37 == 36:
            reload(bridge, poses=dict(bridge.door.poses))
    ours, theirs = ([e for e in b.tape.entries if getattr(e, "inbound", True) is False] for b in (bridge, twin))
    assert ours == theirs, "and so are the packets"


def jump(b: Any) -> Any:
    b.stand(5.9, 0.1, seconds=2.0)
    b.say("/target/lead/position", -5.9, 0.1)
    b.run(0.3)
    return "moving" in b.states


def sighting(b: Any) -> Any:
    b.say("/sight/foh-1/nudge", -10.0, 5.0)
    run(b, 0.2)
    return b.state("foh-1") == "sighting" and np.isfinite(b.engine.crew.hand.via).any()


def fade(b: Any) -> Any:
    b.say("/level", 0.2, 3.0)
    b.say("/target/lead/size", 1.0, 3.0)
    run(b, 1.0)
    return 0.2 < b.level("foh-1") < 1.0


def area_fade(b: Any) -> Any:
    b.say("/target/lead/position", 0.0, -0.5)
    b.run(0.1)
    return 0.0 < b.level("foh-1") < 1.0


@pytest.mark.parametrize("situation", [jump, sighting, fade, area_fade], ids=lambda s: s.__name__)
def test_the_same_show_in_the_middle_of_something(lit: Any, situation: Callable[[Any], Any]) -> None:
    assert situation(lit)
    twin = Twin(lit, json.loads(json.dumps(lit.engine.state())))
    reload(lit)
    ticks_alike(lit, twin, 5.0)


# Sizes and heights


def lead(**changes: Any) -> dict[str, Any]:
    return {"targets": (replace(TARGETS[0], **changes), TARGETS[1])}


def test_a_new_default_size_and_height_arrive_in_about_a_second(lit: Any) -> None:
    reload(lit, stage=lead(size=1.0, height=1.0))
    run(lit, 0.5)
    assert lit.engine.place.size.at(lit.now_s)[0] == pytest.approx(1.5, abs=0.05)
    assert lit.place()[2] == pytest.approx(1.15, abs=0.02)
    assert lit.frame.level.min() == 1.0
    run(lit, 0.6)
    assert lit.engine.place.size.at(lit.now_s)[0] == pytest.approx(1.0)
    lit.assert_lit((1.0, 3.0, 1.0))


def test_a_size_and_a_height_that_were_set_live_stay(lit: Any) -> None:
    lit.say("/target/lead/size", 1.7)
    lit.say("/target/lead/height", 1.6)
    reload(lit, stage=lead(size=1.0, height=1.0))
    run(lit, 2.0)
    assert lit.engine.place.size.at(lit.now_s)[0] == pytest.approx(1.7)
    lit.assert_lit((1.0, 3.0, 1.6))


def test_new_names_are_known_and_old_ones_are_not(lit: Any) -> None:
    reload(lit, stage=lead(sizes={"broad": 3.0}))
    lit.say("/target/lead/size", "broad")
    assert lit.refused("/target/lead/size", "tight").reason == "unknown-name"


# Areas, floors, no-light areas


def test_what_was_switched_live_stays_and_what_was_not_is_the_files(lit: Any) -> None:
    thrust, riser = lit.engine.stage.more_areas[0], lit.engine.stage.floors[0]
    more = {
        "more_areas": (replace(thrust, on=True),),
        "floors": (replace(riser, height=0.4),),
        "no_light": (replace(LAP, on=True),),
    }

    def now() -> tuple[bool, float, bool]:
        place, judge = lit.engine.place, lit.engine.judge
        return place.zones.more["thrust"].on, place.floors.heights[0], judge.state()["lap"]

    assert now() == (False, 0.6, False)
    reload(lit, stage=more)
    assert now() == (True, 0.4, True), "nobody had touched them"
    lit.say("/area/thrust", 0)
    lit.say("/floor/riser", 0.9)
    lit.say("/no-light/lap", 0)
    reload(lit, stage={"floors": (replace(riser, height=0.3),)})
    assert now() == (False, 0.9, False)
    reload(lit, stage={"floors": (replace(riser, height=0.3),), "more_areas": (replace(thrust, on=True),)})
    assert now() == (False, 0.9, False)


# Poses


def lit_speeds(bridge: Any, seconds: float = 5.0) -> np.ndarray:
    """Fastest pan or tilt (deg/s) of each head while it gives light, from now on."""
    before, fastest = bridge.frame, np.zeros(len(bridge.rig))
    for frame in run(bridge, seconds):
        way = np.maximum(np.abs(frame.pan_rad - before.pan_rad), np.abs(frame.tilt_rad - before.tilt_rad))
        gives = np.minimum(frame.level, before.level) > 0
        fastest = np.maximum(fastest, np.where(gives, np.degrees(way) / FRAME_S, 0.0))
        before = frame
    return fastest


def poses_of(bridge: Any, degrees: float) -> dict[str, Pose]:
    """foh-1 turned, the others as they are."""
    poses = dict(bridge.door.poses)
    return poses | {"foh-1": turned(poses, degrees)["foh-1"]}


@pytest.mark.parametrize(("degrees", "in_the_light"), [(0.2, True), (2.0, False)])  # 0.05 m and 0.5 m on 15 m
def test_a_moved_pose_is_taken_slowly_in_the_light_if_it_is_small_and_else_in_the_dark(
    lit: Any, degrees: float, in_the_light: bool
) -> None:
    reload(lit, poses=poses_of(lit, degrees))
    start = lit.frame
    fastest = lit_speeds(lit)
    assert fastest[0] < 0.2
    assert fastest[1:].max() == 0.0, "nobody else moves"
    assert (fastest[0] > 0.01) == in_the_light
    lit.assert_lit((1.0, 3.0, 1.3))
    assert abs(np.degrees(lit.frame.pan_rad[0] - start.pan_rad[0])) > 0.5 * degrees


def test_while_a_pose_is_taken_in_the_dark_the_others_stay_lit(lit: Any) -> None:
    reload(lit, poses=poses_of(lit, 2.0))
    frames = run(lit, 4.0)
    assert min(frame.level[1:].min() for frame in frames) == 1.0
    assert min(frame.level[0] for frame in frames) == 0.0


# Heads


def test_a_head_at_another_address_or_of_another_profile_starts_dark(lit: Any) -> None:
    other = replace(lit.door.show.fixtures[1].profile, name="another", lag=0.2)
    fixtures = tuple(
        replace(f, address=400) if f.name == "foh-1" else replace(f, profile=other) if f.name == "foh-2" else f
        for f in lit.door.show.fixtures
    )
    reload(lit, fixtures=fixtures)
    levels = np.array([frame.level for frame in run(lit, 3.0)])
    for n in (0, 1):
        dark = np.flatnonzero(levels[:, n] == 0)
        assert dark[0] == 0
        assert 1.0 - FRAME_S <= len(dark) * FRAME_S <= 1.2
    assert levels[:, 2:].min() == 1.0
    lit.assert_lit((1.0, 3.0, 1.3))


def test_heads_that_go_and_come_leave_the_others_as_they_are(lit: Any) -> None:
    lit.say("/fixture/mid-1/trim", 0.3, 0.0)
    lit.say("/fixture/mid-2/level", 0.4)
    lit.say("/fixture/mid-3/out", 1)
    run(lit, 1.0)
    twin = Twin(lit, json.loads(json.dumps(lit.engine.state())))
    before = lit.door.show.fixtures
    new = replace(before[0], name="new-1", address=300)
    reload(
        lit, fixtures=(new, *before[:3], *before[4:]), poses=dict(lit.door.poses) | {"new-1": lit.door.poses["foh-1"]}
    )
    kept = [f.name for f in lit.door.show.fixtures[1:]]
    here = [lit.number(name) for name in kept]
    there = [twin.engine.rig.names.index(name) for name in kept]
    levels = []
    for _ in range(3 * 44):
        lit.now_s = twin.now_s = round((lit.now_s + FRAME_S) * 1e6) / 1e6
        for one in (lit, twin):
            one.say(ALIVE)
        ours, theirs = lit.tick(), twin.tick()
        for what in BY_HEAD:
            np.testing.assert_array_equal(getattr(ours, what)[here], getattr(theirs, what)[there], what)
        levels.append(ours.level[0])
    assert lit.refused("/fixture/foh-4/level", 1.0).reason == "unknown-name"
    assert not any(levels[:43])
    assert levels[-1] == 1.0


def test_a_head_that_was_never_handed_over_follows_what_the_file_says_now(lit: Any) -> None:
    lit.say("/fixture/foh-2/follow", "second")
    reload(lit, fixtures=with_fixture(lit, "foh-1", follows="second"))
    run(lit, 4.0)
    assert lit.engine.crew.targets_of()[:3] == ["second", "second", "lead"]
    lit.assert_lit((3.0, 4.0, 1.5), ["foh-1", "foh-2"])
    reload(lit, fixtures=with_fixture(lit, "foh-1", follows=None))
    run(lit, 4.0)
    assert lit.engine.crew.targets_of()[:3] == ["lead", "second", "lead"]


def test_targets_that_go_and_come(lit: Any) -> None:
    lit.say("/fixture/foh-2/follow", "second")
    run(lit, 4.0)
    reload(lit, stage={"targets": (Target("third"), TARGETS[0])}, fixtures=with_fixture(lit, "foh-3", follows="third"))
    lit.run(4.0, lambda _: lit.say(ALIVE))
    assert lit.refused("/target/second/alive").reason == "unknown-name"
    lit.assert_dark("no-input", ["foh-3"])
    lit.say("/target/third/position", 2.0, 2.0)
    lit.run(4.0, lambda _: (lit.say(ALIVE), lit.say("/target/third/alive")))
    lit.assert_lit((2.0, 2.0, 1.3), ["foh-3"])


def test_still_stays_still(lit: Any) -> None:
    lit.say("/truss/foh/still", 1)
    run(lit, 0.2)
    angles = lit.angles("foh-1")
    reload(lit, poses=poses_of(lit, 5.0))
    run(lit, 3.0)
    assert lit.angles("foh-1") == angles
    lit.assert_dark("still", ["foh-1"])


def test_limits_that_are_narrower_now_hold_at_once(lit: Any) -> None:
    n, (pan, _) = lit.number("foh-1"), lit.angles("foh-1")
    reload(lit, fixtures=with_fixture(lit, "foh-1", pan_limits=(pan - 90.0, pan - 20.0)))
    frames = run(lit, 4.0)
    assert frames[-1].level[n] == 0.0 or lit.state("foh-1") == "lit"
    assert np.degrees(max(frame.pan_rad[n] for frame in frames[44:])) <= pan - 20.0 + 1e-6
    assert min(frame.level[1:].min() for frame in frames) == 1.0
