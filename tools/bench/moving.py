"""Moving performers: beam to performer at that moment, led and not led in the same run. `--quick` for a short one.

Two real daemons, one that leads and one that does not, hear the same observations of the same four performers and
send real sACN; twelve virtual heads on each performer (lag 0.12 s, motors 200 deg/s and 700 deg/s²) play it.
    tools/bench/moving.py [--quick] [--seconds N] [--seed S] [--rows exact,hand] [--only table,events,latency]
On a machine with other work, `--first` (as root) lets daemons and senders go before it, as alone they would.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import bench_rig
import numpy as np
from ear import Ear, machine
from latency import latency, start_bridge, stop, until_first_packet
from moving_drive import Daemons, Driven, Seen, Way, go_first
from moving_judge import Judged, judge, rms_p95
from moving_rig import TARGETS
from moving_ways import Course, events, walks

UNIVERSE, PORT = 31500, 31500
SETTLE_S = 1.0  # of a walk, before it counts
ROWS = {
    "exact": Seen("exact, 60 Hz"),
    "noisy": Seen("2 cm per axis, 20 ms old, 60 Hz", noise_m=0.02, delay_s=0.02),
    "lossy": Seen("the same, 10 % loss, 30 ms jitter", noise_m=0.02, delay_s=0.02, jitter_s=0.03, loss=0.1),
    "hand": Seen("a hand at 30 Hz", rate_hz=30.0),
}
ASKED = {
    "exact": ("<= 0.5", "<= 2 / 4", "<= 4 / 8", "<= 6 / 12"),
    "noisy": ("<= 1.5", "<= 5.5 / 9.5", "<= 9 / 16", "<= 10.5 / 18"),
    "lossy": ("<= 1.5", "<= 6.5 / 11", "<= 11 / 19", "<= 13 / 22"),
    "hand": ("<= 0.5", "<= 2.5 / 5", "<= 5 / 10", ""),
}
LED, NOT_LED = "led", "not led"


def motions(delay_s: float) -> dict[str, str]:
    """What stage.yaml says of the targets of either daemon."""
    return {
        LED: f"motion: {{predict: on, delay: {delay_s:g}}}",
        NOT_LED: f"motion: {{predict: off, delay: {delay_s:g}}}",
    }


def run(seen: Seen, ways: Any, seconds: float, seed: int, first: bool) -> tuple[dict[str, Judged], dict[str, Driven]]:
    """Both daemons, judged and as they were driven."""
    with tempfile.TemporaryDirectory() as scratch:
        daemons = Daemons(Path(scratch), motions(seen.delay_s), UNIVERSE, PORT)
        try:
            if first:
                daemons.go_first()
            start_s, driven = daemons.drive(ways, seen, seconds, seed)
        finally:
            daemons.close()
            os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
        judged = {name: judge(start_s, ways, one, seconds - 0.2) for name, one in driven.items()}
        return judged, driven


def table(rows: list[str], seconds: float, seed: int, first: bool) -> dict[str, float]:
    """Print RMS / 95 % in cm by input and walk; returns the CPU of the last of both."""
    print(f"{'input':36}{'':9}" + "".join(f"{name:>15}" for name in TARGETS) + f"{'CPU':>8}{'late ms':>8}")
    spent: dict[str, float] = {}
    for row in rows:
        ways = walks(seconds, seed)
        judged, driven = run(ROWS[row], ways, seconds, seed, first)
        print(f"{ROWS[row].name:36}{'asked':9}" + "".join(f"{text:>15}" for text in ASKED[row]))
        spent = {name: one.cpu_percent for name, one in driven.items()}
        for name, one in judged.items():
            after = one.at_s >= SETTLE_S
            cells = ["{:.1f} / {:.1f}".format(*rms_p95(one.errors[target][after])) for target in TARGETS]
            print(
                f"{'':36}{name:9}"
                + "".join(f"{cell:>15}" for cell in cells)
                + f"{spent[name]:>7.1f}%{driven[name].late_ms:>8.1f}",
                flush=True,
            )
        behind = {n: [_behind_ms(judged[n], target, ways[target]) for target in TARGETS[1:]] for n in judged}
        for name, late in behind.items():
            print(f"{'':36}{name:9}{'behind, ms':>15}" + "".join(f"{ms:>15.1f}" for ms in late))
    return spent


def _behind_ms(one: Judged, target: str, way: Way) -> float:
    """By how much beams are late on the whole: the time that best explains how far they are behind, ms."""
    here = np.array([way.at(t) for t in one.at_s])
    velocity = np.gradient(here, one.at_s, axis=0)[:, None]
    counts = np.isfinite(one.errors[target]) & (one.at_s > SETTLE_S)[:, None]
    off = np.where(counts[..., None], here[:, None] - one.landings[target], 0.0)
    return float(1e3 * (off * velocity).sum() / (velocity**2 * counts[..., None]).sum())


def event_lines(seconds: float, seed: int, first: bool) -> None:
    """Stops, turns and strays, exact input at 60 Hz: 95 % over moments and heads."""
    ways: dict[str, Course] = events(seconds)
    strays = tuple((2.0 + 2.13 * k, *((7.4, 3.0), (0.0, 8.0))[k % 2]) for k in range(int((seconds - 4) / 2.13)))
    judged, _ = run(Seen("exact", strays={"stand": strays}), ways, seconds, seed, first)
    for name, one in judged.items():
        past, settled = _stops(one, ways["run"])
        print(
            f"{name:9} stop from a run: {past:.1f} cm past the performer (<= 15), settled in {settled:.2f} s (<= 0.4)"
        )
        print(f"{'':9} sudden turn at 2.5 m/s: within 10 cm after {_back(one, 'stroll', ways):.2f} s (<= 0.35)")
        rms, p95 = rms_p95(one.errors["dance"][one.at_s >= SETTLE_S])
        print(f"{'':9} turns of 90 degrees at 5 m/s with 6 m/s², one after another: {rms:.1f} / {p95:.1f} cm")
        after = one.at_s > 1.5
        dark = np.isnan(one.errors["stand"][after])
        landings = one.landings["stand"][after]
        moved = 100 * float(np.linalg.norm(landings - landings[0], axis=2).max())
        print(f"{'':9} {len(strays)} strays of 8 m: beam moves {moved:.2f} cm (<= 1), dark {100 * dark.mean():.1f} %")


def _stops(one: Judged, way: Course) -> tuple[float, float]:
    """How far, cm, beams go past the performer while it brakes and stands, and how long after it stands until they are
    within 5 cm for good, s."""
    past, settled = [], []
    for when, (dx, dy) in way.moments:
        window = (one.at_s >= when) & (one.at_s < when + 0.8333 + 1.1)
        at_s = one.at_s[window]
        if not len(at_s) or one.at_s[-1] < when + 2.0:
            continue
        here = np.array([way.at(t) for t in at_s])
        ahead = (one.landings["run"][window] - here[:, None]) @ np.array([dx, dy])
        past.append(ahead.max(axis=0))
        off = one.errors["run"][window] > 0.05
        last = np.array([at_s[column].max(initial=0.0) for column in off.T])
        settled.append(np.maximum(last - when - 0.8333, 0.0))
    return 100 * float(np.percentile(past, 95)), float(np.percentile(settled, 95))


def _back(one: Judged, target: str, ways: dict[str, Course]) -> float:
    """How long after a turn begins until beams are within 10 cm again, s."""
    found = []
    for when, _ in ways[target].moments:
        window = (one.at_s >= when) & (one.at_s < when + 1.4)
        if one.at_s[-1] < when + 1.4:
            continue
        off = one.errors[target][window] > 0.10
        found.append([max(float(one.at_s[window][column].max(initial=when)) - when, 0.0) for column in off.T])
    return float(np.percentile(found, 95))


def latencies(samples: int, first: bool) -> None:
    """OSC to packet, led and not led, turn by turn."""
    stage = bench_rig.STAGE
    found: dict[str, list[float]] = {LED: [], NOT_LED: []}
    try:
        for round_ in range(4):
            name = (LED, NOT_LED)[round_ % 2]
            bench_rig.STAGE = stage.replace("source: osc", f"source: osc, {motions(0.0)[name]}")
            with tempfile.TemporaryDirectory() as scratch:
                folder = bench_rig.install(Path(scratch) / "show", 12, UNIVERSE + 50, PORT + 50)
                process = start_bridge(folder, Path(scratch) / "log")
                try:
                    until_first_packet((ear := Ear(UNIVERSE + 50)), log=Path(scratch) / "log")
                    ear.close()
                    if first:
                        go_first(os.getpid(), process.pid)
                    found[name].append(latency(PORT + 50, UNIVERSE + 50, samples, round_ // 2)["p50_ms"])
                finally:
                    stop(process)
    finally:
        bench_rig.STAGE = stage
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    led, plain = (float(np.mean(found[name])) for name in (LED, NOT_LED))
    print(f"OSC to packet p50: led {led:.3f} ms, not led {plain:.3f} ms: {100 * (led / plain - 1):+.1f} % (<= +5 %)")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="12 s a row instead of 60")
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", action="store_true")
    parser.add_argument("--rows", default=",".join(ROWS))
    parser.add_argument("--only", default="table,events,latency")
    args = parser.parse_args()
    seconds = args.seconds or (12.0 if args.quick else 60.0)
    wanted = args.only.split(",")
    print(machine(), f"seed {args.seed}, {seconds:g} s a row; RMS / 95 %, cm", flush=True)
    if "table" in wanted:
        spent = table(args.rows.split(","), seconds, args.seed, args.first)
        print(f"CPU of four targets: led {spent[LED] - spent[NOT_LED]:+.1f} % of a core (<= +1)")
    if "events" in wanted:
        event_lines(min(seconds, 30.0), args.seed, args.first)
    if "latency" in wanted:
        latencies(40 if args.quick else 200, args.first)
    print("after:", machine(), file=sys.stderr)


if __name__ == "__main__":
    main()
