"""Latency, period, age and cost of any process that hears `/target/lead/position` and sends E1.31 on loopback.

Functions take the OSC port and the universe, so that the daemon and the peer are measured by the same code in the same
run; they return plain dicts. By itself it measures both with the 12-head rig:  python tools/bench/latency.py --help
"""

from __future__ import annotations

import argparse
import json
import math
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from bench_rig import PAN_FROM, PAN_TO, TARGET_Z, TILT_FROM, TILT_TO, install, place
from ear import Ear, Packet, cpu_s, drops, machine, quantiles_ms, rss_mb
from mouth import HARMLESS_JUNK, JUNK, Mouth, drive, position

HERE = Path(__file__).resolve().parent
PERIOD_S = 1 / 44
EARLY_S = 0.0005
"""A gap this much under the period counts as early: above the jitter of a send call, far below what matters."""


def until_first_packet(ear: Ear, mouth: Mouth | None = None, timeout_s: float = 15.0, log: Path | None = None) -> float:
    """Wait for output and, with a mouth, for its light to follow; returns when the first packet came.

    Raises RuntimeError, with the end of the process's log, when there is none.
    """
    end_s = time.time() + timeout_s
    while time.time() < end_s:
        packets = ear.hear(0.2)
        if packets:
            if mouth is not None:
                warm_up(ear, mouth)
            return packets[0].at_s
    tail = log.read_text(errors="replace")[-2000:] if log is not None else ""
    raise RuntimeError(f"no packet within {timeout_s:g} s: does the process run, and on this universe?\n{tail}")


def warm_up(ear: Ear, mouth: Mouth, seconds: float = 3.0) -> None:
    """Bring the target to the middle and the heads to rest on it, lit."""
    end_s = time.time() + seconds
    while time.time() < end_s:
        mouth.say(position(0.0, 4.0))
        ear.hear(0.05)


def latency(osc_port: int, universe: int, samples: int = 300, seed: int = 1) -> dict[str, Any]:
    """OSC datagram to the first packet with other slots, the output idle (no change for 0.15 s) before each.

    A sample that falls within a period after a keep-alive must wait for the rate limit, whoever sends: those are
    counted under `after_keep_alive` with their own figures and not in p50 and p99.
    """
    rng, ear, mouth = random.Random(seed), Ear(universe), Mouth(osc_port)
    until_first_packet(ear, mouth)
    idle_s: list[float] = []
    waited_s: list[float] = []
    lost = 0
    slots, last_s = b"", 0.0
    for _ in range(samples):
        slots, last_s = _rest(ear, slots, last_s)
        end_s = time.time() + rng.uniform(0.0, 0.05)
        while (left_s := end_s - time.time()) > 0:
            last_s = max([last_s, *(p.at_s for p in ear.hear(left_s))])
        angle = rng.uniform(0, 2 * math.pi)
        sent_s = mouth.say(position(0.2 * math.cos(angle), 4.0 + 0.2 * math.sin(angle)))
        changed_s = _first_change(ear, slots, sent_s + 1.0)
        if changed_s is None:
            lost += 1
        else:
            (idle_s if sent_s - last_s >= PERIOD_S else waited_s).append(changed_s - sent_s)
    ear.close()
    return {
        "samples": len(idle_s),
        **quantiles_ms(idle_s, 50, 99, 100),
        "unanswered": lost,
        "after_keep_alive": {"samples": len(waited_s), **quantiles_ms(waited_s, 50, 100)},
    }


def _rest(ear: Ear, slots: bytes, last_s: float, quiet_s: float = 0.15) -> tuple[bytes, float]:
    """Wait until the slots have not changed for `quiet_s`; returns them and when the last packet came."""
    since_s = time.time()
    while time.time() - since_s < quiet_s:
        for packet in ear.hear(0.02):
            last_s = packet.at_s
            if packet.slots != slots:
                slots, since_s = packet.slots, time.time()
    return slots, last_s


def _first_change(ear: Ear, slots: bytes, end_s: float) -> float | None:
    while (left_s := end_s - time.time()) > 0:
        for packet in ear.hear(left_s):
            if packet.slots != slots:
                return packet.at_s
    return None


def gaps(packets: list[Packet]) -> dict[str, Any]:
    """How the packets of a universe are spaced against 44 Hz: deviation, lost by sequence, early, worst gap."""
    if len(packets) < 2:
        return {"packets": len(packets)}
    apart_s = np.diff([packet.at_s for packet in packets])
    counted = np.diff([packet.sequence for packet in packets]) % 256
    off = quantiles_ms(np.abs(apart_s - PERIOD_S), 50, 99, 100)
    return {
        "packets": len(packets),
        **{f"deviation_{name}": value for name, value in off.items()},
        "lost": int((counted - 1).sum()),
        "early": int((apart_s < PERIOD_S - EARLY_S).sum()),
        "shortest_gap_ms": round(float(apart_s.min()) * 1e3, 3),
        "longest_gap_ms": round(float(apart_s.max()) * 1e3, 3),
    }


def period(
    osc_port: int, universe: int, pid: int, seconds: float = 20.0, kinds: Sequence[bytes] = JUNK
) -> dict[str, Any]:
    """Packet period with 1,000 messages/s plus 1 % junk and the feed subscribed; CPU and memory meanwhile."""
    drive(osc_port, universe, 3.0, 100.0, 1.4)
    before_s, start_s = cpu_s(pid), time.time()
    packets, _ = drive(osc_port, universe, seconds, 1000.0, 1.4, junk=0.01, kinds=kinds, feed=True)
    share = (cpu_s(pid) - before_s) / (time.time() - start_s)
    return {
        **gaps(packets),
        "cpu_percent": round(100 * share, 2),
        "rss_mb": round(rss_mb(pid), 1),
        "dropped": drops(osc_port),
    }


def cost(osc_port: int, universe: int, pid: int, seconds: float = 20.0) -> dict[str, Any]:
    """CPU of one core and memory with 100 inputs a second and 44 packets out; packets so that it did its work."""
    drive(osc_port, universe, 3.0, 100.0, 1.4)
    before_s, start_s = cpu_s(pid), time.time()
    packets, _ = drive(osc_port, universe, seconds, 100.0, 1.4)
    share = (cpu_s(pid) - before_s) / (time.time() - start_s)
    return {"cpu_percent": round(100 * share, 2), "rss_mb": round(rss_mb(pid), 1), "packets": len(packets)}


def endure(osc_port: int, universe: int, pid: int, minutes: int = 60) -> dict[str, Any]:
    """Memory and the worst gap, minute by minute, at 100 inputs a second."""
    memory_mb, longest_ms, lost = [], [], 0
    for _ in range(minutes):
        found = gaps(drive(osc_port, universe, 60.0, 100.0, 1.4)[0])
        memory_mb.append(round(rss_mb(pid), 2))
        longest_ms.append(found["longest_gap_ms"])
        lost += found["lost"]
    return {"rss_mb": {"first": memory_mb[0], "last": memory_mb[-1]}, "longest_gap_ms": max(longest_ms), "lost": lost}


def age(osc_port: int, universe: int, seconds: float = 30.0, speed: float = 3.0) -> dict[str, Any]:
    """Added delay at 100 inputs a second: from each input to the packet whose beam has reached it or a newer one.

    Read back from the bytes: where head 0's beam meets the target's height tells which input the packet carries.
    """
    drive(osc_port, universe, 3.0, 100.0, speed)
    packets, inputs = drive(osc_port, universe, seconds, 100.0, speed)
    sent_s, x = np.array([t for t, _ in inputs]), np.array([v for _, v in inputs])
    at_s, landed = np.array([p.at_s for p in packets]), np.array([landing_x(p.slots) for p in packets])
    going = np.sign(np.gradient(x))
    delays_s = []
    turns_s = sent_s[np.flatnonzero(np.diff(going))]
    for n, (when_s, where) in enumerate(zip(sent_s, x, strict=True)):
        if (len(turns_s) and np.abs(turns_s - when_s).min() < 0.4) or when_s > sent_s[-1] - 0.4:
            continue  # near a turn the same place is passed twice
        later = (at_s >= when_s) & (at_s < when_s + 0.4)
        reached = later & ((landed - where) * going[n] >= -0.002)
        delays_s.append(at_s[reached].min() - when_s if reached.any() else 0.4)
    return {"inputs": len(delays_s), **quantiles_ms(delays_s, 50, 95, 100)}


def landing_x(slots: bytes) -> float:
    """Where the beam of the level head 0 meets the target's height: x in metres."""
    pan = math.radians(PAN_FROM + (PAN_TO - PAN_FROM) * int.from_bytes(slots[0:2], "big") / 65535)
    tilt = math.radians(TILT_FROM + (TILT_TO - TILT_FROM) * int.from_bytes(slots[2:4], "big") / 65535)
    x, _, z = place(0)
    return x - math.sin(pan) * math.tan(tilt) * (z - TARGET_Z)


def start_bridge(folder: Path, log: Path) -> subprocess.Popen[bytes]:
    """`python -m bridge run --armed` on a show folder, with a state folder of its own beside it."""
    words = [
        sys.executable,
        "-m",
        "bridge",
        "run",
        "--no-panel",
        str(folder),
        "--armed",
        "--state",
        str(folder) + ".state",
    ]
    return subprocess.Popen(words, cwd=HERE.parents[1], stdout=subprocess.DEVNULL, stderr=log.open("wb"))


def start_peer(osc_port: int, universe: int) -> subprocess.Popen[bytes]:
    """The plain composition of both libraries."""
    words = [sys.executable, str(HERE / "peer.py"), "--osc-port", str(osc_port), "--universe", str(universe)]
    return subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def measure(
    process: subprocess.Popen[bytes],
    osc_port: int,
    universe: int,
    samples: int,
    seconds: float,
    log: Path | None = None,
) -> dict[str, Any]:
    """All figures of one process, which is stopped afterwards.

    All junk comes last: the first bundle with an element of -4 leaves the peer with a thread that loops for ever, so
    what is measured of the peer from there on is a hung process, and only a kill ends it.
    """
    started_s, ear = time.time(), Ear(universe)
    try:
        first_s = until_first_packet(ear, log=log)
        return {
            "first_packet_s": round(first_s - started_s, 3),
            "latency": latency(osc_port, universe, samples),
            "cost": cost(osc_port, universe, process.pid, seconds),
            "age": age(osc_port, universe, seconds),
            "period_harmless_junk": period(osc_port, universe, process.pid, seconds, HARMLESS_JUNK),
            "period": period(osc_port, universe, process.pid, seconds),
        }
    finally:
        ear.close()
        stop(process)


def cost_of(heads: int, osc_port: int, universe: int, seconds: float, scratch: Path) -> dict[str, Any]:
    """CPU and memory of the daemon with so many heads."""
    log = scratch / f"log-{heads}"
    process = start_bridge(install(scratch / f"show-{heads}", heads, universe, osc_port), log)
    ear = Ear(universe)
    try:
        until_first_packet(ear, timeout_s=60.0, log=log)
        return cost(osc_port, universe, process.pid, seconds)
    finally:
        ear.close()
        stop(process)


def stop(process: subprocess.Popen[bytes]) -> bool:
    """Ask the process to end, kill it after 5 s; whether it ended by itself."""
    process.terminate()
    try:
        process.wait(5)
        return True
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return False


def main() -> None:
    """Measure the daemon and the peer, one after the other, and print both with the ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, default=300)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--universe", type=int, default=30150)
    parser.add_argument("--osc-port", type=int, default=30150)
    parser.add_argument("--heads", type=int, nargs="*", default=[], help="also the cost of so many heads: 512 4096")
    args = parser.parse_args()
    port, universe = args.osc_port, args.universe
    with tempfile.TemporaryDirectory() as scratch:
        folder = install(Path(scratch) / "show", 12, universe, port)
        process = start_bridge(folder, Path(scratch) / "log")
        ours = measure(process, port, universe, args.samples, args.seconds, Path(scratch) / "log")
        costs = {n: cost_of(n, port, universe, args.seconds, Path(scratch)) for n in args.heads}
    process = start_peer(port + 2, universe + 1)
    theirs = measure(process, port + 2, universe + 1, args.samples, args.seconds)
    ratio = round(ours["latency"]["p50_ms"] / theirs["latency"]["p50_ms"], 4)
    answer = {"machine": machine(), "bridge": ours, "peer": theirs, "p50_ratio": ratio, "cost_by_heads": costs}
    print(json.dumps(answer, indent=2))


if __name__ == "__main__":
    main()
