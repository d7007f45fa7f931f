"""What an observation is worth as it grows old: the model goes on, is slowed to a stop, and is given up.

The model's own time runs as ours for `GOES_ON_S`, slower and slower until `STOPS_S`, and then stands. What nobody has
seen is taken back between `STOPS_S` and `GIVEN_UP_S`.
"""

from __future__ import annotations

import numpy as np

from bridge.geometry.frames import Array

GOES_ON_S, STOPS_S, GIVEN_UP_S = 0.3, 0.6, 1.2
SLOWING_S = STOPS_S - GOES_ON_S


def model_time(age_s: Array) -> tuple[Array, Array | float, Array | float]:
    """At this age (n,) s: how far the model has gone on (n,) s, how fast its time runs then, 1 .. 0, and how much of
    what it says counts, 1 .. 0."""
    if np.maximum.reduce(age_s, initial=0.0) <= GOES_ON_S:
        return age_s, 1.0, 1.0
    slowing = np.minimum(np.maximum(age_s - GOES_ON_S, 0.0), SLOWING_S)
    gone_s = np.minimum(age_s, STOPS_S) - slowing * slowing * (0.5 / SLOWING_S)
    way = np.minimum(np.maximum((age_s - STOPS_S) * (1.0 / (GIVEN_UP_S - STOPS_S)), 0.0), 1.0)
    return gone_s, 1.0 - slowing * (1.0 / SLOWING_S), 1.0 - way * way * (3.0 - 2.0 * way)
