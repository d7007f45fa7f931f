"""Packets for the receiver's tests, and what it makes of them."""

from __future__ import annotations

from dataclasses import replace

from bridge.wire.e131 import PRIORITIES, SLOTS, Data
from bridge.wire.receiver import Receiver

A, B, C = (bytes([n]) * 16 for n in (1, 2, 3))
FROM = "192.0.2.1"


def levels(cid: bytes, sequence: int, slots: bytes | int, **more: object) -> Data:
    """Levels on universe 1, or one level on all slots."""
    octets = slots if isinstance(slots, bytes) else bytes([slots]) * SLOTS
    data = Data(cid, f"desk {cid[0]}", 100, 0, sequence % 256, False, False, False, 1, 0, octets)
    return replace(data, **more)  # type: ignore[arg-type]


def priorities(cid: bytes, sequence: int, slots: bytes | int, **more: object) -> Data:
    """Per-address priorities on universe 1, or one priority on all slots."""
    return replace(levels(cid, sequence, slots, **more), start_code=PRIORITIES)


def slots(receiver: Receiver, now_s: float, first: int = 1) -> bytes | int | None:
    """The first slots of universe 1 (one: its value) while somebody sends them."""
    frame = receiver.frame(1, now_s)
    if frame is None or not frame.alive:
        return None
    return frame.slots[0] if first == 1 else frame.slots[:first]
