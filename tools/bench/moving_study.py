"""The estimator of moving performers by itself, in virtual time: how far the point ahead is from the performer then.

    python tools/bench/moving_study.py [--seed N] [--seconds 60] [--each 6] [--reference]

Performers as in moving_walkers; 60 observations a second (a hand 30), 44 frames, and a head that answers 0.12 s after
its packet and shows each until the next. RMS and 95 % in the plan, cm; beside it what was asked, the same without
prediction, and with --reference filterpy's Kalman filter of constant velocity on the same observations.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
from moving_walkers import DANCE, KINDS, RUN, STAND, STROLL, Kind, at, walks

from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Walk

FRAMES_HZ, LAG_S = 44.0, 0.12
SETTLED_S = 3.0


@dataclass(frozen=True)
class Input:
    """How performers are seen. `asked`: RMS and 95 %, cm, stand, stroll, dance, run."""

    name: str
    rate: float = 60.0
    noise_m: float = 0.0
    delay_s: float = 0.0
    loss: float = 0.0
    jitter_s: float = 0.0
    stamped: bool = False
    asked: tuple[tuple[float, ...], ...] = ()


NOISY = ((1.5,), (5.5, 9.5), (9, 16), (10.5, 18))
WORSE = ((1.5,), (6.5, 11), (11, 19), (13, 22))
INPUTS = (
    Input("exact, 60 Hz", asked=((0.5,), (2, 4), (4, 8), (6, 12))),
    Input("2 cm, 20 ms old", 60, 0.02, 0.02, asked=NOISY),
    Input("  10 % loss, 30 ms jitter", 60, 0.02, 0.02, 0.1, 0.03, asked=WORSE),
    Input("  the same with time stamps", 60, 0.02, 0.02, 0.1, 0.03, True, asked=WORSE),
    Input("a hand, 30 Hz", 30, asked=((0.5,), (2.5, 5), (5, 10), ())),
)


@dataclass
class Seen:
    """What one input says of one performer: arrival, own time, place (n, 3), in the order of arrival."""

    arrives_s: np.ndarray
    stamped_s: np.ndarray
    places: np.ndarray


def observe(track: np.ndarray, given: Input, seconds: float, rng: np.random.Generator) -> Seen:
    """What this input says of a performer."""
    sampled_s = np.arange(rng.uniform(0, 1 / given.rate), seconds, 1 / given.rate)
    sampled_s = sampled_s[rng.random(len(sampled_s)) >= given.loss]
    places = at(track, sampled_s)
    places[:, :2] += rng.normal(0, 1, (len(places), 2)) * given.noise_m
    arrives_s = sampled_s + given.delay_s + rng.uniform(0, 1, len(sampled_s)) * given.jitter_s
    order = np.argsort(arrives_s, kind="stable")
    stamps_s = sampled_s + given.delay_s if given.stamped else arrives_s
    return Seen(arrives_s[order], stamps_s[order], places[order])


def frames_of(seconds: float) -> np.ndarray:
    return np.arange(0.1, seconds - 0.3, 1 / FRAMES_HZ)


def follow(seen: list[Seen], tracks: Tracks, seconds: float) -> tuple[np.ndarray, np.ndarray, int]:
    """Places and points ahead (frames, R, 3), and how many jumps there were."""
    frames_s = frames_of(seconds)
    rows, jumps = np.arange(len(seen)), 0
    later_s = np.full(len(seen), LAG_S + 0.5 / FRAMES_HZ)
    places, aims = (np.empty((len(frames_s), len(seen), 3)) for _ in range(2))
    cut = [np.searchsorted(each.arrives_s, frames_s, side="right") for each in seen]
    said = [list(zip(map(tuple, each.places.tolist()), each.stamped_s.tolist(), strict=True)) for each in seen]
    for frame, now_s in enumerate(frames_s.tolist()):
        for row in rows.tolist():
            for place, at_s in said[row][cut[row][frame - 1] if frame else 0 : cut[row][frame]]:
                tracks.see(row, place, at_s)
        tracks.take_in(now_s)
        jumps += int(tracks.jumped.sum())
        places[frame] = tracks.place
        aims[frame] = tracks.place + tracks.ahead(rows, later_s)
    return places, aims, jumps


def errors(aims: np.ndarray, track: np.ndarray, seconds: float) -> np.ndarray:
    """How far the beam is from the performer, m: three moments of each frame after the first seconds."""
    frames_s = frames_of(seconds)
    late = frames_s > SETTLED_S
    off = []
    for share in (0.0, 0.5, 1.0):
        there = at(track, frames_s + LAG_S + share / FRAMES_HZ)
        off.append(np.hypot(*(aims - there)[late, :2].T))
    return np.concatenate(off)


def table(
    inputs: tuple[Input, ...], kinds: tuple[Kind, ...], args: argparse.Namespace
) -> dict[tuple[str, str], tuple[np.ndarray, ...]]:
    """Errors per input and walk: led, not led, and with the reference if asked for."""
    rng = np.random.default_rng(args.seed)
    cases = [(given, kind) for given in inputs for kind in kinds for _ in range(args.each)]
    truth = walks([kind for _, kind in cases], args.seconds, rng)
    seen = [observe(truth[:, row], given, args.seconds, rng) for row, (given, _) in enumerate(cases)]
    delays = [given.delay_s for given, _ in cases]
    _, led, _ = follow(seen, Tracks([Walk(delay=delay) for delay in delays]), args.seconds)
    _, plain, _ = follow(seen, Tracks([Walk(predict=False)] * len(cases)), args.seconds)
    aims = [led, plain, constant_velocity(seen, delays, cases, args.seconds)] if args.reference else [led, plain]
    found: dict[tuple[str, str], list[list[np.ndarray]]] = {}
    for row, (given, kind) in enumerate(cases):
        parts = found.setdefault((given.name, kind.name), [[] for _ in aims])
        for part, aim in zip(parts, aims, strict=True):
            part.append(errors(aim[:, row], truth[:, row], args.seconds))
    return {key: tuple(np.concatenate(part) for part in parts) for key, parts in found.items()}


def constant_velocity(
    seen: list[Seen], delays: list[float], cases: list[tuple[Input, Kind]], seconds: float
) -> np.ndarray:
    """Points ahead by filterpy's Kalman filter with constant velocity, noise known, acceleration 3 m/s² (white)."""
    from filterpy.kalman import KalmanFilter

    frames_s = frames_of(seconds)
    aims = np.empty((len(frames_s), len(seen), 3))
    for row, each in enumerate(seen):
        kalman = KalmanFilter(dim_x=4, dim_z=2)
        kalman.H = np.kron(np.eye(2), [[1.0, 0.0]])
        kalman.R *= max(cases[row][0].noise_m, 0.002) ** 2
        kalman.x = np.array([each.places[0, 0], 0, each.places[0, 1], 0])
        last_s, upto = each.stamped_s[0] - delays[row], 0
        for frame, now_s in enumerate(frames_s):
            while upto < len(each.arrives_s) and each.arrives_s[upto] <= now_s:
                at_s = each.stamped_s[upto] - delays[row]
                if at_s > last_s:
                    step = at_s - last_s
                    kalman.F = np.kron(np.eye(2), [[1.0, step], [0.0, 1.0]])
                    spread = 3.0**2 / 60 * np.array([[step**3 / 3, step**2 / 2], [step**2 / 2, step]]) * 10
                    kalman.predict(Q=np.kron(np.eye(2), spread))
                    kalman.update(each.places[upto, :2])
                    last_s = at_s
                upto += 1
            later_s = now_s - last_s + LAG_S + 0.5 / FRAMES_HZ
            aims[frame, row] = [kalman.x[0] + later_s * kalman.x[1], kalman.x[2] + later_s * kalman.x[3], 1.3]
    return aims


def figures(off: np.ndarray) -> str:
    return f"{100 * np.sqrt((off**2).mean()):5.1f} /{100 * np.quantile(off, 0.95):5.1f} /{100 * off.max():5.0f}"


def show(found: dict[tuple[str, str], tuple[np.ndarray, ...]]) -> None:
    """The table, one line per input and walk."""
    print(
        "input                       walk     led: RMS / 95 % / worst   asked        not led              reference, cm"
    )
    for given in INPUTS:
        for kind, asked in zip((STAND, STROLL, DANCE, RUN), given.asked, strict=True):
            if (given.name, kind.name) not in found:
                continue
            off = found[(given.name, kind.name)]
            wanted = " / ".join(f"{value:g}" for value in asked)
            rest = "   ".join(figures(each) for each in off[1:])
            print(f"{given.name:27} {kind.name:8} {figures(off[0])}      {wanted:10} {rest}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--each", type=int, default=6)
    parser.add_argument("--reference", action="store_true")
    show(table(INPUTS, KINDS, parser.parse_args()))


if __name__ == "__main__":
    main()
