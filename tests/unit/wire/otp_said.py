"""Short ways to say something as a producer of E1.59, for tests: system 1, point 1/7, 60 folios a second."""

from __future__ import annotations

import struct
from typing import Any

from bridge.wire.otp import Reader
from bridge.wire.otp_send import Sent, transform
from bridge.wire.tracked import Place

ONE, TWO = b"\1" * 16, b"\2" * 16
PLACE = (1.0, 2.0, 0.5)
FROM = "192.0.2.7"


def said(folio: int, place: Place | None = PLACE, cid: bytes = ONE, system: int = 1, **more: Any) -> bytes:
    """One message of one point; its timestamp follows the folio unless `timestamp_us` is given."""
    timestamp_us = more.pop("timestamp_us", 10_000_000 + folio % 2**32 * 16_667)
    point = Sent(more.pop("group", 1), more.pop("point", 7), place, **more)
    return transform(cid, f"producer {cid[0]}", system, folio, timestamp_us, [point])[0]


def word(reader: Reader, packet: bytes, now_s: float = 0.0) -> str:
    """What the reader counts this packet as; that it gives points exactly when it was taken is checked."""
    before = reader.counters.copy()
    given = reader.take(packet, FROM, now_s)
    (became,) = (reader.counters - before).elements()
    assert bool(given) == (became == "taken")
    return became


def patched(packet: bytes, at: int, octets: bytes) -> bytes:
    return packet[:at] + octets + packet[at + len(octets) :]


def lengthened(packet: bytes, more: bytes) -> bytes:
    """Octets more at the end of the last point of a message of one point, all lengths made right."""
    for at in (14, 81, 99):
        (length,) = struct.unpack_from(">H", packet, at)
        packet = patched(packet, at, struct.pack(">H", length + len(more)))
    return packet + more
