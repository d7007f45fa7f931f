"""All figures of the live bridge beside those asked for: bridge and peer measured by the same code in the same run.

    python tools/bench/figures.py                 some ten minutes
    python tools/bench/figures.py --quick         two minutes, fewer samples
    python tools/bench/figures.py --minutes 60    with an hour of endurance; --datagrams 1000000 with all of the fuzz
    python tools/bench/desk.py                    the figures beside a desk
    python tools/bench/panel.py                   the panel's figures
    python tools/bench/solve.py --full            the solver's figures
    python tools/bench/solve_reality.py           what real hands, heads and crews do to them

Leave the machine alone meanwhile. Numbers are printed, never asserted: tests are elsewhere.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_rig import install
from ear import Ear, machine
from fuzz import fuzz
from latency import cost_of, endure, measure, start_bridge, start_peer, stop, until_first_packet

from bridge.follow.commands.table import Commands
from bridge.follow.engine import Engine
from bridge.geometry.mechanics import miss_distance
from bridge.rig.encode import Encoder
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.wire.settings import LostInput


def beam_error_mm(folder: Path) -> tuple[float, float]:
    """Worst beam error (mm) of the bytes against the exact point over the polygon, and the farthest throw (m)."""
    show = load(folder)
    rig = Rig.from_fixtures(show.fixtures, show.poses)
    engine, encoder = Engine(rig, show.stage, LostInput()), Encoder(rig)
    commands = Commands(engine)
    worst_m, farthest_m, full = 0.0, 0.0, 65535.0
    for number, (x, y) in enumerate(engine.place.zones.polygon.polygon.grid(1.0).tolist()):
        for step in range(200):
            now_s = number * 10.0 + step * 0.05
            commands.handle("/target/lead/position", (x, y), "bench", now_s)
            frame = engine.tick(now_s)
        raw = encoder.raw(frame).astype(float)
        angles = []
        for row, axis in ((0, "pan"), (1, "tilt")):
            ends = np.array(
                [[getattr(f.profile, axis).from_deg, getattr(f.profile, axis).to_deg] for f in show.fixtures]
            )
            angles.append(np.radians(ends[:, 0] + (ends[:, 1] - ends[:, 0]) * raw[row] / full))
        start, direction = rig.heads.beam(*angles)
        point = np.full((len(rig), 3), engine.place.points(now_s)[0])
        worst_m = max(worst_m, float(miss_distance(start, direction, point).max()))
        farthest_m = max(farthest_m, float(frame.distance.max()))
    return 1000 * worst_m, farthest_m


def live(samples: int, seconds: float, heads: list[int]) -> tuple[dict[str, Any], dict[str, Any], dict[int, Any]]:
    """The bridge, the peer, and the cost of larger rigs."""
    port, universe = 30150, 30150
    with tempfile.TemporaryDirectory() as scratch:
        folder, log = install(Path(scratch) / "show", 12, universe, port), Path(scratch) / "log"
        ours = measure(start_bridge(folder, log), port, universe, samples, seconds, log)
        costs = {n: cost_of(n, port, universe, seconds, Path(scratch)) for n in heads}
        ours["beam_mm"], ours["throw_m"] = beam_error_mm(folder)
    theirs = measure(start_peer(port + 2, universe + 1), port + 2, universe + 1, samples, seconds)
    return ours, theirs, costs


def long_run(minutes: int, datagrams: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Endurance, then fuzz, on one daemon."""
    port, universe = 30156, 30156
    with tempfile.TemporaryDirectory() as scratch:
        log = Path(scratch) / "log"
        process = start_bridge(install(Path(scratch) / "show", 12, universe, port), log)
        ear = Ear(universe)
        try:
            until_first_packet(ear, log=log)
            lasted = endure(port, universe, process.pid, minutes)
            junked = fuzz(port, universe, process.pid, datagrams)
        finally:
            ear.close()
            stop(process)
        junked["faults"] = log.read_text(errors="replace").count("fault of this program")
    return lasted, junked


def rows(ours: dict[str, Any], theirs: dict[str, Any], costs: dict[int, Any]) -> list[tuple[str, str, str, str]]:
    """Figure, asked, bridge, peer."""
    table = [
        (
            "OSC to changed packet, idle before: p50",
            "<= 1/20 of the peer's",
            f"{ours['latency']['p50_ms']:.2f} ms (1/{theirs['latency']['p50_ms'] / ours['latency']['p50_ms']:.1f})",
            f"{theirs['latency']['p50_ms']:.2f} ms",
        ),
        ("the same: p99", "<= 2 ms", f"{ours['latency']['p99_ms']:.2f} ms", f"{theirs['latency']['p99_ms']:.2f} ms"),
        (
            "added delay, 100 Hz input: p95",
            "<= 23 ms",
            f"{ours['age']['p95_ms']:.1f} ms",
            f"{theirs['age']['p95_ms']:.1f} ms",
        ),
        ("start to first packet", "<= 1.5 s", f"{ours['first_packet_s']:.2f} s", f"{theirs['first_packet_s']:.2f} s"),
        (
            "CPU, 12 heads, 100 Hz in",
            "<= 3 %",
            f"{ours['cost']['cpu_percent']} %",
            f"{theirs['cost']['cpu_percent']} %",
        ),
        (
            "beam error of the bytes",
            "<= 3 mm at 20 m",
            f"{ours['beam_mm']:.2f} mm at up to {ours['throw_m']:.1f} m",
            "",
        ),
    ]
    for name, words in (("period_harmless_junk", "1,000 msg/s, 1 % harmless junk"), ("period", "... with every junk")):
        for what, asked in (("deviation_p99_ms", "p99 <= 1.5 ms"), ("lost", "0"), ("early", "0")):
            table.append((f"period, {words}: {what}", asked, str(ours[name][what]), str(theirs[name][what])))
    for heads, found in costs.items():
        asked = {512: "<= 8 %", 4096: "<= 50 %"}.get(heads, "")
        table.append((f"CPU, {heads} heads", asked, f"{found['cpu_percent']} % ({found['packets']} packets heard)", ""))
    return table


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--minutes", type=int, default=2)
    parser.add_argument("--datagrams", type=int, default=100_000)
    args = parser.parse_args()
    samples, seconds = (60, 4.0) if args.quick else (300, 20.0)
    print(machine(), time.strftime("%Y-%m-%d %H:%M"), flush=True)
    print("peer: python-osc's threading server and sacn's sender thread at 44 per second, the same 12-head geometry\n")
    table = rows(*live(samples, seconds, [512, 4096]))
    if not args.quick:
        lasted, junked = long_run(args.minutes, args.datagrams)
        memory = lasted["rss_mb"]
        table += [
            (f"memory, minute 1 to {args.minutes}", "no growth", f"{memory['first']} to {memory['last']} MB", ""),
            (f"longest gap in {args.minutes} min", "<= 100 ms", f"{lasted['longest_gap_ms']} ms", ""),
            (f"{junked['datagrams']} fuzzed: frames late", "0", str(junked["late_by_more_than_a_period"]), ""),
            ("... exceptions that escaped", "0", str(junked["faults"]), ""),
        ]
    widths = [max(len(row[k]) for row in table) for k in range(4)]
    for row in [("figure", "asked", "bridge", "peer"), *table]:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    print("\nafter:", machine())


if __name__ == "__main__":
    main()
