"""What a hand has learnt of a head in any mount: the map from directions in the head to places on the floor.

A beam's direction in the head and its place on a plane belong together by a homography, whatever the mount. It is
fitted to everything seen so far (direct linear transformation, Hartley's scaling), and corrected by where the beam is
now. It needs five looks at one floor; where the head hangs is not used.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_LOOKS = 24
SAME_FLOOR_M = 0.02


def direction(pan_deg: float, tilt_deg: float) -> Array:
    """Unit direction of a perfect head's beam in its own frame."""
    pan, tilt = math.radians(pan_deg), math.radians(tilt_deg)
    return np.array([-math.sin(pan) * math.sin(tilt), math.cos(pan) * math.sin(tilt), -math.cos(tilt)])


def nearest_angles(
    d: Array, asked: tuple[float, float], pan_range: tuple[float, float], tilt_range: tuple[float, float]
) -> tuple[float, float] | None:
    """Pan and tilt (degrees) of a direction, on the side of tilt 0 that is in use if it can be, nearest to `asked`."""
    tilt = math.degrees(math.atan2(math.hypot(d[0], d[1]), -d[2]))
    pan = math.degrees(math.atan2(-d[0], d[1]))
    faces = [(pan, tilt), (pan + 180.0, -tilt)]
    ways = [(p + 360.0 * turn, t) for p, t in faces for turn in (-2, -1, 0, 1, 2)]
    allowed = [(p, t) for p, t in ways if pan_range[0] <= p <= pan_range[1] and tilt_range[0] <= t <= tilt_range[1]]
    if not allowed:
        return None
    return min(allowed, key=lambda way: ((way[1] >= 0) != (asked[1] >= 0), abs(way[0] - asked[0])))


class PlaneMap:
    """Looks of one head: `see` them, then ask `towards` a place."""

    def __init__(self) -> None:
        self._looks: deque[tuple[Array, Array]] = deque(maxlen=MOST_LOOKS)

    def see(self, d: Array, landed: Array) -> None:
        """The beam of direction d (3,) landed at a place (3,)."""
        self._looks.append((d, landed))

    def nearest(self, place: Array) -> Array:
        """The direction of the look that landed nearest to a place (3,). There must have been one."""
        d, _ = min(self._looks, key=lambda look: float(np.linalg.norm(look[1] - place)))
        return d

    def towards(self, place: Array, height: float, now: Array) -> Array | None:
        """The direction whose beam should land at `place` (2,) on the floor of that height; None: not known yet.

        `now` is the direction in use; what the map gets wrong there is taken off.
        """
        looks = [(d, at[:2]) for d, at in self._looks if abs(at[2] - height) < SAME_FLOOR_M]
        if len(looks) < 5:
            return None
        d, at = np.array([look[0] for look in looks]), np.array([look[1] for look in looks])
        h = _fit(d, at)
        if h is None:
            return None
        wanted = place.copy()
        if float(looks[-1][0] @ now) > 1 - 1e-9:
            back = h @ now
            wanted += back[:2] / back[2] - looks[-1][1]
        ray = np.linalg.solve(h, np.array([wanted[0], wanted[1], 1.0]))
        ray /= np.linalg.norm(ray)
        # Of the two ways along that line only one meets the plane in front of the head: the side of all looks.
        side = float(np.median((d @ h.T)[:, 2]))
        return ray if side > 0 else -ray


def _fit(d: Array, at: Array) -> Array | None:
    """Homography (3, 3) with at ~ h d, from k >= 5 pairs; None where the looks do not fix it."""
    centre, spread = at.mean(axis=0), float(at.std()) + 1e-9
    x, y = ((at - centre) / spread).T
    zero = np.zeros_like(d)
    rows = np.concatenate([np.hstack([d, zero, -x[:, None] * d]), np.hstack([zero, d, -y[:, None] * d])])
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    _, size, vt = np.linalg.svd(rows)
    if size[7] < 1e-7 * size[0]:
        return None
    h = vt[-1].reshape(3, 3)
    h = np.array([[spread, 0, centre[0]], [0, spread, centre[1]], [0, 0, 1.0]]) @ h
    return h if abs(float(np.linalg.det(h))) > 1e-12 else None
