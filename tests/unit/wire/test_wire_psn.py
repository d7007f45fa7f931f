"""The reader of PosiStageNet: one test per reason to refuse, what comes back as it was sent, and any octets at all."""

from __future__ import annotations

import contextlib
import math
import random
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.wire import psn
from bridge.wire.psn import MAX_SENDERS, MAX_TRACKERS, Reader, Tracker
from bridge.wire.psn_packet import MAX_DATAGRAM, MAX_PACKET, PsnError, parse
from bridge.wire.tracked import Point

FROM = "192.0.2.1"
T0_US = 60_000_000
FRAME_US = 16_667
LEAD = Tracker(7, (1.0, 2.0, 0.5), (0.5, -0.25, 0.0))


def chunk(kind: int, octets: bytes = b"") -> bytes:
    return struct.pack("<HH", kind, len(octets)) + octets


def packet(*members: bytes, version: int = 2, timestamp_us: int = T0_US, kind: int = 0x6755) -> bytes:
    """A data packet from chunks of its own making."""
    return chunk(kind, chunk(0, struct.pack("<QBBBB", timestamp_us, version, 3, 0, 1)) + b"".join(members))


def place(x: float = 1.0, y: float = 2.0, z: float = 0.5) -> bytes:
    return chunk(0, struct.pack("<3f", x, y, z))


def sent(number: int, *trackers: Tracker) -> bytes:
    """The one packet of a frame, 1/60 s after the one before."""
    (one,) = psn.data(trackers or (LEAD,), T0_US + number * FRAME_US, number)
    return one


def words(reader: Reader) -> dict[str, int]:
    return dict(reader.counters + reader.point_counters)


def refused(octets: bytes) -> str:
    reader = Reader()
    assert reader.take(octets, FROM, 0.0) == []
    assert sum(reader.counters.values()) == 1
    assert reader.last_refusal.startswith(f"{FROM}: ")
    assert len(reader.last_refusal) < 200
    (word,) = reader.counters
    return word


def test_a_tracker_is_a_point_with_the_time_of_the_header() -> None:
    assert Reader().take(sent(0), FROM, 0.0) == [Point("7", (1.0, 2.0, 0.5), (0.5, -0.25, 0.0), T0_US, FROM)]


def test_a_trackers_own_time_is_by_a_clock_apart() -> None:
    (point,) = Reader().take(sent(0, LEAD._replace(timestamp_us=99)), FROM, 0.0)
    assert (point.sampled_us, point.clock) == (99, f"{FROM} trackers")


def test_times_of_zero_say_nothing() -> None:
    (point,) = Reader().take(psn.data([LEAD._replace(timestamp_us=0)], 0)[0], FROM, 0.0)
    assert (point.sampled_us, point.clock) == (None, FROM)


@pytest.mark.parametrize("octets", [b"", b"\x55", b"\x55\x67\0", b"\x55\x66\0\0", b"/adm/obj/1/xyz\0\0"])
def test_what_is_no_psn_is_refused(octets: bytes) -> None:
    assert refused(octets) == "not-psn"


@pytest.mark.parametrize("cut", range(4, len(sent(0))))
def test_a_packet_cut_anywhere_is_refused(cut: int) -> None:
    assert refused(sent(0)[:cut]) == "malformed"


@pytest.mark.parametrize("more", range(1, 9))
def test_octets_beyond_the_packet_are_refused(more: int) -> None:
    assert refused(sent(0) + bytes(more)) == "malformed"


def test_a_packet_above_every_packet_is_refused_unread() -> None:
    assert refused(packet(chunk(0x4242, bytes(MAX_DATAGRAM)))) == "oversized"
    assert Reader().take(packet(chunk(1, chunk(7, place())), chunk(0x4242, bytes(8000))), FROM, 0.0)


@pytest.mark.parametrize("version", [0, 1, 3, 255])
def test_other_major_versions_are_not_taken(version: int) -> None:
    assert refused(packet(chunk(1, chunk(7, place())), version=version)) == "other-version"


@pytest.mark.parametrize("kind", [0x6754, 0x503C])
def test_packets_of_version_1_are_named_so(kind: int) -> None:
    assert refused(packet(kind=kind)) == "other-version"


INSIDE = {
    "a tracker past its list": chunk(1, struct.pack("<HH", 7, 17) + place()),
    "a position past its tracker": chunk(1, chunk(7, place()[:-1])),
    "a list past the packet": struct.pack("<HH", 1, 100) + chunk(7, place()),
    "octets after the last tracker": chunk(1, chunk(7, place()) + b"\0\0"),
    "a short position": chunk(1, chunk(7, chunk(0, bytes(11)))),
    "a short speed": chunk(1, chunk(7, chunk(1, bytes(8)))),
    "a short validity": chunk(1, chunk(7, chunk(3, bytes(3)))),
    "a short time": chunk(1, chunk(7, chunk(6, bytes(4)))),
    "a short header": chunk(0, bytes(4)),
}


@pytest.mark.parametrize("what", INSIDE)
def test_one_length_that_cannot_be_and_nothing_of_the_packet_is_taken(what: str) -> None:
    good = chunk(1, chunk(8, place()))
    octets = packet(good, INSIDE[what]) if what != "a short header" else chunk(0x6755, INSIDE[what] + good)
    assert refused(octets) == "malformed"


def test_a_packet_without_a_header_is_refused() -> None:
    assert refused(chunk(0x6755, chunk(1, chunk(7, place())))) == "malformed"


def test_unknown_chunks_are_stepped_over_and_longer_ones_read_in_part() -> None:
    nested = b""
    for _ in range(300):
        nested = chunk(0x4242, nested)
    longer = chunk(0, struct.pack("<5f", 1.0, 2.0, 0.5, 8.0, 9.0))
    tracker = chunk(7, chunk(2, b"ori") + longer + chunk(0x99, b"?") + chunk(3, struct.pack("<f", 0.5) + b"more"))
    (point,) = Reader().take(packet(nested, chunk(1, tracker), chunk(0x99)), FROM, 0.0)
    assert point.place == (1.0, 2.0, 0.5)


@pytest.mark.parametrize("validity", [0.0, -0.0, -1.0, math.nan, math.inf, -math.inf])
def test_a_tracker_that_is_not_valid_is_not_seen(validity: float) -> None:
    reader = Reader()
    points = reader.take(sent(0, LEAD._replace(validity=validity), LEAD._replace(number=8, validity=0.1)), FROM, 0.0)
    assert [point.name for point in points] == ["8"]
    assert words(reader) == {"taken": 2, "invalid": 1}


@pytest.mark.parametrize(("number", "word"), [(math.nan, "not-finite"), (math.inf, "not-finite"), (-10_001.0, "range")])
@pytest.mark.parametrize("axis", range(3))
def test_a_place_that_cannot_be_is_refused_and_its_neighbours_stay(number: float, word: str, axis: int) -> None:
    reader, where = Reader(), [1.0, 2.0, 3.0]
    where[axis] = number
    points = reader.take(sent(0, LEAD, Tracker(8, (where[0], where[1], where[2]))), FROM, 0.0)
    assert [point.name for point in points] == ["7"]
    assert dict(reader.point_counters) == {"taken": 1, word: 1}


def test_a_tracker_without_a_place_is_no_point() -> None:
    reader = Reader()
    assert reader.take(sent(0, Tracker(7, None)), FROM, 0.0) == []
    assert words(reader) == {"taken": 1, "no-place": 1}


@pytest.mark.parametrize("speed", [(math.nan, 0.0, 0.0), (0.0, math.inf, 0.0), (0.0, 0.0, 1001.0)])
def test_a_speed_that_cannot_be_is_left_out(speed: tuple[float, float, float]) -> None:
    reader = Reader()
    (point,) = reader.take(sent(0, LEAD._replace(speed=speed)), FROM, 0.0)
    assert point.velocity is None
    assert dict(reader.point_counters) == {"taken": 1, "bad-speed": 1}


def test_a_speed_of_zero_counts_once_its_host_gave_another() -> None:
    reader, still = Reader(), LEAD._replace(speed=(0.0, 0.0, 0.0))
    assert reader.take(sent(0, still), FROM, 0.0)[0].velocity is None
    assert reader.take(sent(1), FROM, 0.0)[0].velocity == LEAD.speed
    assert reader.take(sent(2, still), FROM, 0.0)[0].velocity == (0.0, 0.0, 0.0)
    assert reader.take(sent(2, still), "192.0.2.2", 0.0)[0].velocity is None


def test_packets_of_one_frame_all_count_at_once() -> None:
    trackers = [Tracker(number, (number / 100, 0.0, 0.0)) for number in range(300)]
    packets, reader = psn.data(trackers, T0_US), Reader()
    assert len(packets) > 3
    heard = [point for octets in reversed(packets) for point in reader.take(octets, FROM, 0.0)]
    assert sorted(int(point.name) for point in heard) == [*range(300)]


def test_a_frame_before_the_last_is_old() -> None:
    reader = Reader()
    reader.take(sent(5), FROM, 0.0)
    assert reader.take(sent(4), FROM, 0.01) == []
    assert reader.take(sent(4), "192.0.2.2", 0.01), "to another host it is nothing"
    assert reader.take(sent(6), FROM, 0.02)
    assert words(reader) == {"taken": 3 + 3, "old": 1}


def test_a_clock_that_began_anew_is_taken_up_again() -> None:
    """At once where it goes back far; where it goes back by little, after a second without anything newer."""
    reader = Reader()
    reader.take(sent(1000), FROM, 0.0)
    (first,) = psn.data([LEAD], 5)
    assert reader.take(first, FROM, 0.01)
    assert reader.take(psn.data([LEAD], 5 + FRAME_US)[0], FROM, 0.02)
    assert reader.take(psn.data([LEAD], 1)[0], FROM, 0.5) == []
    assert reader.take(psn.data([LEAD], 2)[0], FROM, 1.03)
    assert reader.take(psn.data([LEAD], 3)[0], FROM, 1.04)


def test_one_packet_from_far_ahead_does_not_deafen() -> None:
    reader = Reader()
    assert reader.take(psn.data([LEAD], (1 << 64) - 1)[0], FROM, 0.0)
    assert reader.take(sent(0), FROM, 0.01)


def test_a_packet_that_comes_twice_counts_once() -> None:
    reader = Reader()
    reader.take(sent(0), FROM, 0.0)
    assert reader.take(sent(0), FROM, 0.001) == []
    assert reader.take(sent(0, LEAD, Tracker(8, (0.0, 0.0, 0.0))), FROM, 0.002)[0].name == "8"
    assert dict(reader.counters) == {"taken": 2, "duplicate": 1}
    assert dict(reader.point_counters) == {"taken": 2, "again": 1}


def test_a_tracker_twice_in_a_packet_counts_once() -> None:
    reader = Reader()
    assert len(reader.take(sent(0, LEAD, LEAD), FROM, 0.0)) == 1
    assert dict(reader.point_counters) == {"taken": 1, "again": 1}


def test_a_sender_without_a_clock_is_heard() -> None:
    """Timestamp and frame stand at 0: at most ten times a second. A frame number that counts is enough for all."""
    reader, (standing,) = Reader(), psn.data([LEAD], 0)
    assert sum(len(reader.take(standing, FROM, n / 60)) for n in range(600)) >= 75
    counting = [psn.data([LEAD], 0, n)[0] for n in range(600)]
    assert sum(len(reader.take(octets, FROM, 11 + n / 60)) for n, octets in enumerate(counting)) == 600


def test_memory_is_bounded_whatever_comes() -> None:
    reader = Reader()
    for number in range(3 * MAX_SENDERS):
        host = f"198.51.100.{number}"
        reader.take(sent(0), host, number)
        reader.take(psn.info(f"system {number}", {}, 0)[0], host, number)
    assert len(reader._senders) == len(reader.systems) == MAX_SENDERS
    everybody = [Tracker(number, (0.0, 0.0, 0.0)) for number in range(4 * MAX_TRACKERS)]
    heard = [point for octets in psn.data(everybody, T0_US) for point in reader.take(octets, FROM, 1e6)]
    assert len(heard) == MAX_TRACKERS
    assert reader.point_counters["too-many"] == 3 * MAX_TRACKERS
    for octets in psn.info("many", dict.fromkeys(range(2 * MAX_TRACKERS), "x"), 0):
        reader.take(octets, FROM, 1e6)
    assert len(reader.names) == MAX_TRACKERS
    assert str(2 * MAX_TRACKERS - 1) in reader.names, "the newest stay"


def test_what_goes_on_being_heard_makes_no_room_for_others() -> None:
    reader = Reader()
    for number in range(3 * MAX_SENDERS):
        assert reader.take(sent(number), FROM, number / 60)
        assert reader.take(sent(number), FROM, number / 60) == [], "it is known that this was heard"
        reader.take(sent(0), f"198.51.100.{number}", number / 60)
    for number in range(3 * MAX_TRACKERS):
        reader.take(psn.info("hall", {7: "singer", number + 100: "x"}, 0)[0], FROM, 0.0)
    assert reader.names["7"] == "singer"
    assert len(reader.names) == MAX_TRACKERS


def test_names_are_kept_as_people_can_read_them() -> None:
    reader = Reader()
    assert reader.take(psn.info("Harbour\x1b[2J Hall", {7: "Zoë", 8: "x" * 500, 9: "end\0here"}, 0)[0], FROM, 0.0) == []
    assert reader.systems == {FROM: "Harbour�[2J Hall"}
    assert reader.names == {"7": "Zoë", "8": "x" * 64, "9": "end"}
    assert words(reader) == {"info": 1}
    octets = packet(chunk(1, b"\xff\xfe"), chunk(2, chunk(7, chunk(0, b"\xc3"))), kind=0x6756)
    reader.take(octets, FROM, 0.0)
    assert (reader.systems[FROM], reader.names["7"]) == ("��", "�")


def test_info_without_a_system_name_keeps_the_one_that_was() -> None:
    reader = Reader()
    reader.take(psn.info("Hall", {}, 0)[0], FROM, 0.0)
    reader.take(packet(kind=0x6756), FROM, 0.0)
    assert reader.systems == {FROM: "Hall"}


def test_builders_refuse_what_the_layout_cannot_carry() -> None:
    fits = len(psn.data([LEAD] * 1000, 0)[0]) // len(chunk(7, bytes(32)))
    assert len(psn.data([LEAD] * 255 * fits, 0)) == 255
    with pytest.raises(ValueError, match="at most 255"):
        psn.data([LEAD] * (255 * fits + 1), 0)
    with pytest.raises(ValueError, match="fit a packet"):
        psn.info("x", {1: "x" * MAX_PACKET}, 0)
    with pytest.raises(ValueError, match="at most 32767"):
        psn.info("x", {1: "x" * 40_000}, 0)
    assert all(len(octets) <= MAX_PACKET for octets in psn.data([LEAD] * 1000, 0))
    assert len(psn.data([], 0)) == 1


FINITE = st.floats(-1e4, 1e4, width=32)
SPEED = st.floats(-1e3, 1e3, width=32)
TRACKERS = st.builds(
    Tracker,
    st.integers(0, 0xFFFF),
    st.tuples(FINITE, FINITE, FINITE),
    st.none() | st.tuples(SPEED, SPEED, SPEED).filter(any),
    st.none() | st.floats(0.125, 1, width=32),
    st.none() | st.integers(1, (1 << 64) - 1),
)


@given(
    st.lists(TRACKERS, max_size=80, unique_by=lambda t: t.number), st.integers(1, (1 << 64) - 1), st.integers(0, 255)
)
def test_what_is_built_comes_back(trackers: list[Tracker], time_us: int, frame: int) -> None:
    reader, packets = Reader(), psn.data(trackers, time_us, frame)
    heard = [point for octets in packets for point in reader.take(octets, FROM, 0.0)]
    assert [(p.name, p.place, p.velocity) for p in heard] == [(str(t.number), t.place, t.speed) for t in trackers]
    assert [p.sampled_us for p in heard] == [t.timestamp_us or time_us for t in trackers]
    assert {parse(octets).header.packets for octets in packets} == {len(packets)}


@given(st.binary(max_size=300))
def test_any_octets_raise_nothing_but_a_psn_error(junk: bytes) -> None:
    for octets in (junk, b"\x55\x67" + junk, packet(junk), packet(chunk(1, junk)), packet(chunk(2, junk), kind=0x6756)):
        with contextlib.suppress(PsnError):
            parse(octets)


def test_flipped_bits_never_raise_and_never_give_a_place_that_cannot_be() -> None:
    """Every single bit, then 20 000 handfuls of them."""
    rng = random.Random(20261126)
    good = sent(0, LEAD, Tracker(8, (0.0, -3.0, 1.0), (1.0, 0.0, 0.0), 1.0, 77))
    flips = [[bit] for bit in range(8 * len(good))]
    flips += [rng.sample(range(8 * len(good)), rng.randrange(2, 9)) for _ in range(20_000)]
    reader = Reader()
    for number, bits in enumerate(flips):
        octets = bytearray(good)
        for bit in bits:
            octets[bit // 8] ^= 1 << bit % 8
        for point in reader.take(bytes(octets), FROM, number * 2.0):
            assert all(abs(n) <= 1e4 for n in point.place)
            assert all(abs(n) <= 1e3 for n in point.velocity or ())
    assert sum(reader.counters.values()) == len(flips)
