"""The speed that an input gives beside the place: one more thing seen, as good as it has proved.

Nobody knows how a sender makes its speeds: measured, taken from noisy places, smoothed and late, or always zero. So
they count only after they agreed with the walk while there was one, and no further than they agree.
"""

from __future__ import annotations

import numpy as np

from bridge.follow.where.models import Models
from bridge.geometry.frames import Array

FINEST = 0.1
"""m/s per axis: no given speed counts for more than one of this sigma."""
DOUBTED = 0.08
"""m/s per axis: one that is further off counts for much less than its error alone would say."""
FIRST_VARIANCE = 4.0
"""m²/s²: so much is it off until it is known."""
SLOW = 0.3
"""Below this speed, m/s, nothing is learned: one who stands proves no speed."""
LASTS = 60.0
"""So many observations are remembered."""


def take(
    models: Models, bank: Array, share: Array, mean: Array, given: Array, off: Array, axes: Array
) -> tuple[Array, Array, Array]:
    """`bank`, `share` after the speeds (K, 3) m/s were taken in, and `off` (K,) m²/s² per axis, how far they are off.

    `mean` is the mixed state before.
    """
    away, speed = given - mean[:, 1], mean[:, 1]
    wrong = np.add.reduce(away * away, axis=1) / axes
    moves = np.maximum(np.add.reduce(given * given, axis=1), np.add.reduce(speed * speed, axis=1)) > SLOW**2
    off = np.where(moves, off + (wrong - off) / LASTS, off)
    excess = np.maximum(off - mean[:, 4, 1], 0.0)
    variance = FINEST**2 + excess * (1.0 + excess / DOUBTED**2)
    miss, row = bank[:, :, 1:2] - given[:, None, None], bank[:, :, 4:5]
    spread = row[:, :, 0, 1] * models.moves + variance[:, None]
    gain = (models.moves / spread)[:, :, None, None] * bank[:, :, 3:, 1:2]
    after = np.concatenate([bank[:, :, :3] - gain * miss, bank[:, :, 3:] - gain * row], axis=2)
    return after, models.weighed(share, miss[:, :, 0], spread, axes), off
