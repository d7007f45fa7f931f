"""Similarities against S. Umeyama, Least-squares estimation of transformation parameters between two point patterns,
IEEE Trans. PAMI 13 (4), 1991 (its worked example, from memory), against Horn's closed form (as in
test_alignment_horn.py), scipy's Rotation.align_vectors and OpenCV's estimateAffine3D."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.geometry.input_frame import InputFrame
from bridge.solve.input_frame import Place, solve_frame
from bridge.solve.umeyama import similarity
from tests.standards.test_alignment_horn import horn
from tests.unit.solve.records_on_marks import CORNERS, MARKS, leaning, records

LEFT = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
RIGHT = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])


def test_umeyamas_example() -> None:
    """Three points of the plane and their mirror image: the best turn that is none itself, its scale and shift."""
    found = similarity(LEFT, RIGHT, np.ones(3), scaled=True)
    assert found.turn == pytest.approx(np.array([[0.832, 0.555], [-0.555, 0.832]]), abs=5e-4)
    assert found.scale == pytest.approx(0.721, abs=5e-4)
    assert found.shift == pytest.approx([-0.800, 0.400], abs=5e-4)
    left = np.sum((found.shift + found.scale * LEFT @ found.turn.T - RIGHT) ** 2) / 3
    assert found.error == pytest.approx(left, abs=1e-12), "e^2 by its definition"


def test_umeyamas_example_mirrored_is_met_exactly() -> None:
    found = similarity(LEFT, RIGHT, np.ones(3), scaled=True, mirrored=True)
    assert found.turn == pytest.approx(np.diag([-1.0, 1.0]), abs=1e-12)
    assert (found.scale, found.error) == (pytest.approx(1.0), pytest.approx(0.0, abs=1e-12))


def test_no_turn_is_better_than_umeyamas() -> None:
    """By trying: all turns of the plane, each with the best scale and shift that it can have."""
    a, b = LEFT - LEFT.mean(axis=0), RIGHT - RIGHT.mean(axis=0)
    errors = []
    for angle in np.radians(np.arange(0, 360, 0.25)):
        c, s = np.cos(angle), np.sin(angle)
        turned = a @ np.array([[c, -s], [s, c]]).T
        scale = max(np.sum(turned * b) / np.sum(a * a), 0.0)
        errors.append(np.sum((scale * turned - b) ** 2) / 3)
    assert min(errors) == pytest.approx(similarity(LEFT, RIGHT, np.ones(3), scaled=True).error, abs=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_turn_and_shift_are_horns_and_scipys(seed) -> None:
    rng = np.random.default_rng(seed)
    left, R = rng.normal(size=(6, 3)), Rotation.random(rng=rng).as_matrix()
    right = left @ R.T + rng.normal(size=3) + 0.1 * rng.normal(size=(6, 3))
    ours = similarity(left, right, np.ones(6))
    turn, shift = horn(left, right)
    assert ours.turn == pytest.approx(turn, abs=1e-9)
    assert ours.shift == pytest.approx(shift, abs=1e-9)
    weight = rng.uniform(0.2, 3.0, 6)
    share = weight / weight.sum()
    scipys, _ = Rotation.align_vectors(right - share @ right, left - share @ left, weights=weight)
    assert similarity(left, right, weight).turn == pytest.approx(scipys.as_matrix(), abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_with_a_scale_it_is_opencvs(seed) -> None:
    """estimateAffine3D of two sets alone: Umeyama's with a scale, and only proper rotations where that is forced."""
    rng = np.random.default_rng(seed)
    left, R = rng.normal(size=(7, 3)), Rotation.random(rng=rng).as_matrix()
    right = 2.3 * left @ R.T + rng.normal(size=3) + 0.05 * rng.normal(size=(7, 3))
    affine, scale = cv2.estimateAffine3D(left, right, force_rotation=True)
    ours = similarity(left, right, np.ones(7), scaled=True)
    assert ours.turn == pytest.approx(affine[:, :3], abs=1e-6)
    assert ours.scale == pytest.approx(scale, abs=1e-6)
    assert ours.shift == pytest.approx(affine[:, 3], abs=1e-5)


@pytest.mark.parametrize("frame", [InputFrame(turn=35.0, origin=(1, 2, 0)), leaning(15.0, origin=(0, 1, 3))])
def test_a_whole_frame_is_where_horn_puts_it(frame) -> None:
    """Noisy records on five marks: level, the turn about z is that of the plan alone; leaning, Horn's in space."""
    names = "ABCDE"
    recorded = records(frame, names, noise=0.02, seed=4, said=0.02)
    at, marks = np.array([r.at for r in recorded]), np.array([MARKS[n] for n in names])
    found = solve_frame(recorded, {n: Place(MARKS[n], 0.01) for n in names}, CORNERS).frame
    if found.rotation is None:
        flat = np.array([1.0, 1.0, 0.0])
        R, shift = horn(at * flat, marks * flat)
        R = R if R[2, 2] > 0 else R @ np.diag([1.0, 1.0, -1.0])
        assert found.origin[:2] == pytest.approx(shift[:2], abs=2e-4)
        assert found.matrix[:2, :2] == pytest.approx(R[:2, :2], abs=1e-5)
    else:
        R, shift = horn(at, marks)
        assert found.origin == pytest.approx(shift, abs=2e-4)
        assert found.matrix == pytest.approx(R, abs=1e-5)
    assert (found.rotation is None) == (frame.rotation is None)
