"""Captures: entries come back with the exact microsecond of the program's clock, and long events whole."""

from __future__ import annotations

import contextlib
import io
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import CaptureError
from bridge.wire import capture, pcapng
from bridge.wire.capture import Datagram, Event, Opening
from bridge.wire.pcapng import Direction, Truncated

SHIFT_US = 1_700_000_000_000_000
HERE, THERE = ("10.0.0.1", 9000), ("10.0.0.2", 50000)
LONG = Event(9, json.dumps({"state": ["\U0001f600é\0" * 50_000]}, ensure_ascii=False).encode())
OPENING = capture.opening(7, SHIFT_US, "tetherlight 0", name="x")


def written(*entries: Datagram | Event) -> bytes:
    return OPENING + b"".join(block for entry in entries for block in capture.blocks(entry, SHIFT_US))


def entries(octets: bytes) -> list[Any]:
    return list(capture.read(io.BytesIO(octets)))


ALL = [
    Datagram(123_456_789, True, THERE, HERE, b"/x\0\0"),
    Event(123_456_790, b'{"tick": 1}'),
    Datagram(123_456_791, False, HERE, ("239.255.0.1", 5568), bytes(638)),
    Datagram(123_456_792, True, ("fe80::7", 3), ("::1", 9000), b""),
    capture.lost(123_456_793, 5),
]


def test_entries_come_back_with_their_microsecond() -> None:
    first, *others = entries(written(*ALL))
    assert first == Opening(7, SHIFT_US, first.fields)
    assert first.fields == {"capture": 1, "wall_minus_clock_us": SHIFT_US, "program": "tetherlight 0", "name": "x"}
    assert others == ALL
    assert json.loads(others[-1].payload) == {"lost": 5}


@pytest.mark.parametrize(
    "payload",
    [LONG.payload, b"[" + b"\xc3\xa9\xff" * 100_001 + b"]", b'{"part": 1}', b'{"part":2,"of":1}', b"x" * 262_145, b""],
)
def test_an_event_of_any_length_comes_back_octet_by_octet(payload: bytes) -> None:
    octets = written(Event(9, payload), ALL[0])
    assert entries(octets)[1:] == [Event(9, payload), ALL[0]]
    assert max(len(p.octets) for p in pcapng.read_blocks(io.BytesIO(octets)) if isinstance(p, pcapng.Packet)) <= 262_144


def test_other_peoples_interfaces_are_passed_over() -> None:
    foreign = pcapng.interface(101, "eth0", "") + pcapng.packet(2, 5, b"\xff\xff", Direction.INBOUND)
    octets = written(ALL[0])
    assert entries(OPENING + foreign + octets[len(OPENING) :]) == entries(octets)


def test_captures_in_a_row_are_one() -> None:
    again = capture.opening(8, 0, "tetherlight 0")
    assert [e.at_us for e in entries(written(ALL[0]) + again)] == [7, 123_456_789, 8]


def test_a_stop_between_two_parts_of_an_event_is_a_cut() -> None:
    octets = written(LONG)
    last = [b.offset for b in pcapng.read_blocks(io.BytesIO(octets))][-1]
    cut = octets[:last]
    assert isinstance(entries(cut)[-1], Truncated)
    assert len(entries(cut)) == 2
    assert entries(cut + b"\0")[1:] == [Truncated(last)]


def of(number: int, octets: bytes, direction: Direction = Direction.UNKNOWN) -> bytes:
    return pcapng.packet(number, SHIFT_US + 9, octets, direction)


HEADS = pcapng.section("x", "") + pcapng.interface(101, "network", "") + pcapng.interface(147, "events", "")
NANO = HEADS.replace(b"\x09\0\x01\0\x06", b"\x09\0\x01\0\x09")
BROKEN = {
    "no opening": (HEADS + of(1, b'{"tick": 1}'), "wall_minus_clock_us"),
    "a datagram before the opening": (HEADS + of(0, b"", Direction.INBOUND), "a datagram"),
    "an opening of another version": (HEADS + of(1, b'{"capture": 2, "wall_minus_clock_us": 1}'), '"capture": 1'),
    "an opening without a clock": (HEADS + of(1, b'{"capture": 1, "wall_minus_clock_us": 1.5}'), "1.5"),
    "an opening that is no JSON": (HEADS + of(1, b"{"), "a JSON object"),
    "an opening that is no object": (HEADS + of(1, b"[1]"), "a JSON object"),
    "an opening too deep": (HEADS + of(1, b"[" * 100_000), "a JSON object"),
    "an opening of huge numbers": (HEADS + of(1, b'{"capture": 1, "wall_minus_clock_us": 1' + b"0" * 999 + b"}"), ""),
    "nanoseconds": (NANO + of(1, b"{}"), "if_tsresol 9"),
    "no datagram": (OPENING + of(0, b"\x45\0", Direction.INBOUND), "UDP"),
    "no direction": (written(ALL[0]).replace(b"\2\0\4\0\1\0\0\0", b"\2\0\4\0\0\0\0\0"), "direction"),
    "part 2 first": (OPENING + of(1, b'{"part": 2, "of": 2, "text": ""}'), "part 1"),
    "part 1 twice": (OPENING + of(1, b'{"part": 1, "of": 2, "text": ""}') * 2, "part 2"),
    "an event between parts": (OPENING + of(1, b'{"part": 1, "of": 2, "text": ""}') + of(1, b"{}"), "part 2"),
    "a part without text": (OPENING + of(1, b'{"part": 1, "of": 1, "text": 5}'), "part 1"),
    "a part with half a character": (OPENING + of(1, b'{"part": 1, "of": 1, "text": "\\ud800"}'), "part 1"),
}


@pytest.mark.parametrize(("octets", "text"), BROKEN.values(), ids=BROKEN)
def test_what_is_not_ours_is_said(octets: bytes, text: str) -> None:
    with pytest.raises(CaptureError) as caught:
        entries(octets)
    assert text in str(caught.value)
    assert len(str(caught.value)) < 400


def test_parts_without_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(capture, "MAX_EVENT", 100_000)
    with pytest.raises(CaptureError, match="at most 100000"):
        entries(written(LONG))


BASE = written(*ALL, Event(1, b'{"part": 1}'))


@settings(max_examples=1000, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(BASE) - 1), st.binary(max_size=5), st.integers(0, 6)), max_size=4))
def test_a_mutated_capture_raises_nothing_but_its_error(mutations: list[tuple[int, bytes, int]]) -> None:
    octets = BASE
    for at, fresh, gone in mutations:
        octets = octets[:at] + fresh + octets[at + gone :]
    with contextlib.suppress(CaptureError):
        entries(octets)
