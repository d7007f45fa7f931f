"""Where a tracked point was while it stood on a mark, from what was seen of it within the last second."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.errors import Refused
from bridge.geometry.input_frame import Recorded
from bridge.geometry.stage import Point3

FEW, SPAN_S, OLD_S = 5, 0.6, 0.4
"""At least so many observations over so many seconds, the last one no older."""
STANDS = 0.1
"""A point that stands on a mark wanders and trembles by less, m."""
SHARE = 5.0
"""Metres that a share of a room stands for here, where nobody knows: most are some metres from middle to wall."""
DIGITS = 6


def standing(
    mark: str, point: str, seen: Sequence[tuple[float, Point3]], now_s: float, shares: bool = False
) -> Recorded:
    """The mean place of `seen` (when, where) and its sigma per axis over that second; what trembles within one second
    is not taken to average out. Refused where it was not there, or did not stand still."""
    if not seen or now_s - seen[-1][0] > OLD_S:
        ago = f"last seen {now_s - seen[-1][0]:.1f} s ago" if seen else "not seen within the last second"
        raise Refused("not-heard", f"{point} was {ago}: is its tag on, and its number right?")
    span_s = seen[-1][0] - seen[0][0]
    if len(seen) < FEW or span_s < SPAN_S:
        text = f"{point} was seen {len(seen)} times over {span_s:.1f} s of the last second"
        raise Refused("too-few", f"{text}, expected {FEW} over {SPAN_S:g} s: hold it where its system sees it")
    at = np.array([place for _, place in seen])
    unit, third = SHARE if shares else 1.0, max(1, len(at) // 3)
    wandered = unit * float(np.linalg.norm(at[-third:].mean(axis=0) - at[:third].mean(axis=0)))
    sigma = float(np.sqrt(np.mean(np.var(at, axis=0, ddof=1))))
    if wandered > STANDS:
        text = f"{point} moved by {100 * wandered:.0f} cm within the last second"
        raise Refused("moved", f"{text}, allowed are {100 * STANDS:.0f}: hold it still on {mark}, then record")
    if unit * sigma > STANDS:
        text = f"{point} trembles by {100 * unit * sigma:.0f} cm (sigma per axis, last second)"
        raise Refused("moved", f"{text}, allowed are {100 * STANDS:.0f}: held still, it is badly seen on {mark}")
    x, y, z = (round(float(v), DIGITS) for v in at.mean(axis=0))
    return Recorded(mark, point, (x, y, z), round(sigma, DIGITS))
