"""Forward kinematics of real heads: where a beam starts and where it points. The venue's own, from conventions.md.

Every turn is written as a plane rotation of one vector, innermost first; no rotation matrix of the bridge is used.
The chain, all angles in radians here:

    axis  = R Rz((1 + pan_scale) pan) Ry(squareness) Rx(tilt + tilt_zero)
    d     = axis Ry(collimation) (0, 0, -1)
    start = position + axis (lens_x, lens_y, 0)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.venue.truth import FixtureTruth

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Hangs:
    """True poses of n heads: positions (n, 3) m, quaternions (n, 4) xyzw, mechanical terms (n,) in rad and m."""

    position: Array
    quaternion: Array
    tilt_zero: Array
    squareness: Array
    collimation: Array
    lens_x: Array
    lens_y: Array
    pan_scale: Array

    @classmethod
    def of(cls, truths: Sequence[FixtureTruth]) -> Hangs:
        """Collect the true poses of several heads; order is kept."""
        terms = [t.mechanics for t in truths]
        quaternion = np.array([t.rotation for t in truths], dtype=np.float64).reshape(-1, 4)
        return cls(
            position=np.array([t.position for t in truths], dtype=np.float64).reshape(-1, 3),
            quaternion=quaternion / np.linalg.norm(quaternion, axis=1, keepdims=True),
            tilt_zero=np.radians([m.tilt_zero for m in terms]),
            squareness=np.radians([m.squareness for m in terms]),
            collimation=np.radians([m.collimation for m in terms]),
            lens_x=np.array([m.lens_x for m in terms]),
            lens_y=np.array([m.lens_y for m in terms]),
            pan_scale=np.array([m.pan_scale for m in terms]),
        )

    def beam(self, pan_rad: Array, tilt_rad: Array) -> tuple[Array, Array]:
        """Start points and unit directions in the stage frame, each (n, 3), of heads standing at pan and tilt (n,)."""
        tilt = tilt_rad + self.tilt_zero
        pan = (1.0 + self.pan_scale) * pan_rad
        zero = np.zeros_like(pan)
        lens = self._out_of_head((self.lens_x, self.lens_y, zero), pan, tilt)
        # Ry(collimation) turns (0, 0, -1) into (-sin, 0, -cos).
        ray = self._out_of_head((-np.sin(self.collimation), zero, -np.cos(self.collimation)), pan, tilt)
        return self.position + lens, ray

    def up(self) -> Array:
        """Direction from each head to its base in the stage frame, (n, 3): the fixture frame's +z."""
        return quaternion_turn(self.quaternion, np.broadcast_to([0.0, 0.0, 1.0], self.position.shape))

    def _out_of_head(self, v: tuple[Array, Array, Array], pan: Array, tilt: Array) -> Array:
        x, y, z = v
        y, z = _turn(y, z, tilt)  # about x
        z, x = _turn(z, x, self.squareness)  # about y
        x, y = _turn(x, y, pan)  # about z
        return quaternion_turn(self.quaternion, np.stack([x, y, z], axis=-1))


def _turn(a: Array, b: Array, angle: Array) -> tuple[Array, Array]:
    """A right-handed plane rotation of components (a, b) from the a axis towards the b axis."""
    cos, sin = np.cos(angle), np.sin(angle)
    return cos * a - sin * b, sin * a + cos * b


def quaternion_turn(quaternion: Array, v: Array) -> Array:
    """Vectors (..., 3) turned by unit quaternions xyzw (..., 4): v + 2w(q x v) + 2q x (q x v)."""
    axis, w = quaternion[..., :3], quaternion[..., 3:]
    once = 2.0 * _cross(axis, v)
    return v + w * once + _cross(axis, once)


def _cross(a: Array, b: Array) -> Array:
    # Written out: numpy.cross spends more on its generality than this costs for a few dozen heads.
    ax, ay, az = a[..., 0], a[..., 1], a[..., 2]
    bx, by, bz = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=-1)


def quaternion_product(first: Sequence[float], second: Sequence[float]) -> tuple[float, float, float, float]:
    """Quaternion xyzw of the turn `second` followed by `first` (reads like a product of matrices)."""
    ax, ay, az, aw = first
    bx, by, bz, bw = second
    return (
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
        aw * bw - ax * bx - ay * by - az * bz,
    )
