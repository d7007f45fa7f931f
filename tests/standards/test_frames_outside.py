"""Frames and turns against conventions.md's check values, scipy's Rotation, and pymap3d's azimuth and elevation.

MuJoCo's pan/tilt head, for tilted bases, is in test_heads_mujoco.py.
"""

from __future__ import annotations

import math

import numpy as np
import pymap3d
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial.transform import Rotation

from bridge.geometry.frames import (
    beam_in_fixture,
    pan_tilt_of,
    quaternion_from_rotation,
    rotation_from_hang,
    rotation_from_quaternion,
    rotation_x,
    rotation_y,
    rotation_z,
)

ANGLES = st.floats(-4 * math.pi, 4 * math.pi)
RNG_SEED = 20
VECTORS = np.random.default_rng(RNG_SEED).standard_normal((200, 3))
TURNS = np.random.default_rng(RNG_SEED + 1).uniform(-np.pi, np.pi, (200, 3))


# design/conventions.md, "Frames": check values with R = identity
@pytest.mark.parametrize(
    ("pan_deg", "tilt_deg", "direction"),
    [(0, 0, (0, 0, -1)), (0, 90, (0, 1, 0)), (90, 90, (-1, 0, 0)), (-90, 90, (1, 0, 0))],
)
def test_check_values_of_the_conventions(pan_deg: float, tilt_deg: float, direction: tuple[int, ...]) -> None:
    pan, tilt = np.radians(pan_deg), np.radians(tilt_deg)
    np.testing.assert_allclose(beam_in_fixture(pan, tilt), direction, atol=1e-15)
    product = rotation_z(pan) @ rotation_x(tilt) @ (0, 0, -1)
    np.testing.assert_allclose(product, direction, atol=1e-15)


def test_hanging_is_roll_0_and_standing_is_roll_180() -> None:
    down, up = (0, 0, -1), (0, 0, 1)
    np.testing.assert_allclose(rotation_from_hang(0, 0, 0) @ down, down, atol=1e-15)
    np.testing.assert_allclose(rotation_from_hang(0, 0, np.pi) @ down, up, atol=1e-15)


@pytest.mark.parametrize(("ours", "axis"), [(rotation_x, "x"), (rotation_y, "y"), (rotation_z, "z")])
def test_turns_about_an_axis_are_scipys(ours: object, axis: str) -> None:
    angles = TURNS[:, 0]
    expected = Rotation.from_euler(axis, angles[:, None]).as_matrix()
    np.testing.assert_allclose(ours(angles), expected, atol=1e-15)  # type: ignore[operator]


def test_hang_is_yaw_then_pitch_then_roll_about_the_turned_axes() -> None:
    expected = Rotation.from_euler("ZYX", TURNS).as_matrix()  # capitals: intrinsic, Rz Ry Rx
    np.testing.assert_allclose(rotation_from_hang(*TURNS.T), expected, atol=1e-14)


def test_quaternions_are_scipys_scalar_last() -> None:
    turns = Rotation.random(200, random_state=RNG_SEED)
    np.testing.assert_allclose(rotation_from_quaternion(turns.as_quat()), turns.as_matrix(), atol=1e-14)
    np.testing.assert_allclose(quaternion_from_rotation(turns.as_matrix()), turns.as_quat(canonical=True), atol=1e-14)


def test_a_quaternion_is_normalised_and_a_zero_one_refused() -> None:
    expected = Rotation.from_quat([1, 2, 3, 4]).as_matrix()
    np.testing.assert_allclose(rotation_from_quaternion([10, 20, 30, 40]), expected, atol=1e-15)
    with pytest.raises(ValueError, match="zero"):
        rotation_from_quaternion([[0, 0, 0, 1], [0, 0, 0, 0]])


# Azimuth is from +y (north) towards +x (east), elevation from the horizon up; a hanging head's pan turns the other way
# (right-handed about z up) and its tilt starts straight down.
@pytest.mark.parametrize("yaw_deg", [0.0, 37.0, -120.0])
def test_a_level_hanging_head_against_azimuth_and_elevation(yaw_deg: float) -> None:
    azimuth, elevation, _ = pymap3d.enu2aer(*VECTORS.T)
    in_fixture = VECTORS @ rotation_from_hang(np.radians(yaw_deg), 0, 0)  # rows: R^T v
    pan, tilt = np.degrees(pan_tilt_of(in_fixture))
    np.testing.assert_allclose(_around(pan - (-azimuth - yaw_deg)), 0, atol=1e-10)
    np.testing.assert_allclose(tilt, elevation + 90, atol=1e-10)


@pytest.mark.parametrize("yaw_deg", [0.0, 37.0, -120.0])
def test_a_level_standing_head_against_azimuth_and_elevation(yaw_deg: float) -> None:
    # Standing, the head is turned over about x: it points up at tilt 0, pan runs with azimuth, from -y.
    azimuth, elevation, _ = pymap3d.enu2aer(*VECTORS.T)
    in_fixture = VECTORS @ rotation_from_hang(np.radians(yaw_deg), 0, np.pi)
    pan, tilt = np.degrees(pan_tilt_of(in_fixture))
    np.testing.assert_allclose(_around(pan - (azimuth + yaw_deg + 180)), 0, atol=1e-10)
    np.testing.assert_allclose(tilt, 90 - elevation, atol=1e-10)


def _around(difference_deg: np.ndarray) -> np.ndarray:
    return (difference_deg + 180) % 360 - 180


@given(pan=ANGLES, tilt=st.floats(-math.pi, math.pi))
def test_the_two_faces_are_one_direction(pan: float, tilt: float) -> None:
    np.testing.assert_allclose(beam_in_fixture(pan, tilt), beam_in_fixture(pan + math.pi, -tilt), atol=1e-13)


@given(arrays(np.float64, 3, elements=st.floats(-100, 100)).filter(lambda v: np.linalg.norm(v) > 1e-3))
def test_aim_then_beam_gives_the_direction_back_on_both_faces(direction: np.ndarray) -> None:
    unit = direction / np.linalg.norm(direction)
    pan, tilt = pan_tilt_of(direction)
    assert tilt >= 0
    assert abs(pan) <= math.pi
    np.testing.assert_allclose(beam_in_fixture(pan, tilt), unit, atol=1e-12)
    np.testing.assert_allclose(beam_in_fixture(pan + math.pi, -tilt), unit, atol=1e-12)


@pytest.mark.parametrize(("z", "tilt"), [(-3.0, 0.0), (3.0, math.pi)])
@pytest.mark.parametrize("zero", [0.0, -0.0])
def test_straight_along_the_pan_axis_pan_is_0(z: float, tilt: float, zero: float) -> None:
    assert pan_tilt_of((zero, zero, z)) == (0.0, tilt)


@given(pan=st.floats(-3.1, 3.1), tilt=st.floats(0.01, 3.1))
def test_beam_then_aim_gives_face_1_angles_back(pan: float, tilt: float) -> None:
    np.testing.assert_allclose(pan_tilt_of(beam_in_fixture(pan, tilt)), (pan, tilt), atol=1e-9)


def test_pan_of_minus_y_is_plus_pi() -> None:
    """Pan is in (-pi, pi], so half a turn is +pi."""
    assert pan_tilt_of((0.0, -1.0, 0.0))[0] == math.pi
