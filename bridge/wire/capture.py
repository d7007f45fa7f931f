"""The recorder's captures: what came in, what went out and our own events, as pcapng that every packet analyser reads.

A section has two interfaces. "network" holds the datagrams as IP packets (LINKTYPE_RAW), each with its direction.
"events" holds JSON objects (LINKTYPE_USER0), opaque here but for three:

    {"capture": 1, "wall_minus_clock_us": N, ...}   opens every section. A packet's time in the file is UTC: the clock
                                                    that the program ran by, in whole microseconds, plus N
    {"lost": n}                                     here n entries could not be kept
    {"part": k, "of": n, "text": "..."}             an event too long for one packet: its texts in a row are its JSON

Link types: www.tcpdump.org/linktypes.html (from memory).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, NamedTuple

from bridge.errors import CaptureError
from bridge.wire import pcapng, udp
from bridge.wire.pcapng import Direction, Packet, Readable, Section, Truncated
from bridge.wire.udp import Address

VERSION = 1
MAX_EVENT = 1 << 26
"""Octets of all packets of one event that was split."""
RAW, USER0 = 101, 147

_NETWORK, _EVENTS = 0, 1
_KINDS = {(RAW, "network"): _NETWORK, (USER0, "events"): _EVENTS}
_PART = 40_000  # octets, of which JSON may make six each: below pcapng.MAX_PACKET whatever they are
_SHOWN = 60
_PART_BEGINS = b'{"part":'


class Opening(NamedTuple):
    """A section begins. `fields` is the whole event."""

    at_us: int
    wall_minus_clock_us: int
    fields: dict[str, Any]


class Datagram(NamedTuple):
    """One UDP datagram, `at_us` on the program's clock."""

    at_us: int
    inbound: bool
    source: Address
    destination: Address
    payload: bytes


class Event(NamedTuple):
    """One event of our own: a JSON object, not looked into."""

    at_us: int
    payload: bytes


def opening(at_us: int, wall_minus_clock_us: int, program: str, **fields: Any) -> bytes:
    """The beginning of a file: section header, both interfaces, and the event that gives the clock."""
    event = {"capture": VERSION, "wall_minus_clock_us": wall_minus_clock_us, "program": program, **fields}
    comment = (
        "Network: datagrams in and out. Events: JSON. Times are UTC; the first event says how to get the clock back."
    )
    return b"".join(
        (
            pcapng.section(program, comment),
            pcapng.interface(RAW, "network", "UDP datagrams that came in and went out"),
            pcapng.interface(USER0, "events", "events of the program, one JSON object each"),
            pcapng.packet(_EVENTS, at_us + wall_minus_clock_us, json.dumps(event).encode()),
        )
    )


def lost(at_us: int, count: int) -> Event:
    """The event that says that entries could not be kept."""
    return Event(at_us, b'{"lost": %d}' % count)


def blocks(entry: Datagram | Event, wall_minus_clock_us: int) -> Iterator[bytes]:
    """The blocks of one entry: one, but for a long event. ValueError for a datagram that cannot be."""
    wall_us = entry.at_us + wall_minus_clock_us
    if isinstance(entry, Datagram):
        direction = Direction.INBOUND if entry.inbound else Direction.OUTBOUND
        yield pcapng.packet(_NETWORK, wall_us, udp.packet(entry.source, entry.destination, entry.payload), direction)
    elif len(entry.payload) <= pcapng.MAX_PACKET and not entry.payload.startswith(_PART_BEGINS):
        yield pcapng.packet(_EVENTS, wall_us, entry.payload)
    else:
        for part in _parts(entry.payload):
            yield pcapng.packet(_EVENTS, wall_us, part)


def _parts(octets: bytes) -> Iterator[bytes]:
    """A character that is cut in two becomes surrogates in both texts, and itself again when they are joined."""
    starts = range(0, len(octets), _PART)
    for number, at in enumerate(starts, 1):
        text = octets[at : at + _PART].decode("utf-8", "surrogateescape")
        yield json.dumps({"part": number, "of": len(starts), "text": text}).encode()


def read(file: Readable) -> Iterator[Opening | Datagram | Event | Truncated]:
    """Every entry of a capture in order; sections and interfaces of other programs are passed over.

    Raises CaptureError where the file is broken or was not written by us; what came before was right.
    """
    return _Reader().entries(file)


class _Reader:
    """Turns packets into entries; holds the clock of the section and the parts of an event that is not whole yet."""

    def __init__(self) -> None:
        self._offset_us: int | None = None
        self._parts: list[bytes] = []
        self._parts_size = 0

    def entries(self, file: Readable) -> Iterator[Opening | Datagram | Event | Truncated]:
        block: Section | Packet | Truncated | None = None
        for block in pcapng.read_blocks(file):
            if isinstance(block, Truncated):
                yield block
            elif isinstance(block, Section):
                self._offset_us, self._parts, self._parts_size = None, [], 0
            else:
                entry = self._entry(block)
                if entry is not None:
                    yield entry
        if self._parts and block is not None and not isinstance(block, Truncated):
            yield Truncated(block.offset)  # stopped between two parts of an event

    def _entry(self, packet: Packet) -> Opening | Datagram | Event | None:
        interface = packet.interface
        kind = _KINDS.get((interface.link_type, interface.name))
        if kind is None:
            return None
        if (interface.resolution, interface.offset_s) != (pcapng.MICROSECONDS, 0):
            found = f"if_tsresol {interface.resolution}, if_tsoffset {interface.offset_s}"
            raise CaptureError(packet.offset, "times in microseconds (if_tsresol 6, if_tsoffset 0)", found)
        if self._offset_us is None:
            return self._opening(packet, kind)
        at_us = packet.stamp - self._offset_us
        if kind == _EVENTS:
            return self._event(at_us, packet)
        try:
            source, destination, payload = udp.parse(packet.octets)
        except ValueError as error:
            raise CaptureError(packet.offset, "a UDP datagram", str(error)) from None
        if packet.direction not in (Direction.INBOUND, Direction.OUTBOUND):
            raise CaptureError(packet.offset, "a direction in epb_flags (1 or 2)", str(packet.direction))
        return Datagram(at_us, packet.direction == Direction.INBOUND, source, destination, payload)

    def _opening(self, packet: Packet, kind: int) -> Opening:
        fields = _json(packet) if kind == _EVENTS else {}
        shift_us = fields.get("wall_minus_clock_us")
        if fields.get("capture") != VERSION or type(shift_us) is not int or abs(shift_us) >= 1 << 64:
            expected = f'the event {{"capture": {VERSION}, "wall_minus_clock_us": N}} first'
            found = repr(packet.octets[:_SHOWN]) if kind == _EVENTS else "a datagram"
            raise CaptureError(packet.offset, expected, f"{found}; is it a capture of `tetherlight run`, and whole?")
        self._offset_us = shift_us
        return Opening(packet.stamp - shift_us, shift_us, fields)

    def _event(self, at_us: int, packet: Packet) -> Event | None:
        if packet.octets.startswith(_PART_BEGINS):
            return self._part(at_us, packet)
        if self._parts:
            raise CaptureError(packet.offset, f"part {len(self._parts) + 1} of an event", repr(packet.octets[:_SHOWN]))
        return Event(at_us, packet.octets)

    def _part(self, at_us: int, packet: Packet) -> Event | None:
        """The whole event with its last part, None before."""
        fields, number = _json(packet), len(self._parts) + 1
        try:
            octets = fields["text"].encode("utf-8", "surrogateescape")
        except (KeyError, AttributeError, UnicodeError):
            octets = None
        if octets is None or fields["part"] != number:
            raise CaptureError(packet.offset, f"part {number} of an event", repr(packet.octets[:_SHOWN]))
        self._parts.append(octets)
        self._parts_size += len(packet.octets)
        if self._parts_size > MAX_EVENT:
            raise CaptureError(packet.offset, f"an event of at most {MAX_EVENT} octets", "a longer one")
        if fields.get("of") != number:
            return None
        whole, self._parts, self._parts_size = b"".join(self._parts), [], 0
        return Event(at_us, whole)


def _json(packet: Packet) -> dict[str, Any]:
    try:
        found = json.loads(packet.octets)
    except (ValueError, RecursionError) as error:
        raise CaptureError(packet.offset, "a JSON object", f"{packet.octets[:_SHOWN]!r} ({error})") from None
    if not isinstance(found, dict):
        raise CaptureError(packet.offset, "a JSON object", repr(packet.octets[:_SHOWN]))
    return found
