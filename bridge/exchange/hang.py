"""Rotations of drawings as `hang` of `rig.yaml` and back: yaw, pitch, roll with the least surprise, in degrees."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bridge.rig.fixture import Vector3

Array = NDArray[np.float64]

LOCKED = 5e-7  # rad: nearer to pitch +-90 than this, yaw and roll are one turn
_ON_ITS_SIDE = 135.0  # deg: pitched further than this it is a head that stands, and that is roll 180
_NEAR = 1e-5  # deg: what single precision leaves of a whole degree
_SINES = {0: 0.0, 1: 1.0, 2: 0.0, 3: -1.0}


def rotation_of(hang: Vector3) -> Array:
    """Rz(yaw) Ry(pitch) Rx(roll) of degrees, shape (3, 3); right angles give whole numbers."""
    (sz, cz), (sy, cy), (sx, cx) = (_turn(angle) for angle in hang)
    return np.array(
        [
            [cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx],
            [sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx],
            [-sy, cy * sx, cy * cx],
        ]
    )


def hang_of(rotation: Array) -> Vector3:
    """(yaw, pitch, roll) in degrees, rounded to 1e-6, in (-180, 180], of a rotation (3, 3): what a rigger would write.

    Two triples give each rotation. It is the one pitched by 90 at most (hanging 0, 0, 0; standing roll 180), but for a
    head on its side: pitch 100 and nothing else rather than 180, 80, 180. At pitch +-90 roll is 0.
    """
    r = np.asarray(rotation, dtype=np.float64)
    flat = math.hypot(r[0, 0], r[1, 0])
    pitch = math.atan2(-r[2, 0], flat)
    if flat < LOCKED:
        yaw, roll = math.atan2(-r[0, 1], r[1, 1]), 0.0
    else:
        yaw = math.atan2(r[1, 0], r[0, 0])
        roll = math.atan2(r[2, 1], r[2, 2])
    plain = _degrees(yaw, pitch, roll)
    other = _degrees(yaw + math.pi, math.pi - pitch, roll + math.pi)
    shorter = sum(map(abs, other)) < sum(map(abs, plain)) - _NEAR
    return other if shorter and abs(other[1]) <= _ON_ITS_SIDE and flat >= LOCKED else plain


def tidy(hang: Vector3) -> Vector3:
    """Angles within 1e-5 degrees of a whole one as that one: drawings keep single precision or six decimals."""
    yaw, pitch, roll = (_wrapped(round(a)) if abs(a - round(a)) <= _NEAR else a for a in hang)
    return yaw, pitch, roll


def upright(matrix: Array) -> tuple[Array | None, float]:
    """The rotation nearest to a matrix (3, 3) and how far its scales lie from 1: None where it has none.

    None, inf: it is flat or not finite. None, less than inf: it is mirrored.
    """
    if not np.isfinite(matrix).all():
        return None, math.inf
    biggest = float(np.abs(matrix).max())
    if not 1e-9 < biggest < 1e9:
        return None, math.inf
    left, scales, right = np.linalg.svd(matrix)
    if scales[2] < 1e-4 * scales[0]:
        return None, math.inf
    stretch = float(np.abs(scales - 1).max())
    rotation = left @ right
    return (rotation if np.linalg.det(rotation) > 0 else None), stretch


def _degrees(*angles_rad: float) -> Vector3:
    yaw, pitch, roll = (_wrapped(round(math.degrees(angle), 6)) for angle in angles_rad)
    return yaw, pitch, roll


def _wrapped(angle: float) -> float:
    """In (-180, 180], never -0."""
    turned = round(math.remainder(angle, 360), 6)
    return 180.0 if turned == -180 else turned + 0.0


def _turn(angle_deg: float) -> tuple[float, float]:
    """Sine and cosine, exact at right angles."""
    quarter = angle_deg / 90
    if quarter == round(quarter):
        return _SINES[int(quarter) % 4], _SINES[int(quarter + 1) % 4]
    return math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
