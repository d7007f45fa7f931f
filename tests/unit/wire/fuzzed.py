"""Packets for a receiver from a seed: good ones of a few sources, mutations of them, and junk."""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator

from bridge.wire.e131 import DataPacket, discovery_packets, sync_packet
from bridge.wire.receiver import Receiver

UNIVERSES = (1, 2)
STRANGE = (0, 1, 2, 0x7F, 0x80, 0xDD, 0xFF)


def packets(seed: int, count: int) -> Iterator[tuple[bytes, str, float]]:
    """`count` of (datagram, sender, seconds); time goes on by up to 3 s at a time, mostly by little."""
    rng, now_s = random.Random(seed), 0.0
    kept = [_good(rng) for _ in range(64)]
    for number in range(count):
        if number % 16 == 0:
            kept[rng.randrange(64)] = _good(rng)
        now_s += rng.choice((0.0, 0.0, 0.001, 0.023, 0.5, 3.0) if number % 50 == 0 else (0.0, 0.001, 0.023))
        datagram = rng.choice(kept)
        kind = rng.random()
        if kind < 0.35:
            datagram = _next(rng, datagram)
        elif kind < 0.9:
            datagram = _mutated(rng, datagram)
        elif kind < 0.97:
            datagram = rng.randbytes(rng.choice((0, 1, 37, 43, 44, 49, 125, 126, 638, 639, 1400)))
        yield datagram, f"192.0.2.{rng.randrange(4)}", now_s


def fuzz(seed: int, count: int) -> tuple[int, Receiver]:
    """All of them at one receiver; how often it raised, or gave anything but 512 octets, and the receiver."""
    receiver, escapes = Receiver(UNIVERSES), 0
    for datagram, sender, now_s in packets(seed, count):
        try:
            receiver.take(datagram, sender, now_s)
            for universe in receiver.changed(now_s):
                frame = receiver.frame(universe, now_s)
                escapes += frame is not None and len(frame.slots) != 512
            escapes += receiver.next_due_s <= now_s
        except Exception:
            escapes += 1
    return escapes, receiver


def _good(rng: random.Random) -> bytes:
    cid, kind = bytes([rng.randrange(20)]) * 16, rng.random()
    if kind < 0.1:
        return sync_packet(cid, rng.choice((7, 8)), rng.randrange(256))
    if kind < 0.15:
        return discovery_packets(cid, "desk", range(1, 5))[0]
    sync = rng.choice((0, 0, 7, 8))
    packet = DataPacket(cid, f"desk {cid[0]}", rng.choice((0, 90, 100, 200)), rng.choice((1, 2, 2, 3)), sync)
    terminated, preview = rng.random() < 0.05, rng.random() < 0.05
    slots = rng.randbytes(512)
    octets = bytearray(packet.pack(slots, rng.randrange(256), terminated=terminated, preview=preview))
    octets[112] |= rng.choice((0, 0x20))
    octets[125] = rng.choice((0, 0, 0, 0xDD, 0xDD, 0xCC))
    return _shortened(octets, rng.choice((512, 512, 512, 100, 1, 0)))


def _shortened(octets: bytearray, slots: int) -> bytes:
    """The same packet with fewer slots and its lengths made right."""
    del octets[126 + slots :]
    for at, before in ((16, 16), (38, 38), (115, 115)):
        struct.pack_into(">H", octets, at, 0x7000 | (len(octets) - before))
    struct.pack_into(">H", octets, 123, 1 + slots)
    return bytes(octets)


def _next(rng: random.Random, datagram: bytes) -> bytes:
    """Another sequence and another level in an otherwise good packet."""
    octets = bytearray(datagram)
    if len(octets) >= 126:
        octets[111] = rng.randrange(256)
        octets[-1] = rng.randrange(256)
    return bytes(octets)


def _mutated(rng: random.Random, datagram: bytes) -> bytes:
    octets, kind = bytearray(datagram), rng.random()
    if kind < 0.15:
        return bytes(octets[: rng.randrange(len(octets) + 1)])
    if kind < 0.25:
        at = rng.randrange(len(octets))
        return bytes(octets[:at] + rng.randbytes(rng.randrange(1, 9)) + octets[at:])
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(octets)) if rng.random() < 0.3 else rng.randrange(min(126, len(octets)))
        octets[at] = rng.choice((rng.choice(STRANGE), rng.randrange(256)))
    return bytes(octets)
