"""ANSI E1.59-2021 (OTP) as it is sent: transforms for the venue and the tests, and what a consumer says of itself."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bridge.wire import otp_layers as layer
from bridge.wire.tracked import Place

ADVERTISE_S = 10.0
"""How often a consumer says which modules it takes."""
_MODULES, _LIST = 1, 1
_ADVERTISED = struct.Struct(">HH4xHH4x")  # advertisement and module advertisement layers: vector, length, reserved
_IDENTIFIED = struct.Struct(">HH")


@dataclass(frozen=True, slots=True)
class Sent:
    """One point to send: m, m/s, m/s². Accelerations go only with a velocity. `sampled_us` None: with the message.

    `place` goes in whole micrometres (within 2147 m), or in whole `millimetres`; None sends a point without a place.
    """

    group: int
    point: int
    place: Place | None
    velocity: Place | None = None
    acceleration: Place | None = None
    priority: int = 100
    sampled_us: int | None = None
    millimetres: bool = False


def transform(
    cid: bytes, name: str, system: int, folio: int, timestamp_us: int, points: Iterable[Sent], full: bool = True
) -> list[bytes]:
    """The pages of one folio, none larger than 1472 octets; one without points if there are none.

    `cid` is 16 octets, `name` up to 32 of UTF-8 (the rest is cut off), `folio` counted modulo 2^32 by the caller,
    `full` says that these are all points of the system. Raises ValueError outside the ranges of E1.59.
    """
    if not 1 <= system <= layer.MAX_SYSTEM:
        raise ValueError(f"system {system}, expected 1 to {layer.MAX_SYSTEM}")
    options = layer.FULL_SET if full else 0
    room = layer.MAX_SIZE - layer.ROOT.size - layer.SET.size
    pages = list(_split([_point(one, timestamp_us) for one in points], room))
    return [
        _message(cid, name, layer.TRANSFORM, folio, page, len(pages) - 1, _set(system, timestamp_us, options, octets))
        for page, octets in enumerate(pages)
    ]


def module_advertisement(cid: bytes, name: str, folio: int) -> bytes:
    """What a consumer sends every 10 s to the advertisement group: it takes positions, and velocities.

    Layout from memory of E1.59, no source at hand: advertisement layer (vector 1, length, 4 reserved), in it the module
    advertisement layer (vector 1, length, 4 reserved), then manufacturer and number of each module, two octets each.
    """
    modules = b"".join(_IDENTIFIED.pack(*module) for module in (layer.POSITION, layer.MOTION))
    outer = _ADVERTISED.size - layer.COUNTED + len(modules)
    layers = _ADVERTISED.pack(_MODULES, outer, _LIST, outer - _ADVERTISED.size // 2)
    return _message(cid, name, layer.ADVERTISEMENT, folio, 0, 0, layers + modules)


def _message(cid: bytes, name: str, vector: int, folio: int, page: int, last_page: int, data: bytes) -> bytes:
    length = layer.ROOT.size - layer.ROOT_COUNTED + len(data)
    if len(cid) != 16:
        raise ValueError(f"CID of {len(cid)} octets, expected 16")
    field = name.encode()[:32].decode(errors="ignore").encode()
    return layer.ROOT.pack(layer.IDENTIFIER, vector, length, 0, 0, cid, folio % 2**32, page, last_page, 0, field) + data


def _set(system: int, timestamp_us: int, options: int, points: bytes) -> bytes:
    return layer.SET.pack(1, layer.SET.size - layer.COUNTED + len(points), system, timestamp_us, options) + points


def _split(points: list[bytes], room: int) -> Iterator[bytes]:
    """As many points together as there is room for."""
    page = b""
    for octets in points:
        if len(page) + len(octets) > room:
            yield page
            page = b""
        page += octets
    yield page


def _point(one: Sent, timestamp_us: int) -> bytes:
    if not 1 <= one.group <= layer.MAX_GROUP or not 0 <= one.priority <= layer.MAX_PRIORITY:
        raise ValueError(f"group {one.group} (1 to 60000) or priority {one.priority} (0 to 200) out of range")
    modules = b"" if one.place is None else _position(one.place, one.millimetres)
    if one.velocity is not None:
        moves = _whole(one.velocity, 1e6) + _whole(one.acceleration or (0.0, 0.0, 0.0), 1e6)
        modules += _module(layer.MOTION, layer.MOVES.pack(*moves))
    sampled_us = timestamp_us if one.sampled_us is None else one.sampled_us
    length = layer.POINT.size - layer.COUNTED + len(modules)
    return layer.POINT.pack(1, length, one.priority, one.group, one.point, sampled_us, 0) + modules


def _position(place: Place, millimetres: bool) -> bytes:
    options, units = (layer.MILLIMETRES, 1e3) if millimetres else (0, 1e6)
    return _module(layer.POSITION, layer.PLACE.pack(options, *_whole(place, units)))


def _module(module: tuple[int, int], data: bytes) -> bytes:
    manufacturer, number = module
    return layer.MODULE.pack(manufacturer, layer.MODULE.size - layer.COUNTED + len(data), number) + data


def _whole(values: Place, units: float) -> tuple[int, ...]:
    """In whole units. Raises ValueError where they do not fit 32 bits, or are no numbers."""
    limit = 2**31 / units
    if not all(-limit <= value < limit for value in values):
        raise ValueError(f"{values}, expected numbers within {limit:.0f} m, m/s or m/s²")
    return tuple(min(round(value * units), 2**31 - 1) for value in values)
