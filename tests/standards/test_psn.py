"""PosiStageNet 2.03 from outside: the published layout octet by octet, and PyPI pypsn (0.2.3) as a second reader.

Source of the layout: the standard's 2.03 text as collected in facts/protocols.md. pypsn reads and does not build, so
the other way round is this: packets made here from its own tables and struct alone are read by both of us.

Traps of pypsn found here: it reads the low 32 of the 64 bits of a tracker's own time; it drops a last chunk without
data, so that an empty list of trackers raises UnboundLocalError, as do packets without a header or a system name; names
stay octets; a longer vector raises struct.error; lengths that go past the packet are taken.
"""

from __future__ import annotations

import struct

import pypsn
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.wire import psn
from bridge.wire.psn_packet import MAX_PACKET, Data, Info, Tracker, parse

# Tracker 7 at 1, 2, -3 m, 0.5 m/s to the right, valid, own time 123; at 0x0102030405060708 us, frame 9, 1 packet.
PUBLISHED = bytes.fromhex(
    "5567 4c80"  # data packet, 76 octets, with sub-chunks
    "0000 0c00 0807060504030201 02 03 09 01"  # header of 12: timestamp, version 2.03, frame, packets in it
    "0100 3880"  # list of trackers, 56 octets, with sub-chunks
    "0700 3480"  # tracker 7, 52 octets, with sub-chunks
    "0000 0c00 0000803f 00000040 000040c0"  # position
    "0100 0c00 0000003f 00000000 00000000"  # speed
    "0300 0400 0000803f"  # validity
    "0600 0800 7b00000000000000"  # the tracker's own time
)
PUBLISHED_INFO = bytes.fromhex(
    "5667 3180"  # info packet, 49 octets, with sub-chunks
    "0000 0c00 0807060504030201 02 03 09 01"
    "0100 0c00" + b"Harbour Hall".hex() + "0200 0d80"  # list of trackers
    "0700 0980"  # tracker 7
    "0000 0500" + b"singe".hex()
)
LEAD = Tracker(7, (1.0, 2.0, -3.0), (0.5, 0.0, 0.0), 1.0, 123)
TIME_US = 0x0102030405060708


def test_published_layout_is_read() -> None:
    found = parse(PUBLISHED)
    assert isinstance(found, Data)
    assert found.trackers == [LEAD]
    assert found.header == (TIME_US, (2, 3), 9, 1)


def test_published_layout_is_written() -> None:
    assert psn.data([LEAD], TIME_US, 9) == [PUBLISHED]


def test_published_layout_of_names_both_ways() -> None:
    assert parse(PUBLISHED_INFO) == Info((TIME_US, (2, 3), 9, 1), "Harbour Hall", {7: "singe"})
    assert psn.info("Harbour Hall", {7: "singe"}, TIME_US, 9) == [PUBLISHED_INFO]


def test_the_reader_gives_the_published_point() -> None:
    (point,) = psn.Reader().take(PUBLISHED, "192.0.2.1", 0.0)
    assert point == ("7", (1.0, 2.0, -3.0), (0.5, 0.0, 0.0), 123, "192.0.2.1 trackers")


SINGLE = st.floats(-1e4, 1e4, width=32)
VECTOR = st.tuples(SINGLE, SINGLE, SINGLE)
TRACKERS = st.builds(
    Tracker,
    st.integers(0, 0xFFFF),
    VECTOR,
    st.none() | VECTOR,
    st.none() | st.floats(0, 1, width=32),
    st.none() | st.integers(0, (1 << 64) - 1),
)


@given(st.lists(TRACKERS, min_size=1, max_size=60), st.integers(0, (1 << 64) - 1), st.integers(0, 255))
def test_pypsn_reads_what_we_write(trackers: list[Tracker], timestamp_us: int, frame: int) -> None:
    packets = psn.data(trackers, timestamp_us, frame)
    assert all(len(packet) <= MAX_PACKET for packet in packets)
    heard = [pypsn.parse_psn_packet(packet) for packet in packets]
    for packet in heard:
        header = packet.info
        assert (header.timestamp, header.frame_id, header.packet_count) == (timestamp_us, frame, len(packets))
        assert (header.version_high, header.version_low) == (2, 3)
    theirs = [tracker for packet in heard for tracker in packet.trackers]
    assert [tracker.id for tracker in theirs] == [tracker.number for tracker in trackers]
    for their, our in zip(theirs, trackers, strict=True):
        assert our.place == tuple(their.pos)
        assert our.speed == (their.speed and tuple(their.speed))
        assert (our.validity or 0) == their.status
        assert (our.timestamp_us or 0) % (1 << 32) == their.timestamp, "pypsn reads the low half alone"


@given(
    st.text(min_size=1, max_size=20),
    st.dictionaries(st.integers(0, 0xFFFF), st.text("abcdé 1", min_size=1), min_size=1),
)
def test_pypsn_reads_the_names_we_write(system: str, names: dict[int, str]) -> None:
    heard = [pypsn.parse_psn_packet(packet) for packet in psn.info(system, names, 5)]
    assert {packet.name.decode() for packet in heard} == {system}
    assert {t.tracker_id: t.tracker_name.decode() for packet in heard for t in packet.trackers} == names


def chunk(kind: int, octets: bytes, sub: bool = False) -> bytes:
    return struct.pack("<HH", kind, len(octets) | sub << 15) + octets


FIELDS = st.lists(
    st.one_of(
        st.tuples(st.sampled_from([*pypsn.psn_tracker_chunk]), VECTOR.map(lambda v: struct.pack("<3f", *v))),
        st.tuples(
            st.just(pypsn.psn_tracker_chunk_info.PSN_DATA_TRACKER_STATUS),
            st.floats(0, 1, width=32).map(lambda v: struct.pack("<f", v)),
        ),
        st.tuples(
            st.just(pypsn.psn_tracker_chunk_info.PSN_DATA_TRACKER_TIMESTAMP),
            st.integers(0, (1 << 32) - 1).map(lambda v: struct.pack("<Q", v)),
        ),
    ),
    min_size=1,
    unique_by=lambda field: field[0],
)


@given(st.dictionaries(st.integers(0, 0xFFFF), FIELDS, min_size=1, max_size=20), st.integers(0, (1 << 64) - 1))
def test_packets_from_pypsns_own_tables_are_read_alike(
    fields: dict[int, list[tuple[int, bytes]]], time_us: int
) -> None:
    """All chunks that pypsn knows, in any order, among them those that we step over."""
    members = b"".join(
        chunk(number, b"".join(chunk(kind, octets) for kind, octets in held), True) for number, held in fields.items()
    )
    header = chunk(pypsn.psn_data_chunk.PSN_DATA_PACKET_HEADER, struct.pack("<QBBBB", time_us, 2, 3, 0, 1))
    body = header + chunk(pypsn.psn_data_chunk.PSN_DATA_TRACKER_LIST, members, True)
    packet = chunk(pypsn.psn_v2_chunk.PSN_DATA_PACKET, body, True)
    theirs, ours = pypsn.parse_psn_packet(packet), parse(packet)
    assert isinstance(ours, Data)
    assert ours.header.timestamp_us == theirs.info.timestamp
    assert len(ours.trackers) == len(theirs.trackers)
    for our, their in zip(ours.trackers, theirs.trackers, strict=True):
        assert (our.number, our.place) == (their.id, their.pos and tuple(their.pos))
        assert our.speed == (their.speed and tuple(their.speed))
        assert (our.validity or 0) == their.status
        assert (our.timestamp_us or 0) == their.timestamp


def test_what_pypsn_lets_pass_or_dies_of_is_refused_by_us() -> None:
    """The traps in the module's text, each as it is, so that a later version that mends one is noticed."""
    longer = bytearray(PUBLISHED)
    longer[26] = 0xFF  # tracker 7 goes past its list
    assert len(pypsn.parse_psn_packet(bytes(longer)).trackers) == 1
    assert _words(bytes(longer)) == {"malformed": 1}
    headless = chunk(0x6755, chunk(0x0001, b"", True), True)
    with pytest.raises(UnboundLocalError):
        pypsn.parse_psn_packet(headless)
    assert _words(headless) == {"malformed": 1}
    with pytest.raises(UnboundLocalError):
        pypsn.parse_psn_packet(psn.data([], 5)[0])
    with pytest.raises(struct.error):
        pypsn.parse_psn_packet(b"\x55")
    assert _words(b"\x55") == {"not-psn": 1}


def _words(packet: bytes) -> dict[str, int]:
    reader = psn.Reader()
    assert reader.take(packet, "192.0.2.1", 0.0) == []
    return dict(reader.counters)
