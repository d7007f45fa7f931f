"""Fuzzed datagrams at a running daemon while it follows a walk: is any frame late, does it live, does it still obey?

    python tools/bench/fuzz.py --datagrams 1000000

Every datagram comes from a seed: mutations of valid ones, random octets, evil bundles, huge and empty ones. None of the
valid ones switches the rig (no arm, dark, still or take), so that output must go on all the time.
"""

from __future__ import annotations

import argparse
import json
import random
import struct
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from bench_rig import install
from ear import Ear, Packet, drops, machine, rss_mb
from latency import PERIOD_S, gaps, start_bridge, stop, until_first_packet, warm_up
from mouth import JUNK, Mouth, position

NOW = b"#bundle\0" + struct.pack(">Q", 1)
ZERO_FLOATS = b",fff\0\0\0\0" + bytes(12)


def padded(text: bytes) -> bytes:
    """An OSC string."""
    return text + b"\0" * (4 - len(text) % 4)


def bundle(*elements: bytes) -> bytes:
    """An OSC bundle."""
    return NOW + b"".join(struct.pack(">i", len(e)) + e for e in elements)


VALID = (
    position(1.0, 3.0),
    padded(b"/target/lead/velocity") + padded(b",ff") + struct.pack(">ff", 0.3, -0.2),
    padded(b"/target/lead/alive") + padded(b","),
    padded(b"/target/lead/pointing") + padded(b",sff") + padded(b"h-1") + struct.pack(">ff", 10.0, 30.0),
    padded(b"/fixture/h-3/level") + padded(b",f") + struct.pack(">f", 0.8),
    padded(b"/level") + padded(b",d") + struct.pack(">d", 1.0),
    padded(b"/fixture/h-2/trim") + padded(b",ii") + bytes(8),
    padded(b"/feed/subscribe") + padded(b",if") + struct.pack(">if", 9, 1.0),
    bundle(position(0.0, 2.0), bundle(position(0.5, 2.0))),
)
INSERTS = (b"\0", b"\xff\xff\xff\xfc", b"#bundle\0", b",ffff", b"\x7f\xc0\0\0", b"\x7f\x80\0\0", b"*", b"/", b"\x80")


def nested(depth: int) -> bytes:
    """Bundles within bundles."""
    octets = position(0.0, 1.0)
    for _ in range(depth):
        octets = bundle(octets)
    return octets


EVIL = (
    *JUNK,
    nested(7),
    nested(200),
    bundle(*[b"/x\0\0"] * 900),
    bundle(*[NOW] * 400),
    bundle(*[position(0.0, 1.0)] * 160),
    bundle(*[padded(b"/level") + padded(b"," + b"b" * 64) + bytes(256)] * 23),
    padded(b"/target/lead/position") + padded(b"," + b"f" * 1500) + bytes(6000),
    padded(b"/level") + padded(b"," + b"[" * 600),
    padded(b"/" + b"/" * 4000) + ZERO_FLOATS,
    padded(b"/target/" + b"{a,b}" * 40 + b"/position") + ZERO_FLOATS,
    padded(b"/level") + padded(b",b") + struct.pack(">i", -1),
    padded(b"/level") + padded(b",s") + b"\xff" * 64,
    b"\0" * 65000,
    b"/" * 60000,
)


def datagrams(seed: int) -> Iterator[bytes]:
    """Fuzzed datagrams without end; the same for the same seed."""
    rng = random.Random(seed)
    while True:
        kind = rng.random()
        if kind < 0.75:
            yield mutated(rng)
        elif kind < 0.97:
            yield rng.choice((b"", b"/", b"#bundle\0", NOW, b"/level\0\0,")) + rng.randbytes(rng.randrange(200))
        else:
            yield rng.choice(EVIL)


def mutated(rng: random.Random) -> bytes:
    """A valid datagram with one to four octets changed, cut out or put in."""
    octets = bytearray(rng.choice(VALID))
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(octets) + 1)
        kind = rng.randrange(4)
        if kind == 0:
            del octets[at : at + rng.choice((1, 4, 8, 1000))]
        elif kind == 1:
            octets[at:at] = rng.choice(INSERTS)
        elif at < len(octets):
            octets[at] = rng.randrange(256)
    return bytes(octets)


def fuzz(osc_port: int, universe: int, pid: int, count: int, rate_hz: float = 5000.0, seed: int = 1) -> dict[str, Any]:
    """Send `count` fuzzed datagrams among 100 positions a second; lateness of the packets, memory, and life after.

    A gap between packets of more than two periods is a frame late by more than one.
    """
    ear, mouth, source = Ear(universe), Mouth(osc_port), datagrams(seed)
    warm_up(ear, mouth)
    before_mb, start_s = rss_mb(pid), time.time()
    packets: list[Packet] = []
    every = max(1, round(rate_hz / 100.0))
    for n in range(count):
        if n % every == 0:
            mouth.say(position(5.0 * np.sin(n / rate_hz), 4.0))
            packets += ear.hear(start_s + n / rate_hz - time.time())
        mouth.say(next(source))
    seconds = time.time() - start_s
    answer = gaps(packets)
    apart_s = np.diff([packet.at_s for packet in packets])
    warm_up(ear, mouth, 6.0)
    ear.hear()
    ear.close()
    return {
        "datagrams": count,
        "per_second": round(count / seconds),
        "seed": seed,
        "dropped_by_the_kernel": drops(osc_port),
        **answer,
        "late_by_more_than_a_period": int((apart_s > 2 * PERIOD_S).sum()),
        "rss_mb": [round(before_mb, 1), round(rss_mb(pid), 1)],
    }


def obeys(osc_port: int, universe: int) -> bool:
    """Whether a position still moves the beams."""
    ear, mouth = Ear(universe), Mouth(osc_port)
    warm_up(ear, mouth)
    before = ear.hear(1.5)
    mouth.say(position(2.0, 5.0))
    after = ear.hear(0.5)
    ear.close()
    return bool(before and after and after[-1].slots != before[-1].slots)


def main() -> None:
    """Start a daemon with the 12-head rig, fuzz it, print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--datagrams", type=int, default=1_000_000)
    parser.add_argument("--rate", type=float, default=5000.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--universe", type=int, default=30160)
    parser.add_argument("--osc-port", type=int, default=30160)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        log = Path(scratch) / "log"
        process = start_bridge(install(Path(scratch) / "show", 12, args.universe, args.osc_port), log)
        ear = Ear(args.universe)
        try:
            until_first_packet(ear, log=log)
            answer = fuzz(args.osc_port, args.universe, process.pid, args.datagrams, args.rate, args.seed)
            answer["obeys_afterwards"] = obeys(args.osc_port, args.universe)
        finally:
            ear.close()
            stop(process)
        text = log.read_text(errors="replace")
        answer |= {"exit_code": process.returncode, "log_lines": text.count("\n")}
        answer["faults_logged"] = text.count("Traceback") + text.count("fault of this program")
    print(json.dumps({"machine": machine(), "fuzz": answer}, indent=2))


if __name__ == "__main__":
    main()
