"""The door beside a desk: what leaves is the desk's, with ours over it, from events alone."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.door.door import Door, make
from bridge.door.events import DeskFrame, DeskHeard, Start, Stop
from bridge.door.transmission import LISTEN_S, Phase
from bridge.show.model import Show
from bridge.wire.settings import Control, DeskSettings
from tests.unit.door.stand_ins import CID, PERIOD, data_of, run, say, small_door, small_show

PRIORITY = 110
DIMMER = (4, 5)  # of the profile of the tests, from 0
OWN = 10  # slots of a head that are ours: pan, tilt, dimmer, zoom and focus, two bytes each


def show(**desk: Any) -> Show:
    """Twelve heads on universes 1 and 2, the desk's 101 and 102 under them unless told otherwise."""
    made = small_show()
    settings = DeskSettings(**{"universes": {1: 101, 2: 102}, **desk})
    return replace(made, network=replace(made.network, desk=settings))


def frame(universe: int = 101, seed: int = 0, **more: Any) -> DeskFrame:
    """Any levels; every dimmer at full, so that what is ours is lit as without a desk."""
    slots = random.Random(seed).randbytes(512)
    return DeskFrame(universe, slots, "Desk", "10.0.0.9", 100, **more)


def full(universe: int) -> DeskFrame:
    return DeskFrame(universe, bytes([255]) * 512, "Desk", "10.0.0.9", 100)


def hear(door: Door, now_s: float, *frames: DeskFrame) -> None:
    door.apply(DeskHeard(now_s, frames))


def following(of: Show, *frames: DeskFrame, now_s: float = 10.0) -> Door:
    """A door that was armed and heard the desk, following a lit target for two seconds up to `now_s`."""
    door = small_door(of)
    hear(door, 1.0, *(frames or (full(101), full(102))))
    say(door, 2.0, "/arm", 1)
    for number in range(int((now_s - 2.0) / PERIOD)):
        at_s = 2.0 + number * PERIOD
        if number % 40 == 0:
            say(door, at_s, "/target/lead/position", 1.0, 3.0)
        door.tick(at_s)
    return door


def owned_of(door: Door, universe: int) -> np.ndarray:
    """The places (from 0) on a universe that are ours while all heads follow."""
    heads = [f for f in door.engine.rig.fixtures if f.universe == universe]
    return np.concatenate([np.arange(OWN) + f.address - 1 for f in heads])


def test_nothing_is_sent_on_a_universe_until_a_whole_frame_of_the_desk_was_heard() -> None:
    door = small_door(show())
    say(door, 1.0, "/arm", 1)
    assert run(door, 2.0, 50) == [[]] * 50
    assert [row[:2] for row in door.transmission.rows()] == [(1, "waiting"), (2, "waiting")]
    hear(door, 4.0, frame(101))
    sent = data_of(door.tick(4.0))
    assert [packet.universe for packet in sent] == [1], "102 has not been heard"
    assert [row[:2] for row in door.transmission.rows()] == [(1, "sent"), (2, "waiting")]


def test_heads_on_a_universe_that_begins_with_the_desk_begin_in_the_dark() -> None:
    """Nobody knows where they are."""
    door = small_door(show())
    say(door, 1.0, "/arm", 1)
    say(door, 1.0, "/target/lead/position", 1.0, 3.0)
    run(door, 1.2, 44)
    hear(door, 2.3, full(101))
    say(door, 2.3, "/target/lead/position", 1.0, 3.0)
    (packet,) = data_of(door.tick(2.31))
    for fixture in door.engine.rig.fixtures:
        if fixture.universe == 1:
            assert [packet.slots[fixture.address - 1 + place] for place in DIMMER] == [0, 0]


def test_what_is_not_ours_is_the_desks_last_frame_and_leaves_with_the_next_one() -> None:
    door = following(show())
    for number in range(20):
        heard = frame(101, seed=number)
        hear(door, 10.0 + number * PERIOD, heard)
        (packet,) = [p for p in data_of(door.tick(10.0 + number * PERIOD + 0.001)) if p.universe == 1]
        others = np.setdiff1d(np.arange(512), owned_of(door, 1))
        assert np.array_equal(
            np.frombuffer(packet.slots, np.uint8)[others], np.frombuffer(heard.slots, np.uint8)[others]
        )


def test_what_is_ours_is_as_without_a_desk_whose_dimmers_are_full() -> None:
    beside, alone = following(show()), following(small_show())
    say(beside, 10.0, "/target/lead/position", 1.5, 3.0)
    say(alone, 10.0, "/target/lead/position", 1.5, 3.0)
    with_desk, without = ({p.universe: p.slots for p in data_of(door.tick(10.01))} for door in (beside, alone))
    assert with_desk.keys() == without.keys() == {1, 2}
    for universe in (1, 2):
        own = owned_of(beside, universe)
        one, other = (np.frombuffer(slots[universe], np.uint8)[own] for slots in (with_desk, without))
        assert np.array_equal(one, other)
        assert other.any()


@pytest.mark.parametrize(("rule", "expected"), [("hold", 77), ("dark", 0)])
def test_a_lost_desk_is_held_or_dark_said_once_and_we_go_on(rule: str, expected: int) -> None:
    slots = bytes([77]) * 512
    heard = [DeskFrame(u, slots, "Desk", "10.0.0.9", 100) for u in (101, 102)]
    door = following(show(lost=rule, dimmer="ours"), *heard)
    door.news.take()
    hear(door, 10.0, *(f._replace(alive=False) for f in heard))
    say(door, 10.0, "/target/lead/position", 2.0, 3.0)
    packets = {p.universe: np.frombuffer(p.slots, np.uint8) for p in data_of(door.tick(10.01))}
    for universe in (1, 2):
        others = np.setdiff1d(np.arange(512), owned_of(door, universe))
        assert set(packets[universe][others].tolist()) == {expected}
        assert packets[universe][owned_of(door, universe)].max() == 255, "our following goes on, lit"
    lines = [n.text for n in door.news.take() if "LOST" in n.text]
    assert len(lines) == 1
    assert "universes 101-102" in lines[0]
    hear(door, 11.0, *heard)
    assert [n.text for n in door.news.take() if "back" in n.text] == [
        'the desk is back on universes 101-102 ("Desk" at 10.0.0.9, priority 100)'
    ]


def test_sources_of_one_priority_are_a_notice_once() -> None:
    door = following(show())
    door.news.take()
    hear(door, 10.0, frame(101, equal=True))
    hear(door, 10.1, frame(101, seed=2))
    hear(door, 10.2, frame(101, seed=2, equal=True))
    assert len([n for n in door.news.take() if "different priorities" in n.text]) == 1


def test_by_slot_only_ours_is_sent_with_our_priority_and_0_elsewhere() -> None:
    door = following(show(way="by-slot", universes={}), full(1), full(2))
    say(door, 10.0, "/target/lead/position", 2.0, 3.0)
    hear(door, 10.0, frame(1, seed=3))
    packets = [p for p in data_of(door.tick(10.01)) if p.universe == 1]
    levels = next(p for p in packets if p.start_code == 0)
    own = owned_of(door, 1)
    others = np.setdiff1d(np.arange(512), own)
    assert levels.priority == 0
    assert not np.frombuffer(levels.slots, np.uint8)[others].any()
    say(door, 10.1, "/fixture/foh-1/desk", 1)
    sent = [p for tick in range(200) for p in data_of(door.tick(10.1 + tick * PERIOD)) if p.universe == 1]
    by_slot = [np.frombuffer(p.slots, np.uint8) for p in sent if p.start_code == 0xDD]
    assert set(by_slot[0][own].tolist()) == {PRIORITY}
    assert not by_slot[0][others].any()
    head = door.engine.rig.fixtures[0]
    assert not by_slot[-1][head.address - 1 : head.address - 1 + OWN].any(), "in the desk's hands nothing of it is ours"


def test_beside_the_desk_on_one_number_a_stop_is_terminated_packets_at_once() -> None:
    door = following(show(universes={1: 1, 2: 102}), full(1), full(102))
    door.apply(Stop(10.0))
    sent = [data_of(door.tick(10.0 + number * PERIOD)) for number in range(6)]
    assert [[(p.universe, p.terminated) for p in packets] for packets in sent] == [
        [(2, False), (1, True)],
        [(2, False), (1, True)],
        [(2, True), (1, True)],
        [(2, True)],
        [(2, True)],
        [],
    ]
    assert door.transmission.phase is Phase.OFF
    dark = np.frombuffer(next(p for p in sent[0] if p.universe == 2).slots, np.uint8)
    heads = [f for f in door.engine.rig.fixtures if f.universe == 2]
    assert [dark[f.address - 1 + place] for f in heads for place in DIMMER] == [0] * 2 * len(heads)


def test_slots_of_the_desk_obey_the_same_door_and_are_refused_by_it() -> None:
    size = Control(((60, 1),), "/target/lead/size", first=(0.5,), last=(4.0,))
    dark = Control(((60, 3),), "/dark", above=127, below=117)
    nobody = Control(((60, 5),), "/fixture/nobody/out", above=127, below=117)
    door = following(show(controls=(size, dark, nobody)))
    slots = bytearray(512)
    slots[0], slots[2], slots[4] = 255, 200, 200
    hear(door, 10.0, DeskFrame(60, bytes(slots), "Desk", "10.0.0.9", 100))
    assert door.engine.crew.dark
    assert [(r.sender, r.address, r.reason) for r in door.voice.refused] == [
        ("desk", "/fixture/nobody/out", "unknown-name")
    ]
    assert [m.address for m in door.voice.obeyed] == ["/target/lead/size", "/dark"]
    assert float(door.engine.place.size.at(11.0)[0]) == 4.0


def test_what_belongs_to_the_daemon_waits_for_it() -> None:
    record = Control(((60, 1),), "/sight/foh-1/record", choose=((128, ("A",)),))
    door = following(show(controls=(record,)))
    slots = bytearray(512)
    slots[0] = 200
    hear(door, 10.0, DeskFrame(60, bytes(slots), "Desk", "10.0.0.9", 100))
    assert [(m.sender, m.address, m.args) for m in door.voice.for_daemon] == [("desk", "/sight/foh-1/record", ("A",))]


def test_everything_is_kept_so_that_another_door_goes_on_byte_for_byte() -> None:
    control = Control(((60, 1), (60, 2)), "/target/lead/position", first=(-5.0, 0.5), last=(5.0, 7.5), alive=True)
    of = show(controls=(control,))
    door = following(of)
    hear(door, 10.0, frame(101, 1), frame(102, 2, alive=False), frame(60, 3))
    say(door, 10.0, "/fixture/foh-1/desk", 1)
    run(door, 10.0, 20)
    again = Door(make(of), CID)
    again.restore(door.state())
    for number in range(3):
        at_s = 11.0 + number
        for one in (door, again):
            hear(one, at_s, frame(60, 10 + number), frame(101, 20 + number))
        assert run(door, at_s, 20) == run(again, at_s, 20)


def test_after_a_crash_the_desk_is_as_it_was_until_it_is_heard_or_given_up() -> None:
    door = following(show())
    left = door.left_behind()
    for heard, lost in ((True, False), (False, True)):
        again = Door(make(show()), CID)
        again.apply(Start(11.0, armed=True, listening_since_s=11.0, left_behind=left, lasting={"armed": True}))
        assert [p.universe for p in data_of(again.tick(11.01))] == [1, 2], "at once"
        if heard:
            hear(again, 12.5, full(101), full(102))
        again.tick(16.0)
        assert any("LOST" in n.text for n in again.news.take()) is lost


def test_a_door_that_was_left_nonsense_of_the_desk_waits_for_it() -> None:
    left = following(show()).left_behind() | {"beside": {"desk": {"frames": {"101": ["!", 3]}}}}
    again = Door(make(show()), CID)
    again.apply(Start(11.0, armed=True, listening_since_s=11.0, left_behind=left, lasting={"armed": True}))
    assert run(again, 11.0 + LISTEN_S, 10) == [[]] * 10
