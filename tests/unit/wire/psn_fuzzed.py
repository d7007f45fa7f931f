"""Good packets of PosiStageNet for the fuzz: more trackers than there is room for, long frames, restarts."""

from __future__ import annotations

import random

from bridge.wire import psn
from bridge.wire.psn import Tracker
from tests.unit.wire.fuzzed_inputs import Fuzzed


def good(rng: random.Random, number: int) -> bytes:
    """The number gives the time stamp, mostly a little behind or ahead of it, and the frame."""
    time_us = max(0, 10_000_000 + number * 5_000 + rng.choice((0, 0, 0, -5_000, -400_000, -9_000_000)))
    if rng.random() < 0.03:
        return rng.choice(psn.info("hall", {rng.randrange(4000): "singer" for _ in range(rng.randrange(40))}, time_us))
    trackers = [_tracker(rng, time_us) for _ in range(rng.choice((0, 1, 4, 10, 30, 400)))]
    return rng.choice(psn.data(trackers, time_us, number))


def _tracker(rng: random.Random, time_us: int) -> Tracker:
    return Tracker(
        rng.choice((rng.randrange(12), rng.randrange(4000))),
        rng.choice((_triple(rng, 20.0), _triple(rng, 20.0), _triple(rng, 12_000.0), None)),
        rng.choice((_triple(rng, 10.0), _triple(rng, 2000.0), (0.0, 0.0, 0.0), None)),
        rng.choice((None, 1.0, 0.5, 0.0)),
        rng.choice((None, time_us, 0, 2**64 - 1)),
    )


def _triple(rng: random.Random, most: float) -> tuple[float, float, float]:
    return rng.uniform(-most, most), rng.uniform(-most, most), rng.uniform(-most, most)


PSN = Fuzzed(psn.Reader, good, psn.FARTHEST_M, b"\x55\x67\x4c\x80\0\0\x0c\0")
