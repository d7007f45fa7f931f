"""Datagrams for a reader of a tracking protocol from a seed: good ones, mutations of them, and junk.

An escape is an exception, a point that cannot be one (no number, too far, no time in whole us), a packet that no
counter has, or more than 5 ms of processor time for one packet.
"""

from __future__ import annotations

import math
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import NamedTuple, Protocol

from bridge.wire.tracked import Point

SLOW_S = 0.005
STRANGE = (0, 1, 2, 0x0F, 0x7F, 0x80, 0xFF)


class Reads(Protocol):
    """What every reader of a tracking protocol has."""

    counters: Counter[str]

    def take(self, packet: bytes, host: str, now_s: float, /) -> list[Point]: ...


class Fuzzed(NamedTuple):
    """A protocol: its reader, good packets of it (the number rises), the farthest place, how a packet begins."""

    reader: Callable[[], Reads]
    good: Callable[[random.Random, int], bytes]
    farthest: float
    begins: bytes


class Found(NamedTuple):
    """`escapes` by what they were; `slowest_us` and `mean_us` of processor time for a packet."""

    escapes: Counter[str]
    reader: Reads
    points: int
    slowest_us: float
    mean_us: float


def datagrams(what: Fuzzed, seed: int, count: int) -> Iterator[tuple[bytes, str, float]]:
    """`count` of (datagram, host, seconds); time goes on by up to 8 s at a time, mostly by little."""
    rng, now_s = random.Random(seed), 0.0
    kept = [what.good(rng, number) for number in range(64)]
    for number in range(count):
        now_s += rng.choice((0.0, 0.001, 0.016)) if rng.random() < 0.9995 else rng.choice((0.5, 8.0))
        kind = rng.random()
        if kind < 0.2:
            datagram = kept[rng.randrange(64)] = what.good(rng, number)
        elif kind < 0.9:
            datagram = _mutated(rng, rng.choice(kept), rng.choice(kept))
        else:
            begin = what.begins[: rng.randrange(len(what.begins) + 1)]
            datagram = begin + rng.randbytes(rng.choice((0, 1, 3, 20, 60, 100, 300, 1472, 4000)))
        yield datagram, f"192.0.2.{rng.randrange(4)}", now_s


def fuzz(what: Fuzzed, seed: int, count: int) -> Found:
    """All of them at one reader."""
    reader, escapes, points, slowest_s, sum_s = what.reader(), Counter[str](), 0, 0.0, 0.0
    for datagram, host, now_s in datagrams(what, seed, count):
        began_s = time.thread_time()
        try:
            given = reader.take(datagram, host, now_s)
        except Exception as error:
            escapes[type(error).__name__] += 1
            continue
        took_s = time.thread_time() - began_s
        slowest_s, sum_s, points = max(slowest_s, took_s), sum_s + took_s, points + len(given)
        escapes["slow"] += took_s > SLOW_S
        escapes["no point"] += sum(not _is_point(point, what.farthest) for point in given)
    escapes["not counted"] += abs(sum(reader.counters.values()) - count)
    return Found(+escapes, reader, points, slowest_s * 1e6, sum_s / count * 1e6)


def _is_point(point: Point, farthest: float) -> bool:
    numbers = (*point.place, *(point.velocity or ()))
    timed = point.sampled_us is None or (isinstance(point.sampled_us, int) and 0 <= point.sampled_us < 2**64)
    return bool(point.name) and timed and all(math.isfinite(n) and abs(n) <= farthest for n in numbers)


def _mutated(rng: random.Random, datagram: bytes, other: bytes) -> bytes:
    octets, kind = bytearray(datagram), rng.random()
    at = rng.randrange(len(octets))
    if kind < 0.1:
        return bytes(octets[:at])
    if kind < 0.2:
        return bytes(octets[:at] + rng.randbytes(rng.randrange(1, 60)) + octets[at:])
    if kind < 0.25:
        return bytes(octets) + rng.randbytes(rng.randrange(1, 60))
    if kind < 0.3:
        return bytes(octets[:at]) + other[at:]
    for _ in range(rng.randrange(1, 4)):
        octets[rng.randrange(len(octets))] = rng.choice((rng.choice(STRANGE), rng.randrange(256)))
    return bytes(octets)
