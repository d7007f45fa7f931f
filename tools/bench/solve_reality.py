#!/usr/bin/env python3
"""What reality does to the solver: `tools/bench/solve_reality.py [--only NAMES] [--rigs N] [--seed S] [--say]`.

One line a row, centimetres: aim error RMS over all heads and places (worst; worst of trusted heads), what was
predicted over the heads that have a prediction and its ratio to what they achieved, false suspects (those of them that
are sure), how often the right sentence came first and was said at all, heads trusted, verified and unsolved; then the
same for the faulty heads alone. Rigs of a row have seeds S .. S + N - 1. `BENCH_ROOT=FOLDER` measures another checkout.
Single process, one BLAS thread.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import solve_reality_rows as plain
import solve_reality_truss as truss
import solve_rigs as rigs
from solve_bound import bound
from solve_reality_show import LEFT_OUT, ROOT, Tally

BOUNDED = ("nominal", "axis-said")  # rows that are compared with the Cramer-Rao bound of the same rigs


def measure(name, make, count, seed):
    """Solve the scenes of a row; returns its Tally and the bound (cm) where there is one."""
    tally, limits, right = Tally(), [], False
    for s in range(seed, seed + count):
        rng = np.random.default_rng(s)
        scene = make(rng)
        right |= scene.right is not None
        tally.add(rng, scene)
        if name in BOUNDED:
            heads = [rigs.TrueHead(h.p, h.R) for h in scene.heads]
            limits.append(bound(rigs.TrueRig(heads, np.array(plain.FIVE, float)), 0.03))
    line = tally.row(right)
    if limits:
        least = np.sqrt(np.mean(np.square(limits)))
        line += f" | CRLB {100 * least:.2f} cm, aim/CRLB {np.sqrt(np.mean(tally.squares)) / least:.3f}"
    return tally, line


def many(count, seed):
    """The row of a big rig put right by advice."""
    lines = []
    tally = Tally()
    for s in range(seed, seed + count):
        rng = np.random.default_rng(s)
        lines.append(truss.followed(rng, tally))
    return tally, f"{tally.row(right=False)} | {'; '.join(lines)}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    rows = {**plain.ROWS, **truss.ROWS}
    parser.add_argument("--only", default="", help=f"rows, or beginnings with a star: {' '.join(rows)} many")
    parser.add_argument("--rigs", type=int, default=12, help="rigs a row (default 12); many: a twelfth of it")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first rig (default 0)")
    parser.add_argument("--say", action="store_true", help="also the first sentences, numbers as #, and how often")
    args = parser.parse_args()
    commit = subprocess.run(["git", "-C", str(ROOT), "log", "-1", "--format=%h"], capture_output=True, text=True)
    print(f"bridge of {ROOT} at {commit.stdout.strip()}; seeds {args.seed} .. {args.seed + args.rigs - 1}")
    wanted = [w for w in args.only.split(",") if w]
    for name in [*rows, "many"]:
        if wanted and not any(name == w or (w.endswith("*") and name.startswith(w[:-1])) for w in wanted):
            continue
        started = time.perf_counter()
        if name == "many":
            tally, line = many(max(args.rigs // 12, 1), args.seed)
        else:
            tally, line = measure(name, rows[name], args.rigs, args.seed)
        print(f"{name:20s} | {line} | {time.perf_counter() - started:.0f} s", flush=True)
        if args.say:
            for sentence, times in tally.firsts.most_common(3):
                print(f"    {times:3d} x {sentence}", flush=True)
    if LEFT_OUT:
        print("unknown to this checkout, left out: " + ", ".join(sorted(LEFT_OUT)))


if __name__ == "__main__":
    main()
