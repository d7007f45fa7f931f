"""Frames and turns: the one place where the ambiguities of orientation are settled.

Frames (right-handed, metres):

    stage    x to the right as the audience sees it, y upstage, z up; origin the crew's datum
    fixture  the hanging neutral pose: base above, beam along -z at pan 0, tilt 0; pan about z, tilt about x
             (DIN SPEC 15800), origin where the pan and tilt axes meet

Rotations are active and named so that products read true: `stage_from_fixture @ v_fixture`. Angles are radians.
All functions are vectorised: leading axes broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def rotation_x(angle_rad: ArrayLike) -> Array:
    """Active right-handed turn about x. Shape (...) -> (..., 3, 3)."""
    return _axis_rotation(angle_rad, 1, 2, 0)


def rotation_y(angle_rad: ArrayLike) -> Array:
    """Active right-handed turn about y. Shape (...) -> (..., 3, 3)."""
    return _axis_rotation(angle_rad, 2, 0, 1)


def rotation_z(angle_rad: ArrayLike) -> Array:
    """Active right-handed turn about z. Shape (...) -> (..., 3, 3)."""
    return _axis_rotation(angle_rad, 0, 1, 2)


def _axis_rotation(angle_rad: ArrayLike, first: int, second: int, fixed: int) -> Array:
    angle = np.asarray(angle_rad, dtype=np.float64)
    out = np.zeros((*angle.shape, 3, 3))
    cos, sin = np.cos(angle), np.sin(angle)
    out[..., fixed, fixed] = 1.0
    out[..., first, first] = cos
    out[..., second, second] = cos
    out[..., first, second] = -sin
    out[..., second, first] = sin
    return out


def rotation_from_hang(yaw_rad: ArrayLike, pitch_rad: ArrayLike, roll_rad: ArrayLike) -> Array:
    """stage_from_fixture = Rz(yaw) Ry(pitch) Rx(roll). Hanging base up is roll 0, standing on the floor roll pi."""
    return rotation_z(yaw_rad) @ rotation_y(pitch_rad) @ rotation_x(roll_rad)


def rotation_from_quaternion(quaternion_xyzw: ArrayLike) -> Array:
    """Unit quaternion(s) [x, y, z, w], shape (..., 4) -> (..., 3, 3). Normalises; raises ValueError on a zero one."""
    q = np.asarray(quaternion_xyzw, dtype=np.float64)
    norm = np.linalg.norm(q, axis=-1, keepdims=True)
    if not np.all(norm > 1e-9):
        raise ValueError("a rotation quaternion must not be zero")
    x, y, z, w = np.moveaxis(q / norm, -1, 0)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def quaternion_from_rotation(rotation: ArrayLike) -> Array:
    """Rotation matrices (..., 3, 3) -> unit quaternions [x, y, z, w] with w >= 0 (scipy's Rotation does the work)."""
    from scipy.spatial.transform import Rotation

    matrix = np.asarray(rotation, dtype=np.float64)
    flat = Rotation.from_matrix(matrix.reshape(-1, 3, 3)).as_quat()
    flat = np.where(flat[:, 3:] < 0, -flat, flat)
    return flat.reshape(*matrix.shape[:-2], 4)


def beam_in_fixture(pan_rad: ArrayLike, tilt_rad: ArrayLike) -> Array:
    """Direction of a perfect head's beam in its fixture frame, Rz(pan) Rx(tilt) (0, 0, -1). (...) -> (..., 3)."""
    pan, tilt = np.asarray(pan_rad, dtype=np.float64), np.asarray(tilt_rad, dtype=np.float64)
    sin_tilt = np.sin(tilt)
    return np.stack(np.broadcast_arrays(-np.sin(pan) * sin_tilt, np.cos(pan) * sin_tilt, -np.cos(tilt)), axis=-1)


def pan_tilt_of(direction: ArrayLike) -> tuple[Array, Array]:
    """Face 1 angles (tilt >= 0) of directions in the fixture frame, (..., 3) -> pan, tilt of shape (...).

    Pan is in (-pi, pi]. Face 2 is (pan + pi, -tilt). Straight along the pan axis pan is free and comes out as 0.
    """
    d = np.asarray(direction, dtype=np.float64)
    x, y = d[..., 0] + 0.0, d[..., 1] + 0.0
    return np.arctan2(0.0 - x, y), np.arctan2(np.hypot(x, y), -d[..., 2])
