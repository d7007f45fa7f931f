"""Hang of a rotation and back. Reference: scipy's Rotation (intrinsic ZYX); the choice among triples is ours."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.exchange.hang import hang_of, rotation_of, tidy, upright
from bridge.geometry.frames import rotation_from_hang

ANGLE = st.floats(-720, 720)
HANG = st.tuples(ANGLE, ANGLE, ANGLE)
STEPS = st.integers(-179_999_999, 180_000_000).map(lambda n: n / 1e6)


def scipy_rotation(hang: tuple[float, float, float]) -> np.ndarray:
    return Rotation.from_euler("ZYX", hang, degrees=True).as_matrix()


def apart_rad(a: np.ndarray, b: np.ndarray) -> float:
    """The angle of the turn between two rotations, well conditioned near 0."""
    return 2 * math.asin(min(1.0, np.linalg.norm(a - b) / math.sqrt(8)))


@given(HANG)
def test_the_rotation_is_that_of_scipy_and_of_the_frames(hang: tuple[float, float, float]) -> None:
    ours = rotation_of(hang)
    assert np.abs(ours - scipy_rotation(hang)).max() < 1e-12
    assert np.abs(ours - rotation_from_hang(*np.radians(hang))).max() < 1e-12


@given(HANG)
@example((0.0, 90.0, 0.0))
@example((33.0, 90.00001, 12.0))
@example((33.0, -89.9999999, 12.0))
def test_the_hang_gives_the_rotation_back_to_its_rounding(hang: tuple[float, float, float]) -> None:
    rotation = scipy_rotation(hang)
    assert apart_rad(rotation_of(hang_of(rotation)), rotation) < 5.2e-7  # at the lock; else 1.6e-8
    if abs(rotation[2, 0]) < 0.999:
        assert apart_rad(rotation_of(hang_of(rotation)), rotation) < 2.7e-8  # three roundings of 0.5e-6 deg


@given(st.tuples(STEPS, st.integers(-89_000_000, 89_000_000).map(lambda n: n / 1e6), STEPS))
def test_a_hang_as_files_have_it_comes_back_to_1e_9(hang: tuple[float, float, float]) -> None:
    back = hang_of(rotation_of(hang))
    assert apart_rad(rotation_of(back), rotation_of(hang)) < 1e-9
    assert hang_of(rotation_of(back)) == back


@given(HANG)
def test_angles_are_wrapped_rounded_and_never_minus_nothing(hang: tuple[float, float, float]) -> None:
    for angle in hang_of(scipy_rotation(hang)):
        assert -180 < angle <= 180
        assert angle == round(angle, 6)
        assert math.copysign(1, angle) > 0 or angle < 0


@pytest.mark.parametrize(
    ("said", "written"),
    [
        ((0, 0, 0), (0, 0, 0)),
        ((0, 0, 180), (0, 0, 180)),  # standing on the floor
        ((0, 0, -180), (0, 0, 180)),
        ((0, 180, 0), (180, 0, 180)),  # standing, turned round
        ((180, 0, 180), (180, 0, 180)),
        ((90, 0, 0), (90, 0, 0)),
        ((-180, 0, 0), (180, 0, 0)),
        ((0, 0, 90), (0, 0, 90)),  # on its side, on a wall
        ((0, 100, 0), (0, 100, 0)),  # not 180, 80, 180
        ((0, -100, 0), (0, -100, 0)),
        ((30, 10, 180), (30, 10, 180)),  # standing on a slope: not -150, 170, 0
        ((0, 170, 0), (180, 10, 180)),
        ((0, 90, 0), (0, 90, 0)),
        ((0, -90, 0), (0, -90, 0)),
        ((20, 90, 5), (15, 90, 0)),  # at the lock only yaw - roll is known
        ((20, -90, 5), (25, -90, 0)),
        ((12.5, -3.25, 0.75), (12.5, -3.25, 0.75)),
    ],
)
def test_of_all_triples_it_is_the_one_a_rigger_would_write(said: tuple, written: tuple) -> None:
    assert hang_of(scipy_rotation(said)) == written
    assert hang_of(rotation_of(said)) == written


@pytest.mark.parametrize(
    "hang", [(a, b, c) for a in (0, 90, 180, -90) for b in (0, 90, -90, 180) for c in (0, 90, 180)]
)
def test_right_angles_give_whole_numbers_and_come_back(hang: tuple[float, float, float]) -> None:
    rotation = rotation_of(hang)
    assert set(np.unique(rotation)) <= {-1.0, 0.0, 1.0}
    assert (rotation_of(hang_of(rotation)) == rotation).all()
    assert all(angle % 90 == 0 for angle in hang_of(rotation))


@given(st.tuples(*[st.integers(-179, 180)] * 3))
def test_whole_degrees_of_single_precision_come_out_whole(hang: tuple[int, int, int]) -> None:
    rotation = scipy_rotation(hang).astype(np.float32).astype(np.float64)
    found = tidy(hang_of(rotation))
    assert apart_rad(rotation_of(found), rotation) < 1e-6
    if abs(abs(hang[1]) - 90) > 5:  # nearer to the lock, the rounding of single precision weighs more
        assert all(angle == round(angle) for angle in found)


@given(HANG, st.floats(0.001, 1000))
def test_scales_leave_the_rotation(hang: tuple[float, float, float], scale: float) -> None:
    rotation, stretch = upright(scipy_rotation(hang) * scale)
    assert rotation is not None
    assert apart_rad(rotation, scipy_rotation(hang)) < 1e-9
    assert stretch == pytest.approx(abs(scale - 1), abs=1e-9)


@pytest.mark.parametrize("rotation", [np.diag([-1.0, 1, 1]), np.diag([1.0, 1, -1]), np.diag([-1.0, -1, -1]) * 3])
def test_a_mirror_is_no_rotation(rotation: np.ndarray) -> None:
    found, stretch = upright(rotation)
    assert found is None
    assert math.isfinite(stretch)


@pytest.mark.parametrize(
    "matrix",
    [np.zeros((3, 3)), np.diag([1.0, 1, 0]), np.full((3, 3), 1.0), np.full((3, 3), math.nan), np.eye(3) * 1e300,
     np.eye(3) * 1e-300, np.diag([1.0, 1, math.inf])],
)  # fmt: skip
def test_flat_and_endless_matrices_are_no_rotation(matrix: np.ndarray) -> None:
    assert upright(matrix) == (None, math.inf)
