"""One member of somebody's ZIP replaced, every other octet of the archive as it was.

What changes: the member's own entry (sizes, checksum, its packed data; a data descriptor behind it goes, its sizes
stand in front then), and in the directory at the end the same figures and the offsets of what comes after it. Names,
dates, comments, extra fields, order and the packed data of all others are copied as they stand (PKWARE APPNOTE 6.3,
from memory).
"""

from __future__ import annotations

import struct
import zlib
from typing import NamedTuple

from bridge.errors import FileRefused

_LOCAL, _CENTRAL, _END = b"PK\3\4", b"PK\1\2", b"PK\5\6"
_LOCAL_HEAD, _CENTRAL_HEAD, _END_HEAD = (
    struct.Struct(form) for form in ("<4s5H3I2H", "<4s6H3I5H2I", "<4s4H2IH")
)  # fmt: skip
_STORED, _DEFLATED = 0, 8
_DESCRIPTOR, _UTF8 = 8, 0x800  # flag bits
_ZIP64 = 1  # an extra field's number
_FULL = 0xFFFFFFFF


class _Entry(NamedTuple):
    """One row of the directory: where it stands, its name, where its own entry begins, packed octets, flags."""

    start: int
    name: str
    offset: int
    packed: int
    flags: int


def with_member(archive: bytes, member: str, data: bytes, what: str) -> bytes:
    """The archive with `data` as this member. Raises FileRefused where its structure is none that can be edited so."""
    try:
        return _with_member(archive, member, data)
    except (struct.error, IndexError, ValueError, OverflowError) as error:
        raise FileRefused(f"{what}: the ZIP archive cannot be changed in place ({error}): nothing written") from None


def _with_member(archive: bytes, member: str, data: bytes) -> bytes:
    end, first, before = _ends(archive)
    entries = _entries(archive, first, end)
    mine = [entry for entry in entries if entry.name == member][-1:]  # of two with one name the last counts
    if not mine:
        raise ValueError("the directory does not name the file")
    start = mine[0].offset + before
    behind = min([entry.offset + before for entry in entries if entry.offset > mine[0].offset], default=first)
    head, packed, over = _local(archive, start, data)
    over += mine[0].packed
    if over > behind or sum(entry.offset == mine[0].offset for entry in entries) > 1:
        raise ValueError("its entries overlap")
    rest = behind if mine[0].flags & _DESCRIPTOR else over
    shift = len(head) + len(packed) - (rest - start)
    directory = bytearray(archive[first:end])
    for entry in entries:
        row = list(_CENTRAL_HEAD.unpack_from(archive, entry.start))
        if entry is mine[0]:
            row[3], row[4] = row[3] & ~_DESCRIPTOR, _method(row[4])
            row[7:10] = zlib.crc32(data), len(packed), len(data)
        elif entry.offset > mine[0].offset:
            row[16] += shift
        _CENTRAL_HEAD.pack_into(directory, entry.start - first, *row)
    tail = bytearray(archive[end:])
    last = list(_END_HEAD.unpack_from(tail))
    last[6] += shift
    _END_HEAD.pack_into(tail, 0, *last)
    return b"".join((archive[:start], head, packed, archive[rest:first], directory, tail))


def _ends(archive: bytes) -> tuple[int, int, int]:
    """Where end record and directory begin, and how much stands before the archive that its offsets leave out."""
    end = archive.rfind(_END, max(0, len(archive) - _END_HEAD.size - 0xFFFF))
    if end < 0:
        raise ValueError("it has no end record")
    _, disk, of_disk, here, entries, size, offset, _ = _END_HEAD.unpack_from(archive, end)
    if (disk, of_disk) != (0, 0) or here != entries:
        raise ValueError("it is one part of several")
    if entries == 0xFFFF or _FULL in (size, offset):
        raise ValueError("it is a ZIP64 archive")
    first = end - size
    if first < 0 or first < offset:
        raise ValueError("its directory is not where it says")
    return end, first, first - offset


def _entries(archive: bytes, first: int, end: int) -> list[_Entry]:
    found, at = [], first
    while at < end:
        row = _CENTRAL_HEAD.unpack_from(archive, at)
        if row[0] != _CENTRAL:
            raise ValueError("its directory is damaged")
        if _FULL in (row[8], row[9], row[16]):
            raise ValueError("it holds a ZIP64 entry")
        name = archive[at + _CENTRAL_HEAD.size : at + _CENTRAL_HEAD.size + row[10]]
        found.append(_Entry(at, name.decode("utf-8" if row[3] & _UTF8 else "cp437"), row[16], row[8], row[3]))
        at += _CENTRAL_HEAD.size + row[10] + row[11] + row[12]
    return found


def _local(archive: bytes, start: int, data: bytes) -> tuple[bytes, bytes, int]:
    """The entry's head and its packed data, anew, and where the old data begins."""
    row = list(_LOCAL_HEAD.unpack_from(archive, start))
    if row[0] != _LOCAL:
        raise ValueError("an entry is not where the directory says")
    name_end = start + _LOCAL_HEAD.size + row[9]
    old = name_end + row[10]
    extra = _without_zip64(archive[name_end:old])
    method = _method(row[3])
    packer = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)
    packed = data if method == _STORED else packer.compress(data) + packer.flush()
    row[2], row[3] = row[2] & ~_DESCRIPTOR, method
    row[6:9] = zlib.crc32(data), len(packed), len(data)
    row[10] = len(extra)
    return _LOCAL_HEAD.pack(*row) + archive[start + _LOCAL_HEAD.size : name_end] + extra, packed, old


def _method(method: int) -> int:
    return method if method == _STORED else _DEFLATED


def _without_zip64(extra: bytes) -> bytes:
    """Extra fields without the one that holds sizes of its own, which would be the old ones."""
    out, at = b"", 0
    while at + 4 <= len(extra):
        number, size = struct.unpack_from("<2H", extra, at)
        if number != _ZIP64:
            out += extra[at : at + 4 + size]
        at += 4 + size
    return out + extra[at:]
