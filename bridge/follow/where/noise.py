"""How noisy an input is, from what it says alone: nobody knows the sigma of a tag.

People cannot change their acceleration within a few hundredths of a second; noise does. The third divided difference
of four observations, scaled to unit weight, holds next to nothing of the walk and all of the noise; times need not be
even. Noise of the times (jitter) counts as noise of the place, which for the estimate it is.
"""

from __future__ import annotations

import numpy as np

from bridge.follow.where.accepting import KEPT
from bridge.geometry.frames import Array

LASTS = 24.0
"""So many looks the figure remembers; one is taken every `EVERY` frames."""
EVERY = 8
CAREFUL = 1.1
"""What was found out counts for so much more: too small a figure takes noise for a walk, too large a one costs less."""
FIRST_M = 0.01
"""What is believed of an input before it is known, as if it were `FIRST_COUNTS` looks."""
FIRST_COUNTS = 1.0
LARGEST_M = 0.5
FINEST_M = 0.001
"""No input is better than this, and a walk has its own unevenness."""
CLOSE_S = 1e-4
"""Times closer than this count as this far apart."""
RAYLEIGH, HALF_NORMAL = float(np.sqrt(np.pi / 2)), float(np.sqrt(2 / np.pi))
"""Mean length in plan (two axes), and of one axis, for unit sigma."""


def first(count: int) -> Array:
    """(R, 3): mean length in plan and in height, and how many looks it rests on."""
    return np.tile([FIRST_M * RAYLEIGH, 0.0, FIRST_COUNTS], (count, 1))


def learned(found: Array, places: Array, times_s: Array) -> Array:
    """`found` (K, 3) after a look at the last observations (K, 4, 3), (K, 4), ascending in time."""
    apart = times_s[:, :, None] - times_s[:, None, :]
    apart += SIGNS
    weights = 1.0 / np.multiply.reduce(apart, axis=2)
    weights /= np.sqrt((weights * weights).sum(axis=1))[:, None]
    uneven = np.minimum(np.abs((weights[:, None] @ (places - places[:, :1]))[:, 0]), LARGEST_M)
    after = np.empty_like(found)
    counts = np.minimum(found[:, 2] + 1.0, LASTS)
    after[:, 0] = np.hypot(uneven[:, 0], uneven[:, 1])
    after[:, 1] = uneven[:, 2]
    after[:, :2] -= found[:, :2]
    after[:, :2] *= (1.0 / counts)[:, None]
    after[:, :2] += found[:, :2]
    after[:, 2] = counts
    return after


SIGNS = CLOSE_S * np.sign(np.arange(KEPT)[:, None] - np.arange(KEPT)[None, :]) + np.eye(KEPT)
"""Beside the differences of times: none is zero, and the diagonal is 1."""


def sigma(found: Array) -> Array:
    """(R,) m per axis in plan."""
    return np.maximum(found[:, 0] * (1.0 / RAYLEIGH), FINEST_M)


def axes(found: Array) -> Array:
    """(R,) 2 where the height does not change by itself, up to 3 where it is as noisy as the plan."""
    plan = found[:, 0] * (1.0 / RAYLEIGH)
    height = found[:, 1] * (1.0 / HALF_NORMAL)
    share = height / np.maximum(plan, FINEST_M)
    return np.minimum(share * share, 1.0) + 2.0
