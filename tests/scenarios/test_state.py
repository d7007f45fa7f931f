"""The engine's whole state goes out as plain data and comes back: what follows is the same, bit for bit."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.door.events import NewPoses
from tests.scenarios.random_shows import FRAME_S, Script, Twin, differences, play, random_show, turned

ALIVE = "/target/lead/alive"
FRAMES = 200


def taken_up(bridge: Any) -> Twin:
    """A new engine of the same show that goes on from where this one is."""
    return Twin(bridge, json.loads(json.dumps(bridge.engine.state())))


def assert_goes_on_alike(bridge: Any, seed: int, often: float) -> None:
    twin, script = taken_up(bridge), Script(seed, bridge.rig.names, often)
    for number in play((bridge, twin), script, dict(bridge.door.poses), FRAMES):
        assert not differences(bridge.frame, twin.frame), f"frame {number}"
    assert json.dumps(bridge.engine.state()) == json.dumps(twin.engine.state())


@pytest.mark.parametrize("outside", [True, False])
@pytest.mark.parametrize("seed", range(40, 45))
def test_at_any_moment_of_a_busy_show(make_bridge: Callable[..., Any], seed: int, outside: bool) -> None:
    bridge, rnd = make_bridge(**random_show(seed, outside)), random.Random(seed)
    script, poses = Script(seed, bridge.rig.names, 6.0), dict(bridge.door.poses)
    for moment in range(3):
        for _ in play((bridge,), script, poses, rnd.randint(20, 150)):
            pass
        assert_goes_on_alike(bridge, seed + moment, 3.0)


# One situation after the other, each seen to be there at the moment of saving


def steer(bridge: Any, seconds: float) -> None:
    bridge.run(seconds, lambda _: bridge.say(ALIVE))


def other_face(b: Any) -> Any:
    b.stand(-3.0, 7.5)
    return (b.engine.reach._branch // 5 != b.engine.reach._home_branch // 5).any()


def sighting(b: Any) -> Any:
    b.say("/sight/foh-1/nudge", 1.0, 1.0)
    b.say("/sight/foh-1/zoom", 0.3)
    b.say("/sight/foh-1/focus", 0.7)
    steer(b, 2.0)
    return b.state("foh-1") == "sighting" and b.level("foh-1") == 0.2


def by_hand_on_the_way_round(b: Any) -> Any:
    b.say("/sight/foh-1/level", 0.1)
    b.say("/sight/foh-1/nudge", -20.0, -10.0)
    steer(b, 0.1)
    return np.isfinite(b.engine.crew.hand.via).any()


def velocity(b: Any) -> Any:
    b.say("/target/lead/velocity", 1.5, -0.5)
    b.run(2 * FRAME_S)
    return b.engine.place.targets[0].velocity_until_s > b.now_s


def pointing(b: Any) -> Any:
    b.say("/target/lead/pointing", "foh-1", *(angle + 1.0 for angle in b.angles("foh-1")))
    b.run(2 * FRAME_S)
    return b.engine.place.targets[0].guide is not None


def mid_fade(b: Any) -> Any:
    b.say("/target/lead/position", 0.0, -1.5)
    b.run(4 * FRAME_S)
    fade = b.engine.lighting._gates.fade
    return ((fade > 0) & (fade < 1)).any()


def second_of_darkness(b: Any) -> Any:
    b.say("/target/lead/position", 0.0, -1.5)
    b.run(0.6)
    b.say("/target/lead/position", 1.0, 3.0)
    b.run(0.1)
    gates = b.engine.lighting._gates
    return (~gates.open & (b.now_s - gates.closed_s < 0.9)).any()


def jump(b: Any) -> Any:
    b.stand(5.9, 0.1, seconds=2.0)
    b.say("/target/lead/position", -5.9, 0.1)
    b.run(0.3)
    return b.engine.moving._jumps.moving.any()


def arriving(b: Any) -> Any:
    """Beams are there, but the lamps are not yet: what is sent arrives a lag later."""
    b.stand(5.9, 0.1, seconds=2.0)
    b.say("/target/lead/position", -5.9, 0.1)
    for _ in range(100):
        b.run(FRAME_S)
        jumps = b.engine.moving._jumps
        if (~jumps.arrived & (b.misses(b.place()) < 0.1) & jumps.moving[b.engine.crew.follows]).any():
            return True
    return False


def handed_over(b: Any) -> Any:
    b.say("/target/second/position", 1.3, 3.0)
    b.say("/fixture/foh-1/follow", "second")
    b.run(FRAME_S)
    return b.engine.moving._jumps._in_the_dark.any()


def handed_over_before_a_frame(b: Any) -> Any:
    b.say("/target/second/position", 1.3, 3.0)
    b.say("/fixture/foh-1/follow", "second")
    return b.engine.crew._leaving.any()


def easing(b: Any) -> Any:
    b.apply(NewPoses(b.now_s, turned(dict(b.door.poses), 0.2)))
    b.run(0.5)
    return not b.engine.moving._easing.over(b.now_s)


def new_poses_before_a_frame(b: Any) -> Any:
    b.apply(NewPoses(b.now_s, turned(dict(b.door.poses), 0.2)))
    return b.engine.moving._fresh.any()


def ramps(b: Any) -> Any:
    for address, value in (("/level", 0.9), ("/fixture/foh-1/level", 0.8), ("/target/lead/size", 1.5)):
        b.say(address, value)
    b.say("/level", 0.3, 4.0)
    b.say("/fixture/foh-1/level", 0.1, 4.0)
    b.say("/target/lead/level", 0.5, 4.0)
    b.say("/target/lead/size", 1.0, 4.0)
    b.say("/target/lead/height", 1.7, 4.0)
    steer(b, 1.0)
    lighting, place = b.engine.lighting, b.engine.place
    on_the_way = (lighting.master, lighting.levels, place.level, place.size, place.height)
    return all((ramps.end_s > b.now_s).any() for ramps in on_the_way)


def walk(b: Any) -> Any:
    b.run(1.5, lambda _: (b.say(ALIVE), b.say("/walk", "E")))
    return "sighting" in b.states


def find(b: Any) -> Any:
    b.say("/fixture/foh-1/find", 1)
    steer(b, 1.0)
    return 0 < b.level("foh-1") <= 0.2


def act(b: Any) -> Any:
    b.say("/fixture/foh-1/act", "reset")
    b.run(0.2)
    return len(b.frame.overrides) == 1


def held(b: Any) -> Any:
    b.say("/fixture/foh-1/hold", 1)
    b.say("/target/lead/size", 1.2)
    b.stand(2.0, 3.0, seconds=0.5)
    return b.state("foh-1") == "held"


def out(b: Any) -> Any:
    b.say("/fixture/foh-1/out", 1)
    b.run(0.2)
    return b.state("foh-1") == "out"


def still(b: Any) -> Any:
    b.say("/fixture/foh-1/still", 1)
    b.say("/fixture/foh-1/still", 1, host="127.0.0.9")
    b.say("/truss/mid/still", 1)
    b.say("/target/lead/size", 1.2)
    b.stand(2.0, 3.0, seconds=0.2)
    return b.engine.crew.still.by_kind["fixture"]["foh-1"] == ["127.0.0.1", "127.0.0.9"]


def trims(b: Any) -> Any:
    b.say("/fixture/foh-1/trim", 0.4, 0.0)
    b.say("/truss/mid/trim", 0.0, 0.3)
    steer(b, 0.2)
    return b.engine.crew.trims.shift.any()


def flashing(b: Any) -> Any:
    for _ in range(4):
        b.say("/dark", 1)
        b.run(FRAME_S)
        b.say("/dark", 0)
        b.run(4 * FRAME_S)
    return not b.level("foh-1") and b.state("foh-1") == "lit"


def dark(b: Any) -> Any:
    b.say("/dark", 1)
    b.run(0.2)
    return b.states == {"dark"}


def staying_on_the_margin(b: Any) -> Any:
    """Beyond `stay_within`, but not by more than the margin: whoever takes this up must know that it was near."""
    within = b.engine.stage.stay_within
    for x in (5.9, 5.9 + within, 6.1 + within):
        b.stand(x, 3.0, seconds=1.5)
    return b.engine.place._near[0] and not b.engine.place._inside[0]


def evenness_settling(b: Any) -> Any:
    before = b.engine.lighting._evenness._factor.copy()
    b.say("/fixture/back-1/out", 1)
    b.say("/target/lead/position", 1.3, 3.0)
    b.run(0.1)
    return (b.engine.lighting._evenness._factor != before).any()


def rising_to_the_ceiling(b: Any) -> Any:
    b.say("/fixture/foh-1/hold", 1)
    b.say("/fixture/back-1/out", 1)
    b.run(0.2)
    held_to = b.engine.lighting._ceiling.held_to
    b.run(2 * FRAME_S)
    return ((b.engine.lighting._ceiling.held_to > held_to) & (held_to < 1)).any()


def switched_places(b: Any) -> Any:
    b.say("/area/thrust", 1)
    b.say("/no-light/lap", 1)
    b.say("/floor/riser", 0.2)
    b.run(0.2)
    return b.engine.judge.state()["lap"]


def lost(b: Any) -> Any:
    b.run(2.2)
    return b.states == {"no-input"}


SITUATIONS = [
    *(other_face, sighting, by_hand_on_the_way_round, velocity, pointing, mid_fade, second_of_darkness, jump, find),
    arriving,
    *(handed_over, handed_over_before_a_frame, easing, new_poses_before_a_frame, ramps, walk, act, held, out, still),
    *(trims, flashing, dark, staying_on_the_margin, evenness_settling, rising_to_the_ceiling, switched_places, lost),
]


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda situation: situation.__name__)
@pytest.mark.parametrize("outside", [True, False])
def test_in_every_situation(make_bridge: Callable[..., Any], situation: Callable[[Any], Any], outside: bool) -> None:
    made = random_show(50, outside)
    if situation is other_face:
        made = random_show(51, outside=False)
        change = made["change"]
        made["change"] = lambda rig: narrow(change(rig))
    bridge = make_bridge(**made)
    bridge.stand(1.0, 3.0)
    assert situation(bridge)
    twin = taken_up(bridge)
    if situation is velocity:  # what a head holds is what it lit in the last frame, though that was another engine's
        for one in (bridge, twin):
            one.say("/fixture/foh-3/hold", 1)
    for number in range(FRAMES):
        bridge.now_s = twin.now_s = round((bridge.now_s + FRAME_S) * 1e6) / 1e6
        if number % 20 == 10:
            for one in (bridge, twin):
                one.say(ALIVE)
        bridge.tick()
        twin.tick()
        assert not differences(bridge.frame, twin.frame), f"frame {number}"
    assert json.dumps(bridge.engine.state()) == json.dumps(twin.engine.state())


def narrow(made: Any) -> Any:
    return replace(made, fixtures=tuple(replace(f, pan_limits=(-100.0, 100.0)) for f in made.fixtures))


def test_owners_and_senders_come_back_too(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(**random_show(50, True))
    bridge.stand(1.0, 3.0)
    still(bridge)
    again = make_bridge(**random_show(50, True))
    again.engine.restore(json.loads(json.dumps(bridge.engine.state())))
    again.now_s = bridge.now_s
    again.tape.entries.clear()
    again.begin_tape()
    assert again.refused("/fixture/foh-1/still", 0, host="127.0.0.5").reason == "owner"
    assert again.refused("/target/lead/position", 1.0, 1.0, host="127.0.0.5").reason == "other-sender"
    again.tick()
    assert again.state("mid-3") == "still"
    assert math.isfinite(again.engine.place.targets[0].heard_s)
