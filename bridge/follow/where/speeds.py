"""The speed that an input gives beside the place: one more thing seen, as good as it has proved.

Nobody knows how a sender makes its speeds: measured, taken from noisy places, smoothed and late, or always zero. Two
figures tell: how much they jump from one to the next, and how far their sum is from the way that was gone meanwhile.
What jumps, evens out; what is off the same way for long does not, and counts for all the observations it lasts.
"""

from __future__ import annotations

import numpy as np

from bridge.follow.where.models import Models
from bridge.geometry.frames import Array

FINEST = 0.07
"""m/s per axis: no given speed counts for more than one of this sigma."""
WINDOW_S = 0.6
"""Ways are compared over this time."""
GAP_S = 0.3
"""After this long without a speed the comparison begins anew."""
GONE_M = 0.1
"""One who went less than this meanwhile proves no speed."""
PROVED = 2.0
"""After so many comparisons speeds begin to count."""
LASTS, WINDOWS = 30.0, 10.0
"""So many speeds, and comparisons, are remembered."""
ALIKE = 30.0
"""So many observations in a row are off the same way."""
WAY, FROM, LAST, BEGAN_S, LAST_S, JUMPS, OFF, COUNT = slice(0, 3), slice(3, 6), slice(6, 9), 9, 10, 11, 12, 13
WIDTH, LONG_AGO_S = 14, -1e6
"""Of each row: the sum of speeds m, the place where it began, the last speed, their times; variances; comparisons."""


def first(count: int) -> Array:
    """(R, WIDTH) of rows of which no speed was heard."""
    proof = np.zeros((count, WIDTH))
    proof[:, LAST_S] = LONG_AGO_S
    return proof


def compare(proof: Array, at_s: Array, seen: Array, given: Array, noise: Array, axes: Array) -> None:
    """Take speeds (K, 3) m/s at these times (K,) and places (K, 3) m of this noise (K,) m into `proof` (K, WIDTH)."""
    step_s = at_s - proof[:, LAST_S]
    anew = (step_s > GAP_S) | (step_s < 0)
    change = given - proof[:, LAST]
    jumps = np.add.reduce(change * change, axis=1) / (2.0 * axes)
    proof[:, JUMPS] += np.where(anew, 0.0, (jumps - proof[:, JUMPS]) / LASTS)
    proof[:, WAY] += (given - 0.5 * change) * np.where(anew, 0.0, step_s)[:, None]
    proof[:, LAST], proof[:, LAST_S] = given, at_s
    since_s = np.maximum(at_s - proof[:, BEGAN_S], WINDOW_S)
    gone = seen - proof[:, FROM]
    over = (at_s - proof[:, BEGAN_S] >= WINDOW_S) & ~anew
    far = np.maximum(np.add.reduce(gone * gone, axis=1), np.add.reduce(proof[:, WAY] ** 2, axis=1)) > GONE_M**2
    apart = proof[:, WAY] - gone
    off = np.add.reduce(apart * apart, axis=1) / axes - 2.0 * noise * noise
    off = np.maximum(off, 0.0) / (since_s * since_s)
    proof[:, COUNT] += over & far
    share = 1.0 / np.minimum(np.maximum(proof[:, COUNT], 1.0), WINDOWS)
    proof[:, OFF] += np.where(over & far, (off - proof[:, OFF]) * share, 0.0)
    start = over | anew
    proof[start, WAY], proof[start, FROM], proof[start, BEGAN_S] = 0.0, seen[start], at_s[start]


def take(models: Models, bank: Array, share: Array, proof: Array, given: Array, axes: Array) -> tuple[Array, Array]:
    """`bank` and `share` after the speeds (K, 3) m/s were taken in, as far as `proof` (K, WIDTH) says."""
    variance = FINEST**2 + proof[:, JUMPS] + ALIKE * proof[:, OFF]
    variance = np.where(proof[:, COUNT] < PROVED, np.inf, variance)
    miss, row = bank[:, :, 1:2] - given[:, None, None], bank[:, :, 4:5]
    spread = row[:, :, 0, 1] * models.moves + variance[:, None]
    gain = (models.moves / spread)[:, :, None, None] * bank[:, :, 3:, 1:2]
    after = np.concatenate([bank[:, :, :3] - gain * miss, bank[:, :, 3:] - gain * row], axis=2)
    proved = proof[:, COUNT] >= PROVED
    weighed = models.weighed(share, miss[:, :, 0], np.where(np.isfinite(spread), spread, 1.0), axes)
    return after, np.where(proved[:, None], weighed, share)
