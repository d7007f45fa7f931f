"""A head in the desk's hands at the door: what leaves of it, octet by octet, and that a captured door goes on alike."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from bridge.daemon.status import pointing
from bridge.door.door import Door, make
from bridge.door.events import NewShow
from bridge.errors import Refused
from bridge.rig.fixture import Fixture
from tests.unit.door.stand_ins import CID, PERIOD, data_of, say
from tests.unit.door.test_door_beside import following, frame, full, hear, show

HEAD = "foh-1"


def head_of(door: Door) -> Fixture:
    return next(fixture for fixture in door.engine.rig.fixtures if fixture.name == HEAD)


def run(door: Door, from_s: float, seconds: float) -> list[dict[int, bytes]]:
    """The slots that left last by universe, frame by frame; the performer stands, alive."""
    frames: list[dict[int, bytes]] = [{}]
    for number in range(round(seconds / PERIOD)):
        now_s = from_s + number * PERIOD
        say(door, now_s, "/target/lead/alive")
        frames.append(frames[-1] | {packet.universe: bytes(packet.slots) for packet in data_of(door.tick(now_s))})
    return frames[1:]


def slots_of(head: Fixture, sent: dict[int, bytes]) -> bytes:
    return sent[head.universe][head.address - 1 : head.address - 1 + head.profile.footprint]


@pytest.fixture
def door() -> Door:
    """Following until 10 s over a desk at full."""
    return following(show())


def test_every_slot_of_a_head_in_the_desks_hands_is_the_desks_and_ours_again_afterwards(door: Door) -> None:
    head = head_of(door)
    assert slots_of(head, run(door, 10.0, 2.0)[-1])[:4] != b"\xff" * 4
    say(door, 12.1, f"/fixture/{HEAD}/desk", 1)
    run(door, 12.2, 6.0)
    colours = frame(100 + head.universe, seed=3)
    hear(door, 18.3, colours)
    for sent in run(door, 18.3, 0.3):
        assert slots_of(head, sent) == slots_of(head, {head.universe: colours.slots})
    say(door, 19.0, f"/fixture/{HEAD}/desk", 0)
    after = slots_of(head, run(door, 19.0, 5.0)[-1])
    before = slots_of(head, {head.universe: colours.slots})
    assert after[:4] != before[:4]
    assert after[10:] == before[10:]


def test_a_door_that_takes_up_the_state_goes_on_octet_by_octet(door: Door) -> None:
    """Also when the first thing that it hears is a head for the desk."""
    say(door, 10.0, f"/fixture/{HEAD}/desk", 1)
    run(door, 10.1, 3.0)
    twin = Door(make(door.show), CID)
    twin.restore(json.loads(json.dumps(door.state())))
    for one in (door, twin):
        say(one, 13.2, "/fixture/mid-2/desk", 1)
    assert run(door, 13.2, 4.0) == run(twin, 13.2, 4.0)
    assert twin.engine.crew.desk is not None
    assert twin.engine.crew.desk.held.sum() == 2


def test_a_show_that_is_read_again_still_hears_the_desk(door: Door) -> None:
    door.apply(NewShow(10.1, replace(door.show, name="again")))
    say(door, 10.1, f"/fixture/{HEAD}/desk", 1)
    run(door, 10.2, 5.0)
    assert door.engine.crew.desk is not None
    assert door.engine.crew.desk.held.sum() == 1


def test_what_would_be_recorded_of_it_is_what_the_desk_sends(door: Door) -> None:
    """Full on 16 bits: the profile's ends, 270 and 135 degrees, raw 65535."""
    say(door, 10.0, f"/fixture/{HEAD}/desk", 1)
    run(door, 10.1, 6.0)
    assert pointing(door, HEAD) == pytest.approx((270.0, 135.0, 65535, 65535))


def test_before_the_desk_is_heard_it_gets_no_head() -> None:
    door: Any = Door(make(show()), CID)
    with pytest.raises(Refused, match="nothing is heard"):
        say(door, 1.0, "/desk", 1)
    hear(door, 1.1, full(101))
    say(door, 1.1, "/desk", 1)
