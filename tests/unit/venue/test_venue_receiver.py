"""The venue's receiver: survives anything, reports fights and silence, holds looks. Packets by the sacn library."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket

from bridge.venue.invent import invent
from bridge.venue.performers import PerformerInput
from bridge.venue.receiver import SacnReceiver
from bridge.venue.simulation import Venue
from bridge.wire import osc
from tests.unit.venue.rigs import show

UNIVERSE = 30201


def _packet(level: int, sequence: int, cid: int = 1, priority: int = 100, universe: int = UNIVERSE) -> bytes:
    packet = DataPacket(
        cid=tuple([cid] * 16), sourceName=f"desk {cid}", universe=universe, dmxData=(level,) * 512,
        priority=priority, sequence=sequence,
    )  # fmt: skip
    return bytes(packet.getBytes())


class Listening:
    def __init__(self) -> None:
        self.notes: list[str] = []
        self.receiver = SacnReceiver([UNIVERSE], self.notes.append)


@pytest.fixture
def node() -> Listening:
    return Listening()


def test_levels_are_heard(node: Listening) -> None:
    heard = node.receiver.take(_packet(7, 1), "192.0.2.1", 0.0)
    assert heard == (UNIVERSE, bytes([7]) * 512)
    assert node.receiver.take(_packet(9, 1, universe=UNIVERSE + 1), "192.0.2.1", 0.0) is None
    assert node.receiver.counters == {"taken": 1, "not-ours": 1}
    assert node.receiver.never_heard() == []


def test_two_sources_at_once_are_reported_once(node: Listening) -> None:
    for i in range(10):
        node.receiver.take(_packet(100, i, cid=1), "192.0.2.1", 0.02 * i)
        heard = node.receiver.take(_packet(50, i, cid=2), "192.0.2.2", 0.02 * i)
    assert heard == (UNIVERSE, bytes([100]) * 512), "equal priorities: highest takes precedence"
    assert len(node.notes) == 1
    assert "2 sources" in node.notes[0]
    assert "'desk 1' at 192.0.2.1" in node.notes[0]
    assert "highest takes precedence" in node.notes[0]


def test_the_higher_priority_wins_and_is_named(node: Listening) -> None:
    node.receiver.take(_packet(100, 1, cid=1, priority=100), "192.0.2.1", 0.0)
    heard = node.receiver.take(_packet(50, 1, cid=2, priority=110), "192.0.2.2", 0.0)
    assert heard == (UNIVERSE, bytes([50]) * 512)
    assert "the highest priority wins" in node.notes[0]


def test_silence_is_reported_and_the_look_is_held() -> None:
    rig, notes = show(1, universe=UNIVERSE), []
    venue, receiver = Venue(rig, invent(rig, 1)), SacnReceiver([UNIVERSE], notes.append)
    heard = receiver.take(_packet(200, 1), "192.0.2.1", 0.0)
    assert heard is not None
    venue.hear(*heard)
    for i in range(600):
        venue.step(0.01)
        receiver.tick(0.01 * i)
    assert [n for n in notes if "silent" in n] == [
        "universe 30201 fell silent 2.5 s ago; its heads hold their last look"
    ]
    assert receiver.silent() == [UNIVERSE]
    assert venue.heads.state().level[0] == pytest.approx(200 / 255, abs=0.01), "a node holds its last look"
    receiver.take(_packet(10, 2), "192.0.2.1", 7.0)
    assert notes[-1] == "universe 30201 is heard again"
    assert receiver.silent() == []


def test_junk_is_counted_by_reason_and_noted_once_per_reason(node: Listening) -> None:
    rng = random.Random(8)
    print("seed 8")
    good = _packet(5, 1)
    for _ in range(3000):
        kind = rng.randrange(3)
        if kind == 0:
            datagram = rng.randbytes(rng.randrange(0, 700))
        elif kind == 1:
            datagram = good[: rng.randrange(len(good))]
        else:
            broken = bytearray(good)
            for _ in range(rng.randrange(1, 6)):
                broken[rng.randrange(126)] = rng.randrange(256)
            datagram = bytes(broken)
        node.receiver.take(datagram, "192.0.2.9", 0.0)
    assert node.receiver.malformed["length"] > 500
    assert node.receiver.malformed["not-e131"] > 10
    assert len([n for n in node.notes if n.startswith("malformed")]) == len(node.receiver.malformed)
    assert node.receiver.take(_packet(6, 100, cid=9, priority=200), "192.0.2.1", 0.1) == (UNIVERSE, bytes([6]) * 512)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=700), st.integers(0, 125), st.binary(min_size=1, max_size=8))
def test_no_octets_raise(junk: bytes, at: int, patch: bytes) -> None:
    receiver = SacnReceiver([UNIVERSE])
    good = bytearray(_packet(5, 1))
    good[at : at + len(patch)] = patch
    for datagram in (junk, bytes(good[:638]), bytes(good)[: at + 1]):
        heard = receiver.take(datagram, "192.0.2.1", 0.0)
        assert heard is None or (heard[0] == UNIVERSE and len(heard[1]) == 512)


def test_performers_are_told_by_osc_and_nonsense_is_counted() -> None:
    rig = show(1)
    venue = Venue(rig, invent(rig, 1))
    told = PerformerInput(venue)
    told.take(osc.encode("/performer", "lead", 1.0, 2.0, 0.5))
    assert venue.performers["lead"].feet == (1.0, 2.0, 0.5)
    assert venue.performers["lead"].point[2] == pytest.approx(1.8)
    told.take(osc.encode("/performer/lead", 3, 4))
    assert venue.performers["lead"].feet == (3.0, 4.0, 0.0)
    for bad in (
        b"junk", osc.encode("/performer"), osc.encode("/performer", "lead", 1.0), osc.encode("/performer", 1.0, 2.0),
        osc.encode("/other", 1.0), osc.encode("/performer/lead", 1e9, 0.0), osc.encode("/performer/lead", True, 0.0),
    ):  # fmt: skip
        told.take(bad)
    assert venue.performers["lead"].feet == (3.0, 4.0, 0.0)
    assert sum(told.counters.values()) == 7
    told.take(osc.encode("/performer/lead"))
    assert venue.performers == {}
