"""How far beams will miss: the covariance of a pose pushed through the aim, over the performance polygon.

The aim error at a point is the perpendicular distance from it to the true beam axis when the head is aimed there
through the solved pose. To first order it is the two components of the sighting residual across the beam.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.geometry.frames import pan_tilt_of
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.heads import HeadBatch, PoseBatch, sightings

NARROW = 0.02  # of the squared length: between bounds so near to each other a secant is right to 1e-4


@dataclass(frozen=True)
class AimError:
    """Predicted miss in metres: per head over all points rms (F,), p95 (F,), worst point (F, 3), its rms (F,) and p95
    (F,); `by_point` (F, P) is the rms at each of the points (P, 3)."""

    rms: Array
    p95: Array
    worst: Array
    worst_rms: Array
    worst_p95: Array
    by_point: Array
    points: Array

    def stretched(self, factor: Array) -> AimError:
        """The same, each head's errors times `factor` (F,)."""
        wide = self.by_point * factor[:, None]
        at_worst = self.worst_rms * factor, self.worst_p95 * factor
        return AimError(self.rms * factor, self.p95 * factor, self.worst, *at_worst, wide, self.points)


def sensitivity(poses: PoseBatch, points: Array, terms_on: Mask, faces: Rows) -> Array:
    """Derivatives (F, P, 3, D) of the miss at each of P points by each head's unknowns; `faces` (F,) 1 or 2."""
    count, many = len(poses.p), len(points)
    q = (points[None] - poses.p[:, None]) @ poses.R
    pan, tilt = pan_tilt_of(q)
    second = (faces == 2)[:, None]
    pan, tilt = np.where(second, pan - np.copysign(np.pi, pan), pan), np.where(second, -tilt, tilt)
    flat, wide = np.zeros((count, 3)), np.zeros((count, 6))
    seen = HeadBatch(
        pan, tilt, np.broadcast_to(points, (count, many, 3)), np.ones((count, many)), flat, flat, np.zeros(count),
        flat, flat, terms_on, wide, wide,
    )  # fmt: skip
    # the terms' own bend is second order here; the miss is measured from the beam that the pose believes in
    _, J = sightings(seen, PoseBatch.at(poses.p, poses.R))
    assert J is not None
    return J


def aim_error(
    poses: PoseBatch, cov: Array, points: Array, faces: Rows, terms_on: Mask, driven: Array | None = None
) -> AimError:
    """Predicted aim error of each head for its covariance (F, D, D) when driven on `faces` (F, K) in turn, by motors
    that stand within sigma `driven` (F, 2) rad, of pan and of tilt, of where they are sent (default: exactly there)."""
    spread = miss(poses, cov, points, faces, terms_on, driven)
    power, worst, worst_p95 = at_worst(spread, faces.shape[1])
    rms, worst_rms = np.sqrt(np.mean(power, axis=1)), np.sqrt(power[np.arange(len(power)), worst])
    return AimError(rms, _p95(spread), points[worst], worst_rms, worst_p95, np.sqrt(power), points)


def at_worst(spread: Array, faces: int) -> tuple[Array, Rows, Array]:
    """Mean square miss (F, P), m^2, over the faces of `spread` (F, faces * P, 3, 3); the point (F,) where it is
    largest; the 95 % quantile (F,) of the miss there, metres."""
    both = np.maximum(np.trace(spread, axis1=2, axis2=3), 0.0)
    power = np.mean(both.reshape(len(both), faces, -1), axis=1)
    worst, rows = np.argmax(power, axis=1), np.arange(len(power))
    there = worst[:, None] + power.shape[1] * np.arange(faces)
    return power, worst, _p95(spread[rows[:, None], there])


def miss(
    poses: PoseBatch, cov: Array, points: Array, faces: Rows, terms_on: Mask, driven: Array | None = None
) -> Array:
    """Covariance (F, K * P, 3, 3) of the miss, m^2, fixture frame, at the points on the first face, then on the second;
    arguments as of `aim_error`."""
    J = np.concatenate([sensitivity(poses, points, terms_on, face) for face in faces.T], axis=1)
    spread = J @ cov[:, None, : J.shape[3], : J.shape[3]] @ J.swapaxes(2, 3)
    if driven is None:
        return spread
    return np.asarray(spread + np.tile(of_motors(poses, points, driven), (1, faces.shape[1], 1, 1)))


def p95_by_place(spread: Array, faces: int, heights: int) -> Array:
    """95 % quantile (F, P) of the miss at each of P places, at that of its heights at which it is larger, over all
    faces; `spread` (F, faces * heights * P, 3, 3) m^2, the places of one height and face together."""
    each = spread.reshape(len(spread), faces, heights, -1, 3, 3)
    power = np.mean(np.trace(each, axis1=-2, axis2=-1), axis=1)
    worse = np.argmax(power, axis=1)[:, None, None, :, None, None]
    at_worse = np.take_along_axis(each, worse, axis=2)[:, :, 0].swapaxes(1, 2)
    return _p95(at_worse.reshape(-1, faces, 3, 3)).reshape(len(spread), -1)


def of_motors(poses: PoseBatch, points: Array, driven: Array) -> Array:
    """Covariance (F, P, 3, 3) of the miss, m^2, fixture frame, that steps and play of the motors make; on both faces
    the same."""
    q = (points[None] - poses.p[:, None]) @ poses.R
    by_pan = np.stack([-q[..., 1], q[..., 0], np.zeros(q.shape[:-1])], axis=-1)  # of the point lit, per rad
    aside = by_pan / np.maximum(np.linalg.norm(by_pan, axis=-1, keepdims=True), 1e-9)
    by_tilt = np.cross(aside, q)
    outer = by_pan[..., :, None] * by_pan[..., None, :] * driven[:, 0, None, None, None] ** 2
    return np.asarray(outer + by_tilt[..., :, None] * by_tilt[..., None, :] * driven[:, 1, None, None, None] ** 2)


def _p95(spread: Array) -> Array:
    """95 % quantile (F,) of the length of normal vectors, pooled over points: gamma fitted to the first two moments of
    each squared length (Satterthwaite). That of a pool lies between those of its points: bisection, then a secant."""
    from scipy.special import gammainc, gammaincinv

    first = np.maximum(np.trace(spread, axis1=2, axis2=3), 1e-18)
    second = np.maximum(np.einsum("fpij,fpji->fp", spread, spread), 1e-36)
    shape, scale = first**2 / (2 * second), 2 * second / first
    own = scale * gammaincinv(shape, 0.95)
    low, high = np.min(own, axis=1), np.max(own, axis=1)
    if own.shape[1] == 1:
        return np.asarray(np.sqrt(high))

    def beyond(length2: Array) -> Array:
        return np.asarray(np.mean(gammainc(shape, length2[:, None] / scale), axis=1) - 0.95)

    at_low, at_high = beyond(low), beyond(high)
    while np.any(high - low > NARROW * high):
        middle = (low + high) / 2
        value = beyond(middle)
        under = value < 0
        low, at_low = np.where(under, middle, low), np.where(under, value, at_low)
        high, at_high = np.where(under, high, middle), np.where(under, at_high, value)
    share = np.clip(-at_low / np.maximum(at_high - at_low, 1e-15), 0, 1)
    return np.asarray(np.sqrt(low + share * (high - low)))
