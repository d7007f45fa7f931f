"""pcapng blocks: what is written comes back, whatever is broken is said with its place, nothing else is ever raised."""

from __future__ import annotations

import io
import struct
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import CaptureError
from bridge.wire import pcapng
from bridge.wire.pcapng import Direction, Packet, Section, Truncated, read_blocks

HEAD = pcapng.section("tetherlight 0", "a comment")
LINK = pcapng.interface(101, "network", "what came and went")
ONE = pcapng.packet(0, 1_700_000_000_123_456, b"hello", Direction.INBOUND)
WHOLE = HEAD + LINK + ONE + pcapng.packet(0, 5, b"", Direction.OUTBOUND) + pcapng.packet(0, 2**64 - 1, b"1234")


def blocks(octets: bytes) -> list[Section | Packet | Truncated]:
    return list(read_blocks(io.BytesIO(octets)))


def packets(octets: bytes) -> list[Packet]:
    return [block for block in blocks(octets) if isinstance(block, Packet)]


def fault(octets: bytes) -> CaptureError | None:
    try:
        blocks(octets)
    except CaptureError as error:
        return error
    return None


def put(octets: bytes, at: int, fresh: bytes) -> bytes:
    return octets[:at] + fresh + octets[at + len(fresh) :]


def block(kind: int, body: bytes, order: str = "<") -> bytes:
    total = struct.pack(order + "I", 12 + len(body))
    return struct.pack(order + "I", kind) + total + body + total


def test_what_was_written_comes_back() -> None:
    found = packets(WHOLE)
    assert [(p.stamp, p.octets, p.direction) for p in found] == [
        (1_700_000_000_123_456, b"hello", Direction.INBOUND),
        (5, b"", Direction.OUTBOUND),
        (2**64 - 1, b"1234", Direction.UNKNOWN),
    ]
    assert {p.interface for p in found} == {pcapng.Interface(101, "network", 6, 0)}
    assert [WHOLE[p.offset : p.offset + 4] for p in found] == [b"\6\0\0\0"] * 3


@pytest.mark.parametrize("size", range(9))
def test_octets_of_any_length_are_padded_to_four(size: int) -> None:
    octets = bytes(range(1, size + 1))
    for direction in Direction:
        written = pcapng.packet(0, 0, octets, direction)
        assert len(written) % 4 == 0
        assert packets(HEAD + LINK + written + ONE)[0].octets == octets


def test_the_other_byte_order_is_read() -> None:
    name = struct.pack(">HH7sxHH", 2, 7, b"network", 0, 0)
    flags = struct.pack(">HHIHH", 2, 4, 2, 0, 0)
    big = (
        block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1), ">")
        + block(1, struct.pack(">HHI", 101, 0, 0) + name, ">")
        + block(6, struct.pack(">IIIII", 0, 1, 2, 3, 3) + b"abc\0" + flags, ">")
    )
    (found,) = packets(big)
    assert found[1:] == (pcapng.Interface(101, "network", 6, 0), 2**32 + 2, b"abc", Direction.OUTBOUND)
    assert len(packets(big + WHOLE)) == 4, "each section has its own order"


def test_interfaces_are_counted_anew_in_each_section() -> None:
    assert [p.interface.name for p in packets(WHOLE + HEAD + pcapng.interface(147, "events", "") + ONE)] == [
        *["network"] * 3,
        "events",
    ]


@pytest.mark.parametrize("size", [0, 4, 70_000, 2 * pcapng.MAX_BLOCK])
def test_foreign_blocks_are_passed_over(size: int) -> None:
    assert len(packets(HEAD + LINK + block(0x0BAD, bytes(size)) + ONE)) == 1


def test_foreign_options_are_passed_over() -> None:
    options = struct.pack("<HH3sxHHIHH", 1, 3, b"odd", 2, 4, 1, 0, 0)
    written = block(6, struct.pack("<5I", 0, 0, 9, 1, 1) + b"x\0\0\0" + options)
    assert [(p.octets, p.direction) for p in packets(HEAD + LINK + written)] == [(b"x", Direction.INBOUND)]


@pytest.mark.parametrize("cut", range(len(WHOLE)))
def test_a_file_cut_anywhere_gives_what_is_whole_and_says_so(cut: int) -> None:
    found, whole = blocks(WHOLE[:cut]), blocks(WHOLE)
    ends = [len(HEAD), len(HEAD + LINK), len(HEAD + LINK + ONE), *(p.offset for p in packets(WHOLE)[2:])]
    if cut in ends:
        assert found == whole[: len(found)]
        assert found
    else:
        assert found[:-1] == whole[: len(found) - 1]
        assert found[-1] == Truncated(max([0, *(end for end in ends if end < cut)]))


def test_zeros_after_a_power_cut_end_the_file() -> None:
    assert blocks(WHOLE + bytes(4096)) == [*blocks(WHOLE), Truncated(len(WHOLE))]


AT, PACKET = len(HEAD), len(HEAD + LINK)
BROKEN = {
    "not pcapng": (b"\xd4\xc3\xb2\xa1" + WHOLE[4:], 0, "0a 0d 0d 0a"),
    "no byte order": (put(WHOLE, 8, b"\1\2\3\4"), 8, "01 02 03 04"),
    "version": (put(WHOLE, 12, b"\2"), 12, "version 2"),
    "section too short": (put(WHOLE, 4, struct.pack("<I", 24)), 4, "28 to"),
    "length no multiple of four": (put(WHOLE, PACKET + 4, struct.pack("<I", 45)), PACKET + 4, "found 45"),
    "packet block too short": (put(WHOLE, PACKET + 4, struct.pack("<I", 28)), PACKET + 4, "found 28"),
    "packet block too long": (put(WHOLE, PACKET + 4, struct.pack("<I", 1 << 30)), PACKET + 4, f"{1 << 30}"),
    "foreign block too short": (WHOLE + struct.pack("<III", 99, 8, 8), len(WHOLE) + 4, "found 8"),
    "length not repeated": (put(WHOLE, PACKET - 4, b"\0"), PACKET - 4, "again"),
    "more octets than the block": (put(WHOLE, PACKET + 20, b"\xff"), PACKET + 20, "found 255"),
    "unknown interface": (put(WHOLE, PACKET + 8, b"\1"), PACKET + 8, "below 1"),
    "option longer than its block": (put(WHOLE, AT + 18, b"\xff\xff"), AT + 18, "65535"),
    "resolution of two octets": (HEAD + block(1, struct.pack("<HHIHHI", 1, 0, 0, 9, 2, 0)), AT, "tsresol"),
    "too many interfaces": (HEAD + LINK * 1025, AT + 1024 * len(LINK), "1024"),
}


@pytest.mark.parametrize(("octets", "offset", "text"), BROKEN.values(), ids=BROKEN)
def test_what_is_broken_is_said_with_its_place(octets: bytes, offset: int, text: str) -> None:
    with pytest.raises(CaptureError, match=f"^octet {offset}: expected .*, found ") as caught:
        blocks(octets)
    assert text in str(caught.value)
    assert caught.value.offset == offset


MUTATION = st.tuples(st.integers(0, len(WHOLE) - 1), st.binary(min_size=0, max_size=6), st.integers(0, 8))


@settings(max_examples=1500, deadline=None)
@given(st.lists(MUTATION, min_size=1, max_size=5), st.integers(0, len(WHOLE)))
def test_a_mutated_file_raises_nothing_but_its_error(mutations: list[tuple[int, bytes, int]], cut: int) -> None:
    octets = WHOLE
    for at, fresh, gone in mutations:
        octets = octets[:at] + fresh + octets[at + gone :]
    for data in (octets, octets[:cut], HEAD + octets):
        error = fault(data)
        if error is not None:
            assert 0 <= error.offset <= len(data)
            assert len(str(error)) < 400


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200), st.sampled_from([b"", HEAD, HEAD + LINK]))
def test_noise_raises_nothing_but_its_error(noise: bytes, before: bytes) -> None:
    error = fault(before + noise)
    assert error is None or len(str(error)) < 400


class Endless:
    """A file of a head and then zeros for ever."""

    def __init__(self, head: bytes) -> None:
        self.left, self.most = head, 0

    def read(self, count: int, /) -> bytes:
        self.most = max(self.most, count)
        octets, self.left = self.left[:count], self.left[count:]
        return octets + bytes(count - len(octets))


def test_a_length_that_lies_takes_no_memory() -> None:
    """A foreign block of 4 GB is read in pieces; its end is not where it says."""
    file = Endless(HEAD + LINK + struct.pack("<II", 0x0BAD, 0xFFFFFFFC))
    tracemalloc.start()
    with pytest.raises(CaptureError, match="again"):
        list(read_blocks(file))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1 << 20
    assert file.most <= pcapng.MAX_BLOCK
