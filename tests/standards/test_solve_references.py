"""The solver against references outside us: OpenCV, scipy, published worked examples, and its own statistics.

Sources stand beside each check. Simulations print their seed through the test's name.
"""

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import chi2

from bridge.geometry.frames import rotation_x, rotation_y, rotation_z
from bridge.geometry.stage import Mark
from bridge.solve.alone import refine
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import fit_case
from bridge.solve.heads import HeadBatch, PoseBatch, sightings
from bridge.solve.joint import Border, solve_joint
from tests.unit.solve import rigs_for_solve as rigs


def heads_alone(rig, seen, places, sigma, level_sigma_rad=None):
    """A HeadBatch without any prior (or with a level one)."""
    n, slots = len(rig), len(seen) // len(rig)
    pan = np.radians([s.pan for s in seen]).reshape(n, slots)
    tilt = np.radians([s.tilt for s in seen]).reshape(n, slots)
    up, zero = np.tile([0.0, 0.0, 1.0], (n, 1)), np.zeros((n, 3))
    weight = np.zeros(n) if level_sigma_rad is None else np.full(n, 1 / level_sigma_rad)
    return HeadBatch(
        pan, tilt, np.broadcast_to(np.asarray(places, float), (n, slots, 3)), np.full((n, slots), 1 / sigma), up, up,
        weight, zero, zero, np.zeros(n, dtype=bool), np.zeros((n, 6)), np.ones((n, 6)),
    )  # fmt: skip


def bearings(heads, row):
    sin = np.sin(heads.tilt[row])
    return np.stack([-np.sin(heads.pan[row]) * sin, np.cos(heads.pan[row]) * sin, -np.cos(heads.tilt[row])], axis=-1)


@pytest.mark.parametrize("seed", range(3))
def test_opencv_sqpnp_agrees_without_noise(seed):
    """OpenCV solvePnP with SOLVEPNP_SQPNP (Terzakis and Lourakis, ECCV 2020), bearings turned into one half-space."""
    rng = np.random.default_rng(seed)
    places = [*rigs.FIVE, (3.0, 2.0, 1.0)]
    rig = rigs.rig(rng, 3)
    heads = heads_alone(rig, rigs.sight(rng, rig, places, hand=0.0), places, 0.03)
    near = PoseBatch.at(np.array([h.p for h in rig]) + 0.3, np.array([h.R for h in rig]) @ rotation_z(0.03))
    ours, _ = refine(heads, near)
    for row in range(len(rig)):
        u = bearings(heads, row)
        middle = u.mean(axis=0) / np.linalg.norm(u.mean(axis=0))
        x = np.cross(middle, [0.3, 0.5, 0.2])
        x /= np.linalg.norm(x)
        camera = np.stack([x, np.cross(middle, x), middle])  # rows: camera axes in the fixture frame
        pixels = u @ camera.T
        pixels = pixels[:, :2] / pixels[:, 2:]
        done, rvec, tvec = cv2.solvePnP(np.array(places), pixels, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP)
        assert done
        camera_from_stage = cv2.Rodrigues(rvec)[0]
        position = -camera_from_stage.T @ tvec[:, 0]
        assert np.linalg.norm(ours.p[row] - position) < 1e-6
        assert np.allclose(ours.R[row], (camera.T @ camera_from_stage).T, atol=1e-7)


@pytest.mark.parametrize("seed", range(3))
def test_scipy_finds_the_same_minimum_of_the_same_residuals(seed):
    """scipy.optimize.least_squares on residuals written anew here: heads and marks together, with level and survey."""
    rng = np.random.default_rng(seed)
    rig = rigs.rig(rng, 3)
    seen = rigs.sight(rng, rig, rigs.FIVE)
    survey = np.array(rigs.FIVE, float) + 0.01 * rng.standard_normal((5, 3))
    fixtures, place = rigs.fixtures(rig), rigs.stage(survey)
    fit = fit_case(build_case(fixtures, place, seen), place)
    start_R = fit.poses.R

    def residuals(x):
        points, out = x[:15].reshape(5, 3), [(x[:15].reshape(5, 3) - survey).ravel() / 0.01]
        for i in range(3):
            p, w = x[15 + 6 * i : 18 + 6 * i], x[18 + 6 * i : 21 + 6 * i]
            R = start_R[i] @ cv2.Rodrigues(w)[0]
            for s in seen[5 * i : 5 * i + 5]:
                a, b = np.radians([s.pan, s.tilt])
                q = R.T @ (points["ABCDE".index(s.mark)] - p)
                u = rotation_z(a) @ rotation_x(b) @ np.array([0, 0, -1.0])
                out.append((q - np.linalg.norm(q) * u) / 0.03)
            axis = R[:, 2]
            angle = np.arctan2(np.hypot(axis[0], axis[1]), axis[2])
            out.append(angle * axis[:2] / max(np.hypot(axis[0], axis[1]), 1e-12) / np.radians(1.0))
        return np.concatenate(out)

    x0 = np.concatenate([survey.ravel(), *(np.r_[h.p + 0.05, 0.003, -0.002, 0.004] for h in rig)])
    best = least_squares(residuals, x0, xtol=1e-14, ftol=1e-14, gtol=1e-12)
    ours = np.concatenate([fit.points.ravel(), *(np.r_[p, 0, 0, 0] for p in fit.poses.p)])
    assert fit.joint.chi2 == pytest.approx(2 * best.cost, rel=1e-6)
    assert np.allclose(ours, best.x, atol=2e-4)
    # the covariance of our border is that of the whole problem's inverse normal matrix
    whole = np.linalg.inv(best.jac.T @ best.jac)
    assert np.allclose(fit.joint.cov_border, whole[:15, :15], rtol=0.02, atol=1e-7)
    assert np.allclose(fit.joint.cov_head[1], whole[21:27, 21:27], rtol=0.03, atol=1e-6)


def test_covariance_is_consistent_nees():
    """Normalised estimation error squared of the pose is chi-squared of six (Bar-Shalom et al. 2001, section 5.4).

    400 heads alone, 5 marks: the mean must lie in the two-sided 99.9 % interval of its distribution.
    """
    rng = np.random.default_rng(2024)
    total, count = 0.0, 400
    rig = rigs.rig(rng, count)
    heads = heads_alone(rig, rigs.sight(rng, rig, rigs.FIVE), rigs.FIVE, 0.03, np.radians(1.0))
    truth = PoseBatch.at(np.array([h.p for h in rig]), np.array([h.R for h in rig]))
    border = Border(np.array(rigs.FIVE, float), np.array(rigs.FIVE, float), np.full((5, 3), 1e6))
    joint = solve_joint(heads, np.tile(np.arange(5), (count, 1)), border, truth)
    for i in range(count):
        turn = cv2.Rodrigues(joint.estimate.poses.R[i].T @ rig[i].R)[0][:, 0]
        e = np.r_[rig[i].p - joint.estimate.poses.p[i], turn]
        total += e @ np.linalg.solve(joint.cov_head[i][:6, :6], e)
    low, high = chi2.ppf([0.0005, 0.9995], 6 * count) / count
    assert low < total / count < high


def test_reaches_the_cramer_rao_bound():
    """Mean square aim error against J C J^T with C the inverse Fisher information by numeric derivatives of a forward
    model of this file's own: angles of true heads, noise of the hand turned into angles."""
    rng = np.random.default_rng(7)
    places, sigma = np.array(rigs.FIVE, float), 0.03
    rig = rigs.rig(rng, 60)
    heads = heads_alone(rig, rigs.sight(rng, rig, places, hand=sigma), places, sigma, np.radians(1.0))
    found, _ = refine(heads, PoseBatch.at(np.array([h.p for h in rig]), np.array([h.R for h in rig])))
    achieved, bound = 0.0, 0.0
    for i, head in enumerate(rig):
        information = np.zeros((6, 6))
        R_level = head.R
        for m in places:
            J = np.column_stack([_across(head, m, k) for k in range(6)])
            information += J.T @ J / sigma**2
        for k in range(3):  # level: tilt of the base axis about the stage's x and y
            for j in range(3):
                tips = np.array([_tip(R_level, k), _tip(R_level, j)])
                information[3 + k, 3 + j] += tips[0] @ tips[1] / np.radians(1.0) ** 2
        C = np.linalg.inv(information)
        for g in rigs.grid()[::3]:
            J = np.column_stack([_across(head, g, k) for k in range(6)])
            bound += np.trace(J @ C @ J.T)
            q = found.R[i].T @ (g - found.p[i])
            miss = head.miss(g, np.arctan2(-q[0], q[1]), np.arctan2(np.hypot(q[0], q[1]), -q[2]))
            achieved += miss @ miss
    # 60 heads: the ratio scatters by some 5 %; it can be neither far above the bound nor far below
    assert 0.85 < np.sqrt(achieved / bound) < 1.12


def _across(head, point, k, step=1e-5):
    """How the beam through `point` moves across itself there when unknown k of the head moves."""
    pan, tilt = np.radians(head.angles_to(point))
    out = []
    for sign in (1, -1):
        p, R = head.p.copy(), head.R
        if k < 3:
            p = p + sign * step * np.eye(3)[k]
        else:
            R = R @ cv2.Rodrigues(sign * step * np.eye(3)[k - 3])[0]
        out.append(rigs.Head(p, R).miss(point, pan, tilt))
    return (out[0] - out[1]) / (2 * step)


def _tip(R, k, step=1e-5):
    """Change of the base axis in plan by a turn about fixture axis k."""
    return ((R @ cv2.Rodrigues(step * np.eye(3)[k])[0])[:2, 2] - R[:2, 2]) / step


def test_trilateration_worked_example():
    """Three tapes to known marks. From memory, the usual classroom trilateration: towers at (0, 0), (6, 0) and (0, 8)
    and distances 5, 5 and 5 put the unknown at (3, 4) (3-4-5 triangles)."""
    known = np.array([(0.0, 0, 0), (6, 0, 0), (0, 8, 0)])
    start = np.vstack([known, [2.0, 3.0, 0.0]])
    weight = np.vstack([np.full((3, 3), 1e5), [0, 0, 1e5]])
    tapes = np.array([(0, 3), (1, 3), (2, 3)])
    border = Border(start, start, weight, tapes, np.full(3, 5.0), np.full(3, 100.0))
    none = HeadBatch(*[np.zeros(s) for s in ((0, 1), (0, 1), (0, 1, 3), (0, 1), (0, 3), (0, 3), (0,), (0, 3), (0, 3))],
                     np.zeros(0, dtype=bool), np.zeros((0, 6)), np.zeros((0, 6)))  # fmt: skip
    joint = solve_joint(none, np.zeros((0, 1), dtype=int), border, PoseBatch.at(np.zeros((0, 3)), np.zeros((0, 3, 3))))
    assert np.allclose(joint.estimate.point[3], (3, 4, 0), atol=1e-6)


def test_levelling_loop_is_adjusted_by_weights():
    """A levelling line, from memory of textbooks on adjustment (e.g. Ghilani, Adjustment Computations): between bench
    marks at 100.000 and 107.500 three rises 2.520, 3.010, 1.960 sum to 7.490; a misclosure of 10 mm over equal weights
    is shared as 3.3 mm each. Here tapes along a line are the rises."""
    at = np.array([(100.0, 0, 0), (102.5, 0, 0), (105.5, 0, 0), (107.5, 0, 0)])
    weight = np.array([[1e6] * 3, [0, 1e6, 1e6], [0, 1e6, 1e6], [1e6] * 3])
    tapes, rises = np.array([(0, 1), (1, 2), (2, 3)]), np.array([2.520, 3.010, 1.960])
    border = Border(at, at, weight, tapes, rises, np.full(3, 1000.0))
    none = HeadBatch(*[np.zeros(s) for s in ((0, 1), (0, 1), (0, 1, 3), (0, 1), (0, 3), (0, 3), (0,), (0, 3), (0, 3))],
                     np.zeros(0, dtype=bool), np.zeros((0, 6)), np.zeros((0, 6)))  # fmt: skip
    joint = solve_joint(none, np.zeros((0, 1), dtype=int), border, PoseBatch.at(np.zeros((0, 3)), np.zeros((0, 3, 3))))
    assert joint.estimate.point[1, 0] == pytest.approx(102.52333, abs=1e-4)
    assert joint.estimate.point[2, 0] == pytest.approx(105.53667, abs=1e-4)


def test_theodolite_two_face_readings_give_the_index_error():
    """Index error of the vertical circle from both faces (from memory, any surveying text): face left zenith angle
    91 deg 17' 10", face right 268 deg 42' 20"; their sum less 360 deg is -30", so the index error is -15".

    As a head: zenith angles of a hanging instrument are 180 deg - tilt; face right is tilt negative. The solver must
    find the same tilt zero from two-face sightings whose commanded tilts carry it: half the sum of both faces' tilts.
    """
    zenith_left, zenith_right = 91 + 17 / 60 + 10 / 3600, 268 + 42 / 60 + 20 / 3600
    index = (zenith_left + zenith_right - 360) / 2
    assert index * 3600 == pytest.approx(-15, abs=1e-6)
    # a perfect head but for its tilt zero: commanded = true - zero on both faces, so the sum of the faces is -2 zero
    rng = np.random.default_rng(3)
    rig = rigs.rig(rng, 1, level_deg=0.0)
    rig[0].terms[0] = np.radians(index * 60)  # sixty times larger than the text's, to stand clear of the priors
    marks = [Mark(n, tuple(map(float, at)), sigma=0.001) for n, at in zip("ABCDE", rigs.FIVE, strict=True)]
    seen = rigs.sight(rng, rig, rigs.FIVE, hand=0.0, faces=((1, None), (2, None)))
    by_faces = [(a.tilt + b.tilt) / 2 for a, b in zip(seen[:5], seen[5:], strict=True)]
    assert np.allclose(by_faces, -index * 60, atol=1e-6)
    answer = calibrate(rigs.fixtures(rig), rigs.stage(marks, aim_sigma=0.001), seen)
    assert answer.fixtures["h0"].mechanics.tilt_zero == pytest.approx(index * 60, abs=0.01)


def test_forward_model_is_that_of_the_conventions():
    """design/conventions.md, written out with matrices: axis, beam and lens, for random terms."""
    rng = np.random.default_rng(1)
    rig = rigs.rig(rng, 2, terms=True)
    places = rigs.FIVE
    seen = rigs.sight(rng, rig, places, hand=0.0)
    heads = heads_alone(rig, seen, places, 1.0)
    poses = PoseBatch(np.array([h.p for h in rig]), np.array([h.R for h in rig]), np.array([h.terms for h in rig]))
    r, _ = sightings(heads, poses, derive=False)
    assert np.max(np.abs(r)) < 1e-6
    tz, sq, co, lx, ly, ps = rig[0].terms
    pan, tilt = heads.pan[0, 2], heads.tilt[0, 2]
    axis = rig[0].R @ rotation_z((1 + ps) * pan) @ rotation_y(sq) @ rotation_x(tilt + tz)
    v = np.array(places[2], float) - (rig[0].p + axis @ [lx, ly, 0])
    assert np.allclose(v / np.linalg.norm(v), axis @ rotation_y(co) @ [0, 0, -1], atol=1e-6)
