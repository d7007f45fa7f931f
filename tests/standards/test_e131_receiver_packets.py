"""ANSI E1.31 at the receiver by packets of another implementation, the sacn library; what they are to do: from memory.

The table of clauses is in test_e131_receiver.py.
"""

from __future__ import annotations

import struct

import pytest
from sacn.messages.data_packet import DataPacket as SacnData
from sacn.messages.sync_packet import SyncPacket as SacnSync

from bridge.wire.e131 import PORT, multicast_group
from bridge.wire.receiver import Receiver

CID, OTHER = tuple(range(16)), tuple(range(1, 17))


def library(cid: tuple[int, ...] = CID, sequence: int = 0, slots: tuple[int, ...] = (1, 2, 3), **more: object) -> bytes:
    """A data packet of 512 slots on universe 1; the library fills up what is not given."""
    made = {"sourceName": "peer", "universe": 1, "priority": 100} | more
    return bytes(SacnData(cid=cid, dmxData=slots, sequence=sequence, **made).getBytes())


def put(octets: bytes, at: int, kind: str, value: int) -> bytes:
    changed = bytearray(octets)
    struct.pack_into(kind, changed, at, value)
    return bytes(changed)


def first(receiver: Receiver, now_s: float) -> list[int]:
    frame = receiver.frame(1, now_s)
    assert frame is not None
    return list(frame.slots[:3])


DATA, SYNC_PACKET = library(), bytes(SacnSync(CID, 7, 0).getBytes())
BROKEN = {
    "preamble": (put(DATA, 0, ">H", 0x0011), "not-e131"),
    "post-amble": (put(DATA, 2, ">H", 1), "not-e131"),
    "identifier": (put(DATA, 12, ">B", 0x38), "not-e131"),
    "root flags": (put(DATA, 16, ">H", 0x626E), "length"),
    "root length": (put(DATA, 16, ">H", 0x726D), "length"),
    "root vector": (put(DATA, 18, ">I", 5), "vector"),
    "framing length": (put(DATA, 38, ">H", 0x7257), "length"),
    "framing vector": (put(DATA, 40, ">I", 3), "vector"),
    "priority 201": (put(DATA, 108, ">B", 201), "range"),
    "universe 0": (put(DATA, 113, ">H", 0), "range"),
    "universe 64000": (put(DATA, 113, ">H", 64000), "range"),
    "DMP length": (put(DATA, 115, ">H", 0x720A), "length"),
    "DMP vector": (put(DATA, 117, ">B", 3), "vector"),
    "address and data type": (put(DATA, 118, ">B", 0xA2), "vector"),
    "first address": (put(DATA, 119, ">H", 1), "vector"),
    "increment": (put(DATA, 121, ">H", 2), "vector"),
    "count": (put(DATA, 123, ">H", 512), "length"),
    "sync root vector": (put(SYNC_PACKET, 18, ">I", 4), "vector"),
    "sync framing vector": (put(SYNC_PACKET, 40, ">I", 3), "vector"),
    "sync address 0": (put(SYNC_PACKET, 45, ">H", 0), "range"),
    "sync too long": (SYNC_PACKET + b"\0", "length"),
}


@pytest.mark.parametrize("field", BROKEN)
def test_a_packet_with_a_field_that_is_not_the_standards_is_discarded(field: str) -> None:
    receiver, (packet, reason) = Receiver([1], sampling_s=0.0), BROKEN[field]
    assert receiver.take(packet, "192.0.2.1", 0.0) == f"malformed-{reason}"
    assert receiver.frame(1, 0.0) is None
    assert receiver.take(DATA, "192.0.2.1", 0.0) == "taken", "the packet as it was before"


def test_any_source_name_is_taken() -> None:
    for name in (b"\xff\xfe", b"A" * 64, b"", "ä".encode() * 31):
        receiver = Receiver([1], sampling_s=0.0)
        assert receiver.take(DATA[:44] + name.ljust(64, b"\0") + DATA[108:], "192.0.2.1", 0.0) == "taken"
        assert first(receiver, 0.0) == [1, 2, 3]


def test_reserved_bits_and_octets_are_ignored() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    assert receiver.take(put(library(sync_universe=7), 112, ">B", 0x1F), "192.0.2.1", 0.0) == "taken"
    assert receiver.take(put(SYNC_PACKET, 47, ">H", 0xFFFF), "192.0.2.1", 0.0) == "sync"


def test_two_sources_of_the_librarys_packets_merge_by_the_highest_level() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(library(CID, 0, (1, 9, 5)), "192.0.2.1", 0.0)
    receiver.take(library(OTHER, 0, (9, 1, 5)), "192.0.2.2", 0.0)
    assert first(receiver, 0.0) == [9, 9, 5]
    receiver.take(library(CID, 1, (1, 9, 5), priority=101), "192.0.2.1", 0.1)
    assert first(receiver, 0.1) == [1, 9, 5]


def test_the_librarys_start_code_0xdd_is_priority_per_slot() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(library(CID, 0, (1, 1, 1)), "192.0.2.1", 0.0)
    receiver.take(library(OTHER, 0, (101, 99, 0), dmxStartCode=0xDD), "192.0.2.2", 0.0)
    receiver.take(library(OTHER, 1, (9, 9, 9), priority=200), "192.0.2.2", 0.0)
    assert first(receiver, 0.0) == [9, 1, 1]


def test_the_librarys_sequence_of_21() -> None:
    """The standard's example: after 21, the packets 21, 20 and 2 are discarded, and 1 is taken."""
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(library(sequence=21), "192.0.2.1", 0.0)
    words = [receiver.take(library(sequence=number), "192.0.2.1", 0.0) for number in (21, 20, 2, 1)]
    assert words == ["sequence", "sequence", "sequence", "taken"]


def test_the_librarys_sync_releases_the_librarys_levels() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    for sequence, level in enumerate((1, 2)):
        receiver.take(library(sequence=sequence, slots=(level,) * 3, sync_universe=7962), "192.0.2.1", 0.0)
        assert first(receiver, 0.0) == [1, 1, 1]
        receiver.take(bytes(SacnSync(CID, 7962, sequence).getBytes()), "192.0.2.1", 0.0)
    assert first(receiver, 0.0) == [2, 2, 2]


def test_where_a_receiver_listens() -> None:
    """Port 5568 and 239.255.high.low; that the sockets are there is in unit/daemon/test_desk_ears.py."""
    assert PORT == 5568
    assert [multicast_group(universe) for universe in (1, 256, 7962)] == ["239.255.0.1", "239.255.1.0", "239.255.31.26"]
