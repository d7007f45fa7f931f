"""Priorities by slot on loopback, as the sacn library's receiver takes them: it knows none, as many nodes do not.

That it leaves the start code to its user was read in the library; that nodes without 0xDD go by the packet's priority
is common practice (facts/protocols.md).
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import sacn

from bridge.daemon.output import Output
from bridge.wire.settings import SacnSettings
from bridge.wire.stream import Streams
from tests.system.other_source import other_source

UNIVERSE, FRAMES, FRAME_S = 30480, 60, 1 / 44


@contextmanager
def node() -> Iterator[list[sacn.DataPacket]]:
    """What the library's receiver hands to its user on UNIVERSE."""
    told: list[sacn.DataPacket] = []
    receiver = sacn.sACNreceiver(bind_address="127.0.0.1")
    receiver.register_listener("universe", told.append, universe=UNIVERSE)
    receiver.start()
    try:
        receiver.join_multicast(UNIVERSE)
        yield told
    finally:
        receiver.stop()


def send() -> list[bytes]:
    """A source by slot for a second and a half, its level rising; returns the levels that were sent."""
    streams, output = Streams([UNIVERSE], bytes(range(16)), "Tetherlight", 0), Output(SacnSettings())
    slots, priorities, sent = np.zeros((1, 512), np.uint8), np.full((1, 512), 110, np.uint8), []
    try:
        for frame in range(FRAMES):
            slots[0, 6] = 1 + frame
            for universe, packet in streams.packets(slots, time.monotonic(), priorities):
                assert output.send(universe, packet, 0.0)
                if packet[125] == 0:
                    sent.append(bytes(packet[126:]))
            time.sleep(FRAME_S)
    finally:
        output.close()
    return sent


def test_alone_our_levels_arrive_and_nothing_else_under_start_code_nought() -> None:
    with node() as told:
        sent = send()
        time.sleep(0.2)
    levels = [bytes(packet.dmxData) for packet in told if packet.dmxStartCode == 0]
    assert levels == list(dict.fromkeys(sent))
    assert len(levels) > FRAMES // 2
    by_slot = [packet for packet in told if packet.dmxStartCode == 0xDD]
    assert by_slot[0].sequence == 0, "before the first levels"
    assert {bytes(packet.dmxData) for packet in by_slot} == {bytes([110]) * 512}


def test_beside_a_desk_it_stays_with_the_desk() -> None:
    with node() as told, other_source(UNIVERSE, priority=100):
        end_s = time.monotonic() + 5
        while not told and time.monotonic() < end_s:
            time.sleep(0.02)
        assert len(send()) > FRAMES // 2
        assert {packet.sourceName.strip("\0") for packet in told} == {"House desk"}
        assert {(packet.dmxStartCode, bytes(packet.dmxData[:4])) for packet in told} == {(0, b"\1\2\3\0")}
