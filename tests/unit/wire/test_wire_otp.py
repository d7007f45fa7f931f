"""E1.59's layers: every refusal by its reason, what is no observation, and the way out and back in."""

from __future__ import annotations

import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire import otp_layers as layers
from bridge.wire.otp import Reader
from bridge.wire.otp_send import Sent, module_advertisement, transform
from tests.unit.wire.otp_said import FROM, ONE, PLACE, lengthened, patched, said, word

PLAIN = said(5)  # 140 octets: a position alone
MOVING = said(5, velocity=(1.0, 0.0, 0.0))
POSITION = PLAIN[121:]


def u16(number: int) -> bytes:
    return struct.pack(">H", number)


SHORT_POINT = PLAIN[:79] + bytes.fromhex(  # 20 octets of a first point; its reserved field would begin a second one
    "0001003a010000000000989680800000000000010010640001000000070000000000989680000001001464000100000008"
    "00000000009896800000000000"
)
SHORT_POINT = patched(patched(SHORT_POINT, 14, u16(len(SHORT_POINT) - 16)), 81, u16(len(SHORT_POINT) - 83))

MALFORMED = {
    "shorter than its length": ("length", PLAIN[:-1]),
    "longer than its length": ("length", PLAIN + b"\0"),
    "root length too small": ("length", patched(PLAIN, 14, u16(123))),
    "root length within its own layer": ("length", patched(PLAIN[:79], 14, u16(62) + b"\0\1")),
    "a footer that is not there": ("length", patched(PLAIN, 17, b"\1")),
    "larger than a message may be": ("length", lengthened(PLAIN, struct.pack(">HHH", 9, 1329, 1) + bytes(1327))),
    "no transform layer": ("length", patched(PLAIN[:79], 14, u16(63))),
    "part of a transform layer": ("length", patched(PLAIN[:96], 14, u16(80))),
    "page after the last": ("page", patched(PLAIN, 38, b"\0\1\0\0")),
    "transform vector": ("vector", patched(PLAIN, 79, u16(2))),
    "transform length short": ("length", patched(PLAIN, 81, u16(56))),
    "transform length long": ("length", patched(PLAIN, 81, u16(58))),
    "system 0": ("range", patched(PLAIN, 83, b"\0")),
    "system 201": ("range", patched(PLAIN, 83, b"\xc9")),
    "point vector": ("vector", patched(PLAIN, 97, u16(0))),
    "point longer than its set": ("length", patched(PLAIN, 99, u16(40))),
    "point shorter than its layer": ("length", patched(PLAIN, 99, u16(19))),
    "point ends within a module": ("length", patched(PLAIN, 99, u16(38))),
    "octets after the last point": ("length", patched(PLAIN, 99, u16(20))),
    "priority 201": ("range", patched(PLAIN, 101, b"\xc9")),
    "group 0": ("range", patched(PLAIN, 102, u16(0))),
    "group 60001": ("range", patched(PLAIN, 102, u16(60_001))),
    "module longer than its point": ("length", patched(PLAIN, 123, u16(16))),
    "point that ends within its own layer": ("length", SHORT_POINT),
    "no length of a module that we do not know": ("length", lengthened(PLAIN, bytes.fromhex("00090000000900020001"))),
    "advertisement that ends within the first layer": ("length", patched(PLAIN[:79], 12, b"\0\2\0\x3e\0\1")),
    "module without a number": ("length", patched(PLAIN, 123, u16(1))),
    "position too short": ("length", patched(PLAIN, 123, u16(14))),
    "position too long": ("length", patched(lengthened(PLAIN, b"\0"), 123, u16(16))),
    "velocity too short": ("length", patched(lengthened(MOVING, bytes(6)), 142, u16(32))),
    "two positions": ("twice", lengthened(PLAIN, POSITION)),
    "two velocities": ("twice", lengthened(MOVING, MOVING[140:])),
    "octets after the last module": ("length", lengthened(PLAIN, bytes(5))),
}


@pytest.mark.parametrize(("reason", "packet"), MALFORMED.values(), ids=MALFORMED)
def test_what_is_malformed_gives_nothing_and_says_why(reason: str, packet: bytes) -> None:
    reader = Reader(1)
    assert word(reader, packet) == "malformed"
    assert dict(reader.refusals) == {reason: 1}
    assert any(digit in reader.last_refusal for digit in "0123456789"), "the sentence has what was found"
    assert reader.points(0.0) == []
    assert word(reader, PLAIN) == "taken", "and harms nothing that comes after it"


@pytest.mark.parametrize("packet", [b"", PLAIN[:78], b"x" + PLAIN[1:], patched(PLAIN, 11, b"x")])
def test_other_protocols_are_told_apart(packet: bytes) -> None:
    assert word(Reader(1), packet) == "not-otp"


def test_one_bad_point_refuses_its_whole_message() -> None:
    (packet,) = transform(ONE, "x", 1, 0, 0, [Sent(1, 1, PLACE), Sent(1, 2, PLACE)])
    reader = Reader(1)
    assert word(reader, patched(packet, 97 + 43 + 4, b"\xff")) == "malformed"
    assert reader.points(0.0) == []


def test_what_is_no_observation_has_its_own_word() -> None:
    reader = Reader(1)
    assert word(reader, said(0, system=2)) == "other-system"
    assert word(reader, module_advertisement(ONE, "x", 0)) == "not-data"
    assert word(reader, patched(PLAIN, 12, u16(3))) == "not-data"
    assert word(reader, transform(ONE, "x", 1, 1, 0, [])[0]) == "empty"
    assert word(reader, said(2, None, velocity=(1.0, 0.0, 0.0))) == "no-position"
    assert reader.points(0.0) == []
    assert reader.refusals.total() == 0


def test_modules_of_other_manufacturers_and_numbers_are_skipped() -> None:
    others = bytes.fromhex("0009001a0002") + bytes(24) + bytes.fromhex("000900030001ff000000020063")
    (point,) = Reader(1).take(lengthened(PLAIN, others), FROM, 0.0)
    assert (point.place, point.velocity) == (PLACE, None)


def test_a_point_without_a_place_hides_no_other() -> None:
    points = [Sent(1, 1, None), Sent(1, 2, PLACE)]
    reader = Reader(1)
    assert [point.name for point in reader.take(transform(ONE, "x", 1, 0, 0, points)[0], FROM, 0.0)] == ["1/2"]
    assert dict(reader.point_counters) == {"no-position": 1, "taken": 1, "odd-time": 1}


AT_US = 50_000_000
SAMPLED = {
    "with the message": (AT_US, AT_US),
    "as long ago as a loss": (AT_US - 7_500_000, AT_US - 7_500_000),
    "longer ago": (AT_US - 7_500_001, None),
    "a little after its message": (AT_US + 50_000, AT_US + 50_000),
    "after its message": (AT_US + 50_001, None),
    "not said": (0, None),
    "all ones": (2**64 - 1, None),
}


@pytest.mark.parametrize(("sampled_us", "expected"), SAMPLED.values(), ids=SAMPLED)
def test_sample_times_beside_their_messages(sampled_us: int, expected: int | None) -> None:
    reader = Reader(1)
    (point,) = reader.take(said(0, timestamp_us=AT_US, sampled_us=sampled_us), FROM, 0.0)
    assert point.sampled_us == expected
    assert reader.point_counters["odd-time"] == (expected is None)


def test_names_are_harmless_on_a_terminal() -> None:
    reader = Reader(1)
    reader.take(patched(PLAIN, 47, b"a\x1b[2J\xff\xc3\xa9\0zz"), FROM, 0.0)
    assert reader.points(0.0)[0].producer == "a\N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}é"


def test_pages_are_full_and_whole() -> None:
    points = [Sent(1, number, PLACE, (0.0, 0.0, 1.0)) for number in range(40)]
    pages = transform(ONE, "x", 1, 9, 1_000_000, points)
    assert [len(page) for page in pages] == [97 + 18 * 73, 97 + 18 * 73, 97 + 4 * 73]
    assert max(len(page) for page in pages) <= 1472 < 97 + 19 * 73
    reader = Reader(1)
    assert [point.name for page in pages for point in reader.take(page, FROM, 0.0)] == [f"1/{n}" for n in range(40)]
    heads = [layers.open_message(page) for page in pages]
    assert [(head.folio, head.page, head.last_page) for head in heads if head] == [(9, 0, 2), (9, 1, 2), (9, 2, 2)]


REFUSED_TO_SEND = {
    "system": lambda: transform(ONE, "x", 201, 0, 0, []),
    "CID": lambda: transform(b"short", "x", 1, 0, 0, []),
    "group": lambda: said(0, group=0),
    "priority": lambda: said(0, priority=201),
    "far away": lambda: said(0, (2148.0, 0.0, 0.0)),
    "no number": lambda: said(0, (math.nan, 0.0, 0.0)),
    "too fast": lambda: said(0, velocity=(math.inf, 0.0, 0.0)),
}


@pytest.mark.parametrize("build", REFUSED_TO_SEND.values(), ids=REFUSED_TO_SEND)
def test_what_cannot_be_sent_is_said(build: object) -> None:
    with pytest.raises(ValueError, match=r"expected|out of range"):
        build()  # type: ignore[operator]


def test_long_names_are_cut_between_letters() -> None:
    (packet,) = transform(ONE, "é" * 15 + "x" + "é", 1, 0, 0, [])
    assert packet[47:79] == ("é" * 15 + "x").encode() + b"\0"


metres = st.floats(-2147.0, 2147.0)
triples = st.tuples(metres, metres, metres)
sent = st.builds(
    Sent,
    st.integers(1, 60_000), st.integers(0, 2**32 - 1), triples, st.none() | triples, st.none(),
    st.integers(0, 200), st.integers(42_500_000, 50_000_000), st.booleans(),
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(sent, max_size=60, unique_by=lambda one: (one.group, one.point)), st.integers(0, 2**32 - 1))
def test_what_is_sent_comes_back(points: list[Sent], folio: int) -> None:
    reader = Reader(7)
    pages = transform(ONE, "tags", 7, folio, 50_000_000, points)
    heard = [point for page in pages for point in reader.take(page, FROM, 0.0)]
    assert [point.name for point in heard] == [f"{one.group}/{one.point}" for one in points]
    for one, point in zip(points, heard, strict=True):
        assert point.place == pytest.approx(one.place, abs=0.501e-3 if one.millimetres else 0.501e-6)
        assert point.sampled_us == one.sampled_us
        assert (point.velocity is None) == (one.velocity is None)
        assert one.velocity is None or point.velocity == pytest.approx(one.velocity, abs=0.501e-6)
    assert [row.priority for row in reader.points(0.0)] == [
        one.priority for one in sorted(points, key=lambda one: (one.group, one.point))
    ]


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_no_cut_and_no_turned_bit_raises_or_gives_what_is_no_place(data: st.DataObject) -> None:
    octets = bytearray(data.draw(st.sampled_from([PLAIN, MOVING, said(5, millimetres=True)])))
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, 8 * len(octets) - 1))
        octets[at // 8] ^= 1 << at % 8
    cut = data.draw(st.just(len(octets)) | st.integers(0, len(octets)))
    for point in Reader(1).take(bytes(octets[:cut]), FROM, 0.0):
        assert cut == len(octets)
        assert all(math.isfinite(value) and abs(value) <= 2**31 / 1e3 for value in point.place)
        assert point.velocity is None or all(abs(value) <= 2**31 / 1e6 for value in point.velocity)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=1500), st.booleans())
def test_no_octets_raise(junk: bytes, known: bool) -> None:
    assert Reader(1).take(PLAIN[:16] + junk if known else junk, FROM, 0.0) == []
