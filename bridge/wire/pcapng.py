"""pcapng blocks to bytes and back: the file format of packet analysers, as much of it as a capture of ours needs.

Source: IETF draft-ietf-opsawg-pcapng, "PCAP Now Generic (pcapng) Capture File Format" (from memory). A file is a row of
blocks: type, total length, body padded to 32 bits, total length again. A section header opens a section and tells its
byte order; interface blocks say what the packets that follow are. Written by hand: four structs do it, where the
libraries of the registry build an object per option and trust lengths that they have not checked.

Writing is little-endian, with times in microseconds. Reading takes both byte orders, passes over every block and option
that it does not need, and holds at most one block of `MAX_BLOCK` octets in memory.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from enum import IntEnum
from typing import NamedTuple, Protocol

from bridge.errors import CaptureError

MAX_PACKET = 262_144
"""Octets. Wireshark takes no longer packet, whatever the snap length says (WTAP_MAX_PACKET_SIZE_STANDARD)."""
MAX_BLOCK = 1 << 20
"""Octets of a block that is read; blocks that are passed over may be longer."""
MAX_INTERFACES = 1024
MAX_NAME = 64
MICROSECONDS = 6
"""`if_tsresol`: times are counted in units of 10 to the minus this."""

_SECTION, _INTERFACE, _PACKET = 0x0A0D0D0A, 0x00000001, 0x00000006
_MAGIC = 0x1A2B3C4D
_SECTION_TYPE = b"\x0a\x0d\x0d\x0a"  # the same in both byte orders
_ORDERS = {b"\x4d\x3c\x2b\x1a": "<", b"\x1a\x2b\x3c\x4d": ">"}
_END, _COMMENT, _APPLICATION = 0, 1, 4
_NAME, _DESCRIPTION, _RESOLUTION, _OFFSET = 2, 3, 9, 14
_FLAGS = 2
_LEAST = {_SECTION: 28, _INTERFACE: 20, _PACKET: 32}
_SKIP = 1 << 16

_PACKET_HEAD = struct.Struct("<7I")  # type, total length, interface, time high, time low, captured, original length
_LENGTH = struct.Struct("<I")


class Direction(IntEnum):
    """The lowest two bits of `epb_flags`."""

    UNKNOWN = 0
    INBOUND = 1
    OUTBOUND = 2


class Interface(NamedTuple):
    """Where packets came from: `resolution` is the octet of `if_tsresol`, `offset_s` that of `if_tsoffset`."""

    link_type: int
    name: str
    resolution: int
    offset_s: int


class Section(NamedTuple):
    """A section begins: interfaces are counted from 0 again."""

    offset: int


class Packet(NamedTuple):
    """One packet. `stamp` counts units of its interface's resolution; `offset` is where its block lies in the file."""

    offset: int
    interface: Interface
    stamp: int
    octets: bytes
    direction: int


class Truncated(NamedTuple):
    """The file ends within the block at `offset`: its writer was stopped. Nothing follows."""

    offset: int


class Readable(Protocol):
    """A buffered binary file: `read` gives fewer octets than asked for only at the end."""

    def read(self, count: int, /) -> bytes: ...


def section(application: str, comment: str) -> bytes:
    """Section Header Block, version 1.0, of unknown length (-1)."""
    options = _option(_APPLICATION, application.encode()) + _option(_COMMENT, comment.encode()) + _option(_END, b"")
    return _block(_SECTION, struct.pack("<IHHq", _MAGIC, 1, 0, -1) + options)


def interface(link_type: int, name: str, description: str) -> bytes:
    """Interface Description Block without a snap length (0); the n-th of a section is interface n-1 of `packet`."""
    options = (
        _option(_NAME, name.encode())
        + _option(_DESCRIPTION, description.encode())
        + _option(_RESOLUTION, bytes([MICROSECONDS]))
        + _option(_END, b"")
    )
    return _block(_INTERFACE, struct.pack("<HHI", link_type, 0, 0) + options)


def packet(number: int, wall_us: int, octets: bytes, direction: Direction = Direction.UNKNOWN) -> bytes:
    """Enhanced Packet Block on interface `number`; `wall_us` is UTC since 1970, 0 to 2**64 - 1."""
    size = len(octets)
    tail = _TAILS[direction][-size & 3]
    total = 32 + size + len(tail)
    head = _PACKET_HEAD.pack(_PACKET, total, number, wall_us >> 32, wall_us & 0xFFFFFFFF, size, size)
    return b"".join((head, octets, tail, _LENGTH.pack(total)))


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("<HH", code, len(value)) + value + bytes(-len(value) & 3)


def _block(kind: int, body: bytes) -> bytes:
    total = struct.pack("<I", 12 + len(body))
    return struct.pack("<I", kind) + total + body + total


def _tails(direction: Direction) -> tuple[bytes, ...]:
    """What follows the octets of a packet, by the padding that it needs: the padding, then options if any."""
    options = b"" if direction is Direction.UNKNOWN else _option(_FLAGS, struct.pack("<I", direction))
    return tuple(bytes(padding) + options + (_option(_END, b"") if options else b"") for padding in range(4))


_TAILS = tuple(_tails(direction) for direction in Direction)


class _EndOfFile(Exception):
    """The file ends within a block."""


def read_blocks(file: Readable) -> Iterator[Section | Packet | Truncated]:
    """Every section and packet of a capture in turn, then Truncated if the last block is not whole.

    Raises CaptureError where the file is not pcapng; what came before was right.
    """
    return _Reader(file).blocks()


class _Reader:
    """Walks the blocks of a file; knows the byte order and the interfaces of the section it is in."""

    def __init__(self, file: Readable) -> None:
        self._file = file
        self._at = 0
        self._order = "<"
        self._interfaces: list[Interface] = []

    def blocks(self) -> Iterator[Section | Packet | Truncated]:
        while True:
            offset = self._at
            try:
                found = self._block(offset)
            except _EndOfFile:
                if offset == 0 or self._at > offset:
                    yield Truncated(offset)
                return
            if found is not None:
                yield found
            if isinstance(found, Truncated):
                return

    def _block(self, offset: int) -> Section | Packet | Truncated | None:
        """Read one block; None for one that is only noted or passed over."""
        head = self._take(8)
        if head[:4] == _SECTION_TYPE:
            return self._section(head, offset)
        if offset == 0:
            raise CaptureError(0, "a pcapng section header (0a 0d 0d 0a)", head[:4].hex(" "))
        if head == bytes(8):  # a file system that lost its power may leave zeros where the last blocks were
            return Truncated(offset)
        kind, total = struct.unpack(self._order + "II", head)
        if kind not in _LEAST:
            self._check_total(total, 12, 1 << 32, offset)
            self._skip(total - 12)
            self._check_end(total, offset)
            return None
        self._check_total(total, _LEAST[kind], MAX_BLOCK, offset)
        body = self._take(total - 12)
        self._check_end(total, offset)
        if kind == _PACKET:
            return self._packet(body, offset)
        self._interface(body, offset)
        return None

    def _section(self, head: bytes, offset: int) -> Section:
        magic = self._take(4)
        if magic not in _ORDERS:
            raise CaptureError(offset + 8, "the byte-order magic 1a 2b 3c 4d either way round", magic.hex(" "))
        self._order = _ORDERS[magic]
        (total,) = struct.unpack(self._order + "I", head[4:])
        self._check_total(total, _LEAST[_SECTION], MAX_BLOCK, offset)
        body = self._take(total - 16)
        self._check_end(total, offset)
        (major,) = struct.unpack_from(self._order + "H", body)
        if major != 1:
            raise CaptureError(offset + 12, "version 1 of pcapng", f"version {major}")
        self._options(body, 12, offset + 12)
        self._interfaces = []
        return Section(offset)

    def _interface(self, body: bytes, offset: int) -> None:
        if len(self._interfaces) >= MAX_INTERFACES:
            raise CaptureError(offset, f"at most {MAX_INTERFACES} interfaces", "one more")
        options = dict(self._options(body, 8, offset + 8))
        resolution, shift = options.get(_RESOLUTION, bytes([MICROSECONDS])), options.get(_OFFSET, bytes(8))
        if len(resolution) != 1 or len(shift) != 8:
            raise CaptureError(offset, "if_tsresol of 1 octet, if_tsoffset of 8", f"{len(resolution)}, {len(shift)}")
        (link_type,) = struct.unpack_from(self._order + "H", body)
        (offset_s,) = struct.unpack(self._order + "q", shift)
        name = options.get(_NAME, b"")[:MAX_NAME].decode("utf-8", "replace")
        self._interfaces.append(Interface(link_type, name, resolution[0], offset_s))

    def _packet(self, body: bytes, offset: int) -> Packet:
        number, high, low, captured, _ = struct.unpack_from(self._order + "5I", body)
        end = 20 + captured
        if end > len(body):
            raise CaptureError(offset + 20, f"at most {len(body) - 20} octets of packet", f"{captured}")
        if number >= len(self._interfaces):
            raise CaptureError(offset + 8, f"an interface below {len(self._interfaces)}", f"{number}")
        direction = Direction.UNKNOWN.value
        for code, value in self._options(body, (end + 3) & ~3, offset + 8):
            if code == _FLAGS and len(value) == 4:
                direction = struct.unpack(self._order + "I", value)[0] & 3
        return Packet(offset, self._interfaces[number], high << 32 | low, body[20:end], direction)

    def _options(self, body: bytes, at: int, offset: int) -> list[tuple[int, bytes]]:
        """(code, value) of the options from `at` on; `offset` is where the body lies in the file."""
        found = []
        while at < len(body):
            if at + 4 > len(body):
                raise CaptureError(offset + at, "an option of at least 4 octets", f"{len(body) - at}")
            code, length = struct.unpack_from(self._order + "HH", body, at)
            if code == _END:
                break
            at += 4
            if at + length > len(body):
                raise CaptureError(offset + at - 2, f"an option of at most {len(body) - at} octets", f"{length}")
            found.append((code, body[at : at + length]))
            at = (at + length + 3) & ~3
        return found

    def _check_total(self, total: int, least: int, most: int, offset: int) -> None:
        if not least <= total <= most or total % 4:
            raise CaptureError(offset + 4, f"a block length of {least} to {most}, a multiple of 4", f"{total}")

    def _check_end(self, total: int, offset: int) -> None:
        (again,) = struct.unpack(self._order + "I", self._take(4))
        if again != total:
            raise CaptureError(self._at - 4, f"the block length {total} again", f"{again}")

    def _take(self, count: int) -> bytes:
        octets = self._file.read(count)
        self._at += len(octets)
        if len(octets) < count:
            raise _EndOfFile
        return octets

    def _skip(self, count: int) -> None:
        while count > 0:
            count -= len(self._take(min(count, _SKIP)))
