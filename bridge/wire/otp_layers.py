"""ANSI E1.59-2021 (OTP): the layers of one message, read. Nothing is remembered here, and no length is believed.

Layouts, big-endian, are those of facts/protocols.md, collected from public texts. Every layer must fill the one round
it exactly; modules that we do not know are skipped by their length, reserved fields and a footer's content are not
looked at. Priorities above 200 and groups outside 1..60000 are refused with the whole message: who sends one such field
wrongly is not to be trusted with the others.
"""

from __future__ import annotations

import struct
from typing import NamedTuple

from bridge.errors import Refused
from bridge.wire.tracked import Place

MAX_SIZE = 1472
"""Octets of one message."""
MAX_SYSTEM, MAX_GROUP, MAX_PRIORITY = 200, 60_000, 200
IDENTIFIER = b"OTP-E1.59\0\0\0"
TRANSFORM, ADVERTISEMENT = 1, 2
POSITION, MOTION = (0, 1), (0, 2)
"""Modules as (manufacturer, number); 0 is the standard itself."""
FULL_SET = MILLIMETRES = 0x80

ROOT = struct.Struct(">12sHHBB16sIHHB4x32s")  # octets 0..78
SET = struct.Struct(">HHBQB4x")  # octets 79..96: vector, length, system, timestamp, options
POINT = struct.Struct(">HHBHIQB4x")  # vector, length, priority, group, point, sampled, options
MODULE = struct.Struct(">HHH")  # manufacturer, length, number
PLACE = struct.Struct(">B3i")
MOVES = struct.Struct(">6i")
ROOT_COUNTED, SET_AT = 16, 79
COUNTED = 4
"""The lengths of all layers but the first count from their octet 4."""


class OtpError(Refused):
    """One datagram is not an E1.59 message that can be used. Reasons: not-otp, length, vector, range, page, twice."""


class Message(NamedTuple):
    """The first two layers of a transform message; `end` is the octet after its last point."""

    cid: bytes
    name: bytes
    folio: int
    page: int
    last_page: int
    system: int
    timestamp_us: int
    full: bool
    end: int


class Measured(NamedTuple):
    """One point of a message: m, m/s, m/s²; None for what it does not carry. Times by the producer's clock."""

    group: int
    point: int
    priority: int
    sampled_us: int
    place: Place | None
    velocity: Place | None
    acceleration: Place | None


def open_message(packet: bytes) -> Message | None:
    """A transform message without its points; None for an advertisement or a message of another kind.

    Raises OtpError, and nothing else, on any octets.
    """
    size = len(packet)
    if size < ROOT.size or not packet.startswith(IDENTIFIER):
        raise OtpError("not-otp", f"datagram of {size} octets that does not begin as E1.59 does: another protocol's?")
    _, vector, length, _, footer, cid, folio, page, last_page, _, name = ROOT.unpack_from(packet)
    if size != ROOT_COUNTED + length + footer or size > MAX_SIZE or ROOT_COUNTED + length < ROOT.size:
        found = f"length {length} and footer {footer} in a datagram of {size} octets"
        raise OtpError("length", f"{found}, expected them to add up to {size - ROOT_COUNTED}, 1472 octets at most")
    if vector != TRANSFORM:
        return None
    if page > last_page:
        raise OtpError("page", f"page {page}, the last page is {last_page}")
    end = ROOT_COUNTED + length
    system, timestamp_us, options = _open_set(packet, end)
    return Message(cid, name, folio, page, last_page, system, timestamp_us, bool(options & FULL_SET), end)


def points_of(packet: bytes, message: Message) -> list[Measured]:
    """The points of a message that `open_message` gave for this packet. Raises OtpError as that does."""
    at, end, found = SET_AT + SET.size, message.end, []
    while at < end:
        if end - at < POINT.size:
            raise OtpError("length", f"{end - at} octets are left at octet {at}, a point has {POINT.size} or more")
        vector, length, priority, group, point, sampled_us, _ = POINT.unpack_from(packet, at)
        after = at + COUNTED + length
        if vector != 1:
            raise OtpError("vector", f"point vector {vector} at octet {at}, expected 1")
        if after > end or length < POINT.size - COUNTED:
            raise OtpError("length", f"point at octet {at} of length {length}, {end - at - COUNTED} octets are left")
        if not 1 <= group <= MAX_GROUP or priority > MAX_PRIORITY:
            raise OtpError("range", f"group {group} (1 to 60000) or priority {priority} (0 to 200) out of range")
        found.append(Measured(group, point, priority, sampled_us, *_modules(packet, at + POINT.size, after)))
        at = after
    return found


def text(field: bytes) -> str:
    """A name up to its first NUL, as it may stand on a terminal: what cannot be read or printed is replaced."""
    name = field.split(b"\0", 1)[0].decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name)


def _open_set(packet: bytes, end: int) -> tuple[int, int, int]:
    """System, timestamp and options of the transform layer."""
    if end - SET_AT < SET.size:
        raise OtpError("length", f"transform layer of {end - SET_AT} octets, expected {SET.size} or more")
    vector, length, system, timestamp_us, options = SET.unpack_from(packet, SET_AT)
    if vector != 1:
        raise OtpError("vector", f"transform vector {vector}, expected 1")
    if SET_AT + COUNTED + length != end:
        raise OtpError("length", f"transform length {length}, expected {end - SET_AT - COUNTED}")
    if not 1 <= system <= MAX_SYSTEM:
        raise OtpError("range", f"system {system}, expected 1 to {MAX_SYSTEM}")
    return system, timestamp_us, options


def _modules(packet: bytes, at: int, end: int) -> tuple[Place | None, Place | None, Place | None]:
    """Place, velocity and acceleration of one point, from its modules between these octets."""
    place = velocity = acceleration = None
    while at < end:
        if end - at < MODULE.size:
            raise OtpError("length", f"{end - at} octets are left at octet {at}, a module has {MODULE.size} or more")
        manufacturer, length, number = MODULE.unpack_from(packet, at)
        data, after = at + MODULE.size, at + COUNTED + length
        if after > end or after < data:
            raise OtpError("length", f"module at octet {at} of length {length}, {end - at - COUNTED} octets are left")
        if manufacturer == 0 and number == 1:
            _expect(place is None, after - data, PLACE, "position", at)
            options, x, y, z = PLACE.unpack_from(packet, data)
            place = _scaled(x, y, z, 1e3 if options & MILLIMETRES else 1e6)
        elif manufacturer == 0 and number == 2:
            _expect(velocity is None, after - data, MOVES, "velocity", at)
            u, v, w, a, b, c = MOVES.unpack_from(packet, data)
            velocity, acceleration = _scaled(u, v, w, 1e6), _scaled(a, b, c, 1e6)
        at = after
    return place, velocity, acceleration


def _expect(first: bool, size: int, data: struct.Struct, what: str, at: int) -> None:
    """A module that we know is there once, and as long as the standard says."""
    if not first:
        raise OtpError("twice", f"a second {what} module at octet {at}: a point has one place")
    if size != data.size:
        raise OtpError("length", f"{what} module at octet {at} with {size} octets of data, expected {data.size}")


def _scaled(x: int, y: int, z: int, units: float) -> Place:
    """Whole micrometres or millimetres to metres: divided, so that a decimal number comes back as it was given."""
    return x / units, y / units, z / units
