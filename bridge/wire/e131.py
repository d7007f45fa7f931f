"""ANSI E1.31 (streaming ACN): packets to bytes and back.

Sending uses the sacn library's packet classes once per universe; every frame after that patches the prepared
octets in place, because building a packet of 512 slots through the library costs some 35 us
(facts/protocols.md). Receiving is a parser of our own that checks every length and vector: the library's
receiver dies of a malformed packet. Octet numbers below are those of E1.31 as in facts/protocols.md.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from sacn.messages.data_packet import DataPacket as _SacnData
from sacn.messages.sync_packet import SyncPacket as _SacnSync
from sacn.messages.universe_discovery import UniverseDiscoveryPacket as _SacnDiscovery

from bridge.errors import Refused

PORT = 5568
DISCOVERY_UNIVERSE = 64214
MAX_UNIVERSE = 63999
MAX_PRIORITY = 200
SLOTS = 512
PRIORITIES = 0xDD
"""The start code of priorities by slot; that of levels is 0."""

_SEQUENCE, _OPTIONS, _START_CODE, _FIRST_SLOT = 111, 112, 125, 126
_PREVIEW, _TERMINATED, _FORCE_SYNC = 0x80, 0x40, 0x20
_ROOT = struct.Struct(">HH12sHI16sHI")  # octets 0..43: root layer, framing length and vector
_DATA = struct.Struct(">64sBHBBHHBBHHHB")  # octets 44..125: framing and DMP layers, start code
_SYNC = struct.Struct(">BHH")  # octets 44..48
_DISCOVERY = struct.Struct(">64sIHIBB")  # octets 44..119
_ACN = b"ASC-E1.17\0\0\0"
_ROOT_DATA, _ROOT_EXTENDED = 0x04, 0x08
_FRAMING_DATA, _FRAMING_SYNC, _FRAMING_DISCOVERY = 0x02, 0x01, 0x02
_UNIVERSE_LIST = 0x01
_DMP = (0x02, 0xA1, 0x0000, 0x0001)


class E131Error(Refused):
    """One datagram is not an E1.31 packet that can be used. Reasons: not-e131, length, vector, range."""


@dataclass(frozen=True, slots=True)
class Data:
    """One data packet. `slots` holds 0..512 octets (fewer are legal): levels only if `start_code` is 0."""

    cid: bytes
    source_name: str
    priority: int
    sync_universe: int
    sequence: int
    preview: bool
    terminated: bool
    force_sync: bool
    universe: int
    start_code: int
    slots: bytes


@dataclass(frozen=True, slots=True)
class Sync:
    """One synchronisation packet; its sequence is a counter of its own."""

    cid: bytes
    sequence: int
    sync_universe: int


@dataclass(frozen=True, slots=True)
class Discovery:
    """One page of the universes on which a source sends."""

    cid: bytes
    source_name: str
    page: int
    last_page: int
    universes: tuple[int, ...]


class DataPacket:
    """The 638 octets of one universe, prepared once. Raises ValueError outside E1.31's ranges.

    `start_code`: 0 for levels, or PRIORITIES.
    """

    def __init__(
        self, cid: bytes, source_name: str, priority: int, universe: int, sync_universe: int = 0, start_code: int = 0
    ) -> None:
        packet = _SacnData(
            cid=tuple(cid),
            sourceName=source_name,
            universe=universe,
            priority=priority,
            sync_universe=sync_universe,
        )
        self.universe = universe
        self._octets = bytearray(packet.getBytes())
        self._octets[_START_CODE] = start_code
        self._slots = memoryview(self._octets)[_FIRST_SLOT:]

    def pack(
        self,
        slots: npt.NDArray[np.uint8] | bytes | memoryview,
        sequence: int,
        *,
        terminated: bool = False,
        preview: bool = False,
    ) -> bytearray:
        """Patch in 512 slots (octets, or a uint8 array of shape (512,)) and the sequence.

        What is returned belongs to this object and is overwritten by the next call: send it, or copy it with
        bytes(). Raises ValueError when there are not exactly 512 slots.
        """
        octets = self._octets
        self._slots[:] = slots  # type: ignore[assignment]  # numpy declares no buffer before Python 3.12
        octets[_SEQUENCE] = sequence
        octets[_OPTIONS] = (_TERMINATED if terminated else 0) | (_PREVIEW if preview else 0)
        return octets


def is_priorities(packet: bytes | bytearray) -> bool:
    """Whether a packet of ours is one of priorities by slot."""
    return len(packet) > _START_CODE and packet[_START_CODE] == PRIORITIES


def sync_packet(cid: bytes, sync_universe: int, sequence: int) -> bytes:
    """The 49 octets that release the data waiting on `sync_universe`; they go to that universe's group."""
    return bytes(_SacnSync(cid=tuple(cid), syncAddr=sync_universe, sequence=sequence).getBytes())


def discovery_packets(cid: bytes, source_name: str, universes: Iterable[int]) -> list[bytes]:
    """Universe discovery, 512 universes to a page, sorted, for the group of DISCOVERY_UNIVERSE."""
    pages = _SacnDiscovery.make_multiple_uni_disc_packets(tuple(cid), source_name, sorted(set(universes)))
    return [bytes(page.getBytes()) for page in pages]


def multicast_group(universe: int) -> str:
    """The IPv4 group of a universe: 239.255.high.low (E1.31 section 9.3.1)."""
    if not (1 <= universe <= MAX_UNIVERSE or universe == DISCOVERY_UNIVERSE):
        raise ValueError(f"universe {universe}, expected 1 to {MAX_UNIVERSE}")
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def parse(datagram: bytes) -> Data | Sync | Discovery:
    """One E1.31 packet. Raises E131Error, and nothing else, on any octets."""
    size = len(datagram)
    if size < _ROOT.size:
        raise E131Error("length", f"datagram of {size} octets, an E1.31 packet has 49 or more")
    preamble, postamble, acn, root_length, root_vector, cid, length, vector = _ROOT.unpack_from(datagram)
    if preamble != 0x0010 or postamble or acn != _ACN:
        raise E131Error("not-e131", "no ACN root layer: this is not an E1.31 packet")
    _expect_length("root layer", root_length, size - 16)
    _expect_length("framing layer", length, size - 38)
    if root_vector == _ROOT_DATA and vector == _FRAMING_DATA:
        return _parse_data(datagram, cid)
    if root_vector == _ROOT_EXTENDED and vector == _FRAMING_SYNC:
        return _parse_sync(datagram, cid)
    if root_vector == _ROOT_EXTENDED and vector == _FRAMING_DISCOVERY:
        return _parse_discovery(datagram, cid)
    raise E131Error("vector", f"root vector {root_vector:#x} with framing vector {vector:#x} is not E1.31")


def _expect_length(layer: str, found: int, expected: int) -> None:
    """Flags and length: the upper four bits are 0x7, the lower twelve count to the end of the datagram."""
    if found != 0x7000 | expected:
        raise E131Error("length", f"{layer}: flags and length {found:#06x}, expected {0x7000 | expected:#06x}")


def _parse_data(datagram: bytes, cid: bytes) -> Data:
    if not _FIRST_SLOT <= len(datagram) <= _FIRST_SLOT + SLOTS:
        raise E131Error("length", f"data packet of {len(datagram)} octets, expected 126 to 638")
    (name, priority, sync, sequence, options, universe, length, *dmp, count, start_code) = _DATA.unpack_from(
        datagram, 44
    )
    _expect_length("DMP layer", length, len(datagram) - 115)
    if tuple(dmp) != _DMP:
        raise E131Error("vector", f"DMP vector, type, first address, increment {dmp}, expected {list(_DMP)}")
    if count != len(datagram) - 125:
        raise E131Error("length", f"property count {count}, the packet holds {len(datagram) - 125}")
    if not 1 <= universe <= MAX_UNIVERSE or sync > MAX_UNIVERSE or priority > MAX_PRIORITY:
        raise E131Error("range", f"universe {universe}, sync address {sync} or priority {priority} out of range")
    return Data(
        cid,
        _text(name),
        priority,
        sync,
        sequence,
        bool(options & _PREVIEW),
        bool(options & _TERMINATED),
        bool(options & _FORCE_SYNC),
        universe,
        start_code,
        bytes(datagram[_FIRST_SLOT:]),
    )


def _parse_sync(datagram: bytes, cid: bytes) -> Sync:
    if len(datagram) != 49:
        raise E131Error("length", f"synchronisation packet of {len(datagram)} octets, expected 49")
    sequence, universe, _reserved = _SYNC.unpack_from(datagram, 44)
    if not 1 <= universe <= MAX_UNIVERSE:
        raise E131Error("range", f"synchronisation address {universe}, expected 1 to {MAX_UNIVERSE}")
    return Sync(cid, sequence, universe)


def _parse_discovery(datagram: bytes, cid: bytes) -> Discovery:
    size = len(datagram)
    if not 120 <= size <= 120 + 2 * SLOTS or size % 2:
        raise E131Error("length", f"discovery packet of {size} octets, expected 120 + 2n, n up to 512")
    name, _reserved, length, vector, page, last_page = _DISCOVERY.unpack_from(datagram, 44)
    _expect_length("universe discovery layer", length, size - 112)
    if vector != _UNIVERSE_LIST:
        raise E131Error("vector", f"universe discovery vector {vector:#x}, expected {_UNIVERSE_LIST:#x}")
    universes = struct.unpack_from(f">{(size - 120) // 2}H", datagram, 120)
    return Discovery(cid, _text(name), page, last_page, universes)


def _text(field: bytes) -> str:
    """The source name up to its first NUL; octets that are not UTF-8 are replaced: a name harms nobody."""
    return field.split(b"\0", 1)[0].decode("utf-8", "replace")
