"""/fixture/NAME/find: "it breathes slowly at 20 % where it stands, for 10 s per message; not for a head that is still".
/fixture/NAME/act: "slots held for `hold` s, head dark for `dark` s"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Target, Walk
from bridge.rig.profile import Action
from bridge.wire.capture import Datagram
from tests.scenarios.random_shows import FRAME_S

FIXED = 11  # this offset of the profile in tests/conftest.py holds 255


def run(bridge: Any, seconds: float, x: float = 1.0) -> list[Any]:
    """The performer walks, so that whoever follows moves."""
    return bridge.run(seconds, lambda s: bridge.say("/target/lead/position", x + 0.2 * s, 3.0), every_s=FRAME_S)


def with_reset(made: Any) -> Any:
    """Every head knows a reset; foh-2 has no pose."""
    reset = Action({FIXED: 10, 12: 250}, hold=0.5, dark=1.5)
    profile = replace(made.fixtures[0].profile, actions={"reset": reset, "lamp": Action({13: 99}, hold=1.0, dark=0.0)})
    poses = {name: pose for name, pose in made.poses.items() if name != "foh-2"}
    return replace(made, poses=poses, fixtures=tuple(replace(f, profile=profile) for f in made.fixtures))


@pytest.fixture
def lit(make_bridge: Callable[..., Any]) -> Any:
    """Nobody is led, so that beams belong where the performer is."""
    bridge = make_bridge(change=with_reset, targets=(Target("lead", walk=Walk(predict=False)), Target("second")))
    bridge.stand(1.0, 3.0)
    return bridge


@pytest.mark.parametrize("name", ["foh-1", "foh-2"], ids=["solved", "unsolved"])
def test_a_head_that_is_looked_for_stands_and_breathes_for_ten_seconds(lit: Any, name: str) -> None:
    n, angles = lit.number(name), lit.angles(name)
    lit.say(f"/fixture/{name}/find", 1)
    frames = run(lit, 9.95)
    levels = np.array([frame.level[n] for frame in frames])
    assert 0.19 < levels.max() <= 0.2
    assert 0 < levels.min() <= 0.021
    swings = np.sum(np.diff(np.sign(np.diff(levels))) != 0)
    assert 2 <= swings <= 10, "slowly"
    assert np.abs(np.diff(levels)).max() < 0.01
    assert {(frame.pan_rad[n], frame.tilt_rad[n]) for frame in frames} == {
        (frames[0].pan_rad[n], frames[0].tilt_rad[n])
    }
    assert lit.angles(name) == pytest.approx(angles)
    assert lit.state(name) == "sighting"
    run(lit, 0.1)
    assert lit.state(name) != "sighting"
    run(lit, 3.0)
    assert lit.state(name) == ("lit" if name == "foh-1" else "unsolved")
    assert lit.level(name) == (1.0 if name == "foh-1" else 0.0)


def test_each_message_gives_ten_seconds_more_without_a_new_breath(lit: Any) -> None:
    lit.say("/fixture/foh-1/find", 1)
    run(lit, 7.0)
    lit.say("/fixture/foh-1/find", 1)
    levels = [frame.level[lit.number("foh-1")] for frame in run(lit, 9.5)]
    assert np.abs(np.diff(levels)).max() < 0.01
    assert lit.state("foh-1") == "sighting"
    lit.say("/fixture/foh-1/find", 0)
    run(lit, FRAME_S)
    assert lit.state("foh-1") != "sighting"


def test_the_others_go_on_following(lit: Any) -> None:
    lit.say("/fixture/foh-1/find", 1)
    run(lit, 2.0)
    lit.assert_lit(lit.place(), [name for name in lit.rig.names if name not in ("foh-1", "foh-2")])


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        (("/fixture/foh-1/still", 1), "still"),
        (("/still", 1), "still"),
        (("/truss/foh/still", 1), "still"),
        (("/fixture/foh-1/out", 1), "out"),
    ],
)
def test_a_head_that_must_stay_dark_does_not_show_itself(lit: Any, said: tuple[Any, ...], reason: str) -> None:
    lit.say(*said)
    assert lit.refused("/fixture/foh-1/find", 1).reason == reason
    run(lit, 0.2)
    assert lit.level("foh-1") == 0.0


def test_still_and_dark_end_the_light_of_a_head_that_is_looked_for(lit: Any) -> None:
    for said in (("/dark", 1), ("/fixture/foh-1/still", 1)):
        lit.say("/fixture/foh-1/find", 1)
        run(lit, 1.0)
        assert lit.level("foh-1") > 0
        lit.say(*said)
        run(lit, FRAME_S)
        assert lit.level("foh-1") == 0.0
        lit.say("/dark", 0)


# Actions


def sent_slots(bridge: Any, name: str) -> bytes:
    """The sixteen slots of a head in the last packet that left (E1.31: slot 1 is octet 126)."""
    packet = next(e.payload for e in reversed(bridge.tape.entries) if isinstance(e, Datagram) and not e.inbound)
    at = 126 + bridge.door.show.fixtures[bridge.number(name)].address - 1
    return packet[at : at + 16]


def test_an_action_holds_its_slots_and_keeps_the_head_dark_and_then_all_is_as_before(lit: Any) -> None:
    assert sent_slots(lit, "foh-1")[10:13] == bytes([255, 0, 0])
    lit.say("/fixture/foh-1/act", "reset")
    for gone_s in np.arange(1, 200) * FRAME_S:
        run(lit, FRAME_S)
        if gone_s in (0.5, 1.5):  # to the microsecond either
            continue
        slots = sent_slots(lit, "foh-1")
        assert slots[10:13] == (bytes([10, 250, 0]) if gone_s < 0.5 else bytes([255, 0, 0])), gone_s
        if gone_s < 1.5:
            assert slots[4:6] == b"\0\0", gone_s
            assert lit.state("foh-1") == "dark"
        assert sent_slots(lit, "foh-3")[10:13] == bytes([255, 0, 0])
    lit.assert_lit(lit.place(), ["foh-1"])
    assert sent_slots(lit, "foh-1")[4:6] == b"\xff\xff"


def test_the_other_heads_stay_lit(lit: Any) -> None:
    lit.say("/fixture/foh-1/act", "reset")
    where = [lit.number(name) for name in lit.rig.names if name not in ("foh-1", "foh-2")]
    assert min(frame.level[where].min() for frame in run(lit, 2.0)) == 1.0


def test_an_action_without_darkness_leaves_the_light(lit: Any) -> None:
    lit.say("/fixture/foh-1/act", "lamp")
    assert min(frame.level[lit.number("foh-1")] for frame in run(lit, 0.9)) == 1.0
    assert sent_slots(lit, "foh-1")[12] == 99
    run(lit, 0.2)
    assert sent_slots(lit, "foh-1")[12] == 0


def test_two_heads_act_at_once_and_an_action_begins_anew(lit: Any) -> None:
    lit.say("/fixture/foh-1/act", "reset")
    run(lit, 0.3)
    lit.say("/fixture/foh-3/act", "reset")
    run(lit, 0.1)
    assert [sent_slots(lit, name)[11] for name in ("foh-1", "foh-3", "foh-4")] == [250, 250, 0]
    lit.say("/fixture/foh-1/act", "reset")
    run(lit, 0.45)
    assert [sent_slots(lit, name)[11] for name in ("foh-1", "foh-3")] == [250, 0]


@pytest.mark.parametrize(
    ("args", "reason"),
    [(("strike",), "unknown-name"), ((1,), "arguments"), ((), "arguments"), (("reset", 1), "arguments")],
)
def test_what_is_no_action_is_refused(lit: Any, args: tuple[Any, ...], reason: str) -> None:
    refusal = lit.refused("/fixture/foh-1/act", *args)
    assert refusal.reason == reason
    assert reason != "unknown-name" or "reset, lamp" in str(refusal)
    run(lit, FRAME_S)
    assert sent_slots(lit, "foh-1")[10:13] == bytes([255, 0, 0])


def test_a_head_that_is_still_does_not_act(lit: Any) -> None:
    lit.say("/fixture/foh-1/still", 1)
    assert lit.refused("/fixture/foh-1/act", "reset").reason == "still"
    run(lit, FRAME_S)
    assert sent_slots(lit, "foh-1")[11] == 0


# Slots that a head holds while it is sighted


def with_cross(made: Any) -> Any:
    """Every head has a cross to sight with, on a slot that is otherwise fixed and on one that is not."""
    reset = Action({FIXED: 10}, hold=0.5, dark=0.0)
    profile = replace(made.fixtures[0].profile, sight_fixed={FIXED: 40, 13: 7}, actions={"reset": reset})
    return replace(made, fixtures=tuple(replace(f, profile=profile) for f in made.fixtures))


def test_a_head_holds_its_cross_while_it_is_sighted_and_no_other_does(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=with_cross)
    bridge.stand(1.0, 3.0)
    assert sent_slots(bridge, "foh-1")[10:13] == bytes([255, 0, 0])
    bridge.say("/sight/foh-1/nudge", 0.5, 0.5)
    run(bridge, 1.0)
    assert sent_slots(bridge, "foh-1")[10:13] == bytes([40, 0, 7])
    assert sent_slots(bridge, "foh-3")[10:13] == bytes([255, 0, 0])
    bridge.say("/fixture/foh-1/act", "reset")
    run(bridge, FRAME_S)
    assert sent_slots(bridge, "foh-1")[10:13] == bytes([10, 0, 7]), "an action goes over it"
    run(bridge, 1.0)
    bridge.say("/sight/foh-1/done")
    run(bridge, 1.0)
    assert sent_slots(bridge, "foh-1")[10:13] == bytes([255, 0, 0])


def test_a_head_that_must_be_still_lets_go_of_its_cross(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(change=with_cross)
    bridge.stand(1.0, 3.0)
    bridge.say("/sight/foh-1/nudge", 0.5, 0.5)
    run(bridge, 1.0)
    bridge.say("/fixture/foh-1/still", 1)
    run(bridge, 0.2)
    assert sent_slots(bridge, "foh-1")[10:13] == bytes([255, 0, 0])
