"""How a head hangs, as far as the hand of a focus session needs it: from its sightings and from what was shown.

Good to some decimetres, so that left is left and `near` is near. The poses that the bridge aims with come from `solve`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.frames import (
    Array,
    beam_in_fixture,
    quaternion_from_rotation,
    rotation_from_hang,
    rotation_x,
    rotation_y,
    rotation_z,
)
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture, Pose

HINT_SIGMA_M = 0.5
"""Of an `at` that does not say how well it is known."""
NOWHERE_SIGMA_M = (6.0, 8.0, 2.5)
USUAL_HEIGHT_M = 7.0
LEVEL_SIGMA_DEG = 1.0
WAY_SIGMA_RAD = math.radians(15.0)
YAWS = 24
REFINED = 3


@dataclass(frozen=True)
class Seen:
    """With this pan and tilt (degrees, as sent) the beam was on `at`, as well as `sigma` metres."""

    pan: float
    tilt: float
    at: Point3
    sigma: float


@dataclass(frozen=True)
class Went:
    """From one pan and tilt to another the beam went on the floor in the direction `way_deg`, from +x to +y."""

    before: tuple[float, float]
    after: tuple[float, float]
    way_deg: float


@dataclass(frozen=True)
class Knowledge:
    """What a fit rests on."""

    seen: tuple[Seen, ...] = ()
    went: tuple[Went, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.seen or self.went)


def hand_pose(fixture: Fixture, known: Knowledge, middle: tuple[float, float]) -> Pose:
    """The likeliest pose, without mechanical terms; not trusted. `middle`: of the stage, where nobody said where.

    Without any knowledge it is the plot, with the nominal yaw.
    """
    fit = _Fit(fixture, known, middle)
    return fit.pose(fit.best() if known else fit.start(0.0))


class _Fit:
    """Unknowns: yaw beside the nominal, two tips of the base (rad), the place (m)."""

    def __init__(self, fixture: Fixture, known: Knowledge, middle: tuple[float, float]) -> None:
        hang = fixture.hang
        self._nominal = rotation_from_hang(*np.radians([hang.yaw, hang.pitch, hang.roll]))
        self._tip = math.radians(max(hang.sigma, LEVEL_SIGMA_DEG))
        self._place = np.array(fixture.at or (*middle, USUAL_HEIGHT_M), dtype=np.float64)
        hint = NOWHERE_SIGMA_M if fixture.at is None else fixture.at_sigma or (HINT_SIGMA_M,) * 3
        self._sigma = np.maximum(np.array(hint, dtype=np.float64), 0.05)
        self._beams = _beams([(s.pan, s.tilt) for s in known.seen])
        self._at = np.array([s.at for s in known.seen], dtype=np.float64).reshape(-1, 3)
        self._seen_sigma = np.array([s.sigma for s in known.seen])
        self._before, self._after = _beams([w.before for w in known.went]), _beams([w.after for w in known.went])
        self._way = np.radians([w.way_deg for w in known.went])

    def start(self, yaw_rad: float) -> Array:
        """The plot, turned by a yaw."""
        return np.array([yaw_rad, 0.0, 0.0, *self._place])

    def best(self) -> Array:
        """The best of the fits from several yaws."""
        from scipy.optimize import least_squares  # half a second that the panel's start need not wait for

        starts = [self.start(2 * math.pi * k / YAWS) for k in range(YAWS)]
        starts.sort(key=lambda x: float((self._residuals(x) ** 2).sum()))
        fits = [least_squares(self._residuals, x, loss="soft_l1", f_scale=2.0, max_nfev=60) for x in starts[:REFINED]]
        return np.asarray(min(fits, key=lambda fit: float(fit.cost)).x)

    def pose(self, x: Array) -> Pose:
        """As plain data."""
        px, py, pz = (float(v) for v in x[3:])
        qx, qy, qz, qw = (float(v) for v in quaternion_from_rotation(self._rotation(x)))
        return Pose((px, py, pz), (qx, qy, qz, qw), trusted=False, verified=False)

    def _rotation(self, x: Array) -> Array:
        return np.asarray(rotation_x(x[1]) @ rotation_y(x[2]) @ rotation_z(x[0]) @ self._nominal)

    def _residuals(self, x: Array) -> Array:
        """In sigmas: how far beams pass their places, ways, tips, place."""
        turn = self._rotation(x)
        to = self._at - x[3:]
        far = np.linalg.norm(to, axis=1, keepdims=True)
        miss = (self._beams @ turn.T * far - to) / self._seen_sigma[:, None]
        moved = _on_floor(self._after @ turn.T) - _on_floor(self._before @ turn.T)
        off = np.arctan2(moved[:, 1], moved[:, 0]) - self._way
        way = np.arctan2(np.sin(off), np.cos(off)) / WAY_SIGMA_RAD
        return np.concatenate([miss.ravel(), way, x[1:3] / self._tip, (x[3:] - self._place) / self._sigma])


def _beams(angles_deg: Sequence[tuple[float, float]]) -> Array:
    """Directions (k, 3) in the fixture frame."""
    pan, tilt = np.radians(np.array(angles_deg, dtype=np.float64).reshape(-1, 2)).T
    return beam_in_fixture(pan, tilt)


def _on_floor(direction: Array) -> Array:
    """Where beams from a height of 1 meet the floor, (k, 2); those that go up, as far as they lean."""
    return np.asarray(direction[:, :2] / np.maximum(-direction[:, 2:], 0.05))
