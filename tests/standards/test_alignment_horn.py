"""Alignment against Horn's closed form (B. K. P. Horn, Closed-form solution of absolute orientation using unit
quaternions, J. Opt. Soc. Am. A 4, 1987; from memory): the rotation is the eigenvector of the largest eigenvalue of a
symmetric 4 x 4 matrix of sums of products, the shift follows from the centroids. Written anew here, with quaternions,
where bridge/solve uses singular values, complex numbers and least squares."""

from __future__ import annotations

import numpy as np
import pytest

from bridge.geometry.frames import quaternion_from_rotation, rotation_from_quaternion
from bridge.geometry.stage import Mark
from bridge.rig.fixture import Pose
from bridge.solve.calibrate import calibrate
from bridge.solve.carry import CarriedPose
from bridge.solve.heads import HeadBatch
from bridge.solve.start import wahba
from tests.unit.solve import rigs_for_solve as rigs


def horn_rotation(left, right):
    """The rotation (3, 3) that turns vectors `left` (N, 3) best onto `right` (N, 3)."""
    S = left.T @ right
    A = S - S.T
    delta = np.array([A[1, 2], A[2, 0], A[0, 1]])
    N = np.zeros((4, 4))
    N[0, 0], N[0, 1:], N[1:, 0] = np.trace(S), delta, delta
    N[1:, 1:] = S + S.T - np.trace(S) * np.eye(3)
    w, x, y, z = np.linalg.eigh(N)[1][:, -1]
    return np.array(
        [
            [w * w + x * x - y * y - z * z, 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), w * w - x * x + y * y - z * z, 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), w * w - x * x - y * y + z * z],
        ]
    )


def horn(left, right):
    """Rotation and shift that put points `left` (N, 3) best onto `right` (N, 3)."""
    R = horn_rotation(left - left.mean(axis=0), right - right.mean(axis=0))
    return R, right.mean(axis=0) - R @ left.mean(axis=0)


def beams(pan, tilt):
    """Directions in the fixture frame, from design/conventions.md (radians)."""
    return np.stack([-np.sin(pan) * np.sin(tilt), np.cos(pan) * np.sin(tilt), -np.cos(tilt)], axis=-1)


def test_horn_here_gives_back_a_known_motion() -> None:
    """The peer itself: a quarter turn about z that everybody can check, then random motions without noise."""
    assert horn_rotation(np.eye(3), np.array([[0, 1, 0], [-1, 0, 0], [0, 0, 1.0]])) == pytest.approx(
        np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]])
    )
    rng = np.random.default_rng(1)
    for _ in range(5):
        points, R, t = rng.normal(size=(6, 3)), rigs.rz(2.1) @ rigs.rx(rng.uniform(-3, 3)), rng.normal(size=3)
        found, shift = horn(points, points @ R.T + t)
        assert np.allclose(found, R)
        assert np.allclose(shift, t)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("levelled", [False, True])
def test_first_rotation_of_a_head_is_horns(seed, levelled) -> None:
    """Beams onto the directions of the marks from a place half a metre wrong, so that nothing fits exactly; where the
    level counts, it is one more pair of directions, of weight 0.3."""
    rng = np.random.default_rng(seed)
    rig = rigs.rig(rng, 3, mount=("hanging", "standing", "side", "hanging")[seed])
    places = np.array(rigs.FIVE, float)
    sent = np.radians([[h.angles_to(m + 0.3 * rng.standard_normal(3)) for m in places] for h in rig])
    n, up = len(rig), np.tile([0.0, 0.0, 1.0], (len(rig), 1))
    zero, level = np.zeros((n, 3)), np.full(n, 50.0 if levelled else 0.0)
    heads = HeadBatch(
        sent[..., 0], sent[..., 1], np.broadcast_to(places, (n, 5, 3)), np.full((n, 5), 30.0), up, up, level, zero,
        zero, np.zeros(n, dtype=bool), np.zeros((n, 6)), np.ones((n, 6)),
    )  # fmt: skip
    assumed = np.array([h.p for h in rig]) + 0.5 * rng.standard_normal((n, 3))
    ours = wahba(heads, assumed)
    for i in range(n):
        left, right = beams(*sent[i].T), places - assumed[i]
        right /= np.linalg.norm(right, axis=1)[:, None]
        if levelled:
            left, right = (np.vstack([v, np.sqrt(0.3) * up[:1]]) for v in (left, right))
        assert np.allclose(ours[i], horn_rotation(left, right), atol=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_a_truss_carries_unsighted_heads_to_where_horns_alignment_puts_them(seed) -> None:
    """Four heads of a truss are sighted at five marks, two are not. Horn's alignment of the four, each as its place and
    the ends of its three axes, from the old show to the new one tells where the other two are."""
    rng = np.random.default_rng(seed)
    old = [rigs.Head(np.array([-5.0 + 2 * i, 3.0, 8.0]), rigs.rz(rng.uniform(-3, 3))) for i in range(6)]
    T, t = rigs.rz(0.15) @ rigs.rx(np.radians(0.4)), np.array([0.6, -0.4, 0.3])
    now = [rigs.Head(T @ h.p + t, T @ h.R) for h in old]
    marks = [Mark(n, tuple(map(float, at)), sigma=1e-4) for n, at in zip("ABCDE", rigs.FIVE, strict=True)]
    seen = [s for s in rigs.sight(rng, now, rigs.FIVE, hand=0.0) if s.fixture not in ("h4", "h5")]
    pose = {f"h{i}": Pose(tuple(h.p), tuple(quaternion_from_rotation(h.R))) for i, h in enumerate(old)}
    fixtures = rigs.fixtures(now, truss="foh")
    answer = calibrate(
        fixtures, rigs.stage(marks, aim_sigma=1e-3), seen, {name: CarriedPose(p) for name, p in pose.items()}
    )
    ends = np.vstack([np.zeros(3), np.eye(3)])

    def told(name):
        f = answer.fixtures[name]
        return np.array(f.position) + ends @ rotation_from_quaternion(f.rotation).T

    four = [f"h{i}" for i in range(4)]
    R, shift = horn(
        np.vstack([old[i].p + ends @ old[i].R.T for i in range(4)]), np.vstack([told(name) for name in four])
    )
    for i in (4, 5):
        expected = (old[i].p + ends @ old[i].R.T) @ R.T + shift
        assert answer.fixtures[f"h{i}"].carried_over == "foh"
        assert np.allclose(told(f"h{i}"), expected, atol=2e-3)
