"""PosiStageNet 2.03: packets to values and back. Octets as in facts/protocols.md; little-endian throughout.

A packet is a chunk of chunks: u32 = id (16 bits), data length (15), has sub-chunks (1). Decisions, each made once here:

- **Lengths are strict**: a chunk that ends beyond its parent, or octets left over, and nothing of the packet is taken.
- Chunks of an unknown id are stepped over, never into: the depth is that of the layout below, whatever is nested.
- A known chunk may be longer than its layout (a later minor version): its beginning is read. A shorter one is refused.
- What a chunk holds follows from its id; the flag for sub-chunks is written and not read.
- Packets of a major version other than 2 are not taken: what their chunks mean is not known here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from bridge.errors import Refused
from bridge.wire.tracked import Place

MAX_DATAGRAM = 8192
"""Octets taken. The standard ends at 1500."""
MAX_PACKET = 1472
"""Octets sent: 1500 less the headers of IPv4 and UDP, so that no packet is cut into fragments."""
VERSION = (2, 3)

_DATA, _INFO = 0x6755, 0x6756
_DATA_V1, _INFO_V1 = 0x6754, 0x503C  # from PyPI pypsn 0.2.3
_HEADER, _DATA_TRACKERS = 0x0000, 0x0001
_SYSTEM_NAME, _INFO_TRACKERS = 0x0001, 0x0002
_PLACE, _SPEED, _VALIDITY, _TIMESTAMP = 0x0000, 0x0001, 0x0003, 0x0006
_NAME = 0x0000
_SUB_CHUNKS, _LENGTH = 0x8000, 0x7FFF

_CHUNK = struct.Struct("<HH")
_head = _CHUNK.unpack_from
_HEADER_DATA = struct.Struct("<QBBBB")  # timestamp us, version high, low, frame, packets in the frame
_VECTOR, _FLOAT, _TIME = struct.Struct("<3f"), struct.Struct("<f"), struct.Struct("<Q")
_FIELDS = {_PLACE: _VECTOR, _SPEED: _VECTOR, _VALIDITY: _FLOAT, _TIMESTAMP: _TIME}


class PsnError(Refused):
    """One datagram is no PosiStageNet packet to be used. Reasons: oversized, not-psn, malformed, other-version."""


class Header(NamedTuple):
    """`timestamp_us`: by the clock of the sender, the same in all packets of a frame; `frame` counts modulo 256."""

    timestamp_us: int
    version: tuple[int, int]
    frame: int
    packets: int


class Tracker(NamedTuple):
    """One tracker: metres, m/s, validity (0: not seen now), us. None where its packet does not say."""

    number: int
    place: Place | None
    speed: Place | None = None
    validity: float | None = None
    timestamp_us: int | None = None


class Data(NamedTuple):
    """Where trackers are: one packet of a frame. The numbers are as sent, not finite ones too."""

    header: Header
    trackers: list[Tracker]


class Info(NamedTuple):
    """What a system (None: not said) and its trackers are called, as sent."""

    header: Header
    system: str | None
    names: dict[int, str]


def parse(packet: bytes) -> Data | Info:
    """One packet. Raises PsnError, and nothing else, on any octets."""
    size = len(packet)
    if size > MAX_DATAGRAM:
        raise PsnError("oversized", f"PosiStageNet packet of {size} octets, at most {MAX_DATAGRAM} are taken")
    if size < _CHUNK.size:
        raise PsnError("not-psn", f"datagram of {size} octets, a PosiStageNet packet has 4 or more")
    kind, length = _CHUNK.unpack_from(packet)
    if kind in (_DATA_V1, _INFO_V1):
        raise PsnError("other-version", "PosiStageNet packet of version 1, expected version 2")
    if kind not in (_DATA, _INFO):
        raise PsnError("not-psn", f"first chunk {kind:#06x}, expected {_DATA:#06x} (data) or {_INFO:#06x} (info)")
    if length & _LENGTH != size - _CHUNK.size:
        raise PsnError("malformed", f"packet says it has {length & _LENGTH} octets of data, found {size - 4}")
    header = _header(packet)
    return _data(packet, header) if kind == _DATA else _info(packet, header)


def _chunks(packet: bytes, at: int, end: int) -> list[tuple[int, int, int]]:
    """(id, first octet, end) of the chunks that fill `at` to `end` exactly."""
    found = []
    while at + 4 <= end:
        kind, length = _head(packet, at)
        first = at + 4
        at = first + (length & _LENGTH)
        found.append((kind, first, at))
    if at != end:
        what = "goes past the end of its parent" if at > end else "leaves octets that are no chunk"
        raise PsnError("malformed", f"the last chunk ends at octet {at} and {what}, which ends at octet {end}")
    return found


def _header(packet: bytes) -> Header:
    for kind, first, end in _chunks(packet, _CHUNK.size, len(packet)):
        if kind == _HEADER:
            if end - first < _HEADER_DATA.size:
                raise PsnError("malformed", f"header of {end - first} octets, expected {_HEADER_DATA.size} or more")
            timestamp_us, high, low, frame, packets = _HEADER_DATA.unpack_from(packet, first)
            if high != VERSION[0]:
                raise PsnError("other-version", f"PosiStageNet version {high}.{low}, expected 2.x")
            return Header(timestamp_us, (high, low), frame, packets)
    raise PsnError("malformed", "packet without a header chunk")


def _data(packet: bytes, header: Header) -> Data:
    trackers = []
    for kind, first, end in _chunks(packet, _CHUNK.size, len(packet)):
        if kind == _DATA_TRACKERS:
            trackers += [_tracker(packet, *chunk) for chunk in _chunks(packet, first, end)]
    return Data(header, trackers)


def _tracker(packet: bytes, number: int, at: int, end: int) -> Tracker:
    place = speed = validity = timestamp_us = None
    for kind, first, last in _chunks(packet, at, end):
        layout = _FIELDS.get(kind)
        if layout is None:
            continue
        if last - first < layout.size:
            raise PsnError("malformed", f"chunk {kind} of tracker {number}: {last - first} octets, not {layout.size}")
        if kind == _PLACE:
            place = layout.unpack_from(packet, first)
        elif kind == _SPEED:
            speed = layout.unpack_from(packet, first)
        elif kind == _VALIDITY:
            (validity,) = layout.unpack_from(packet, first)
        else:
            (timestamp_us,) = layout.unpack_from(packet, first)
    return Tracker(number, place, speed, validity, timestamp_us)


def _info(packet: bytes, header: Header) -> Info:
    system, names = None, {}
    for kind, first, end in _chunks(packet, _CHUNK.size, len(packet)):
        if kind == _SYSTEM_NAME:
            system = packet[first:end].decode("utf-8", "replace")
        elif kind == _INFO_TRACKERS:
            for number, at, last in _chunks(packet, first, end):
                for what, begin, close in _chunks(packet, at, last):
                    if what == _NAME:
                        names[number] = packet[begin:close].decode("utf-8", "replace")
    return Info(header, system, names)


def data(trackers: Sequence[Tracker], timestamp_us: int, frame: int = 0) -> list[bytes]:
    """One frame of data, in as many packets of at most MAX_PACKET octets as it needs.

    Raises ValueError for what the layout cannot carry (struct.error for a number out of its range).
    """
    return _packets(_DATA, b"", _DATA_TRACKERS, [_tracker_chunk(tracker) for tracker in trackers], timestamp_us, frame)


def info(system: str, names: Mapping[int, str], timestamp_us: int, frame: int = 0) -> list[bytes]:
    """The names of a system and its trackers, split as `data` is; each packet carries the system's name."""
    called = [_chunk(number, _chunk(_NAME, name.encode()), True) for number, name in names.items()]
    return _packets(_INFO, _chunk(_SYSTEM_NAME, system.encode()), _INFO_TRACKERS, called, timestamp_us, frame)


def _tracker_chunk(tracker: Tracker) -> bytes:
    fields = []
    if tracker.place is not None:
        fields.append(_chunk(_PLACE, _VECTOR.pack(*tracker.place)))
    if tracker.speed is not None:
        fields.append(_chunk(_SPEED, _VECTOR.pack(*tracker.speed)))
    if tracker.validity is not None:
        fields.append(_chunk(_VALIDITY, _FLOAT.pack(tracker.validity)))
    if tracker.timestamp_us is not None:
        fields.append(_chunk(_TIMESTAMP, _TIME.pack(tracker.timestamp_us)))
    return _chunk(tracker.number, b"".join(fields), True)


def _chunk(kind: int, octets: bytes, sub_chunks: bool = False) -> bytes:
    if len(octets) > _LENGTH:
        raise ValueError(f"chunk {kind:#06x} of {len(octets)} octets, at most {_LENGTH}")
    return _CHUNK.pack(kind, len(octets) | (_SUB_CHUNKS if sub_chunks else 0)) + octets


def _packets(
    kind: int, between: bytes, list_kind: int, members: Iterable[bytes], timestamp_us: int, frame: int
) -> list[bytes]:
    """Root chunk: header, `between`, then a list with as many of the members as fit; an empty list too is a packet."""
    room = MAX_PACKET - 3 * _CHUNK.size - _HEADER_DATA.size - len(between)
    lists, left = [b""], room
    for member in members:
        if len(member) > left:
            lists, left = [*lists, b""], room
        if len(member) > room:
            raise ValueError(f"{len(member)} octets for one tracker, at most {room} fit a packet")
        lists[-1] += member
        left -= len(member)
    if len(lists) > 255:
        raise ValueError(f"{len(lists)} packets in a frame, at most 255")
    header = _chunk(_HEADER, _HEADER_DATA.pack(timestamp_us, *VERSION, frame % 256, len(lists)))
    return [_chunk(kind, header + between + _chunk(list_kind, held, True), True) for held in lists]
