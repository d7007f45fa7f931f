"""What the estimator costs a core: 4 targets at 60 observations a second each, 12 heads, 44 frames a second.

    python tools/bench/moving_cost.py [--targets 4] [--seconds 60]

Processor time of see, take_in and ahead. Beside it a sum of two small arrays at the same time, by which a machine that
does other things meanwhile can be told (about 0.5 us on one that is idle).
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Walk

FRAMES_HZ, RATE_HZ, HEADS = 44.0, 60.0, 12


def measure(targets: int, seconds: float, moving: bool) -> tuple[float, float]:
    """Microseconds per frame, and per sum of two small arrays."""
    rng = np.random.default_rng(1)
    tracks = Tracks([Walk()] * targets)
    heads, later_s = np.arange(HEADS) % targets, np.full(HEADS, 0.12)
    noise = rng.normal(0, 0.02, (int(seconds * RATE_HZ) + 2, targets, 2)).tolist()
    count, spent, sums = [0] * targets, 0.0, 0.0
    small = np.ones((4, 3))
    for frame in range(int(seconds * FRAMES_HZ)):
        now_s = frame / FRAMES_HZ
        waiting = []
        for row in range(targets if moving or frame < 20 else 0):
            while (at_s := (count[row] + row / targets) / RATE_HZ) <= now_s:
                x, y = noise[count[row]][row]
                waiting.append((row, (np.sin(at_s) + x, 2.0 + y, 1.3), at_s))
                count[row] += 1
        begin = time.process_time()
        for each in waiting:
            tracks.see(*each)
        tracks.take_in(now_s)
        tracks.ahead(heads, later_s)
        spent += time.process_time() - begin
        begin = time.process_time()
        for _ in range(20):
            small + small
        sums += (time.process_time() - begin) / 20
    frames = int(seconds * FRAMES_HZ)
    return spent / frames * 1e6, sums / frames * 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--targets", type=int, default=4)
    parser.add_argument("--seconds", type=float, default=60.0)
    args = parser.parse_args()
    for moving, word in ((True, "seen all the time"), (False, "not seen any more")):
        spent, sums = measure(args.targets, args.seconds, moving)
        share = spent * FRAMES_HZ / 1e4
        print(f"{args.targets} targets, {word}: {spent:.0f} us a frame, {share:.2f} % of a core (a sum: {sums:.2f} us)")


if __name__ == "__main__":
    main()
