"""Reliability of a whole network and of a head, against adjustments that are made again with a mistake put in.

Redundancy numbers are those of surveying (Baarda 1968; textbooks on adjustment such as Ghilani, Adjustment
Computations; from memory). The plane networks are symmetric, so that their numbers follow by hand: redundancy is
shared equally among measurements that a symmetry exchanges, and sums to measurements less unknowns.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.optimize import brentq, least_squares
from scipy.stats import chi2, ncx2

from bridge.solve.heads import HeadBatch, PoseBatch
from bridge.solve.limits import limits
from bridge.solve.reliability import block_reliability, reliability, unseen_size2
from tests.unit.solve import rigs_for_solve as rigs

SIGMA, LEVEL = 0.03, np.radians(1.0)


def slopes(measure, x, step=1e-6):
    """Derivatives (K, D) of `measure` at x by central differences."""
    return np.column_stack([(measure(x + d) - measure(x - d)) / (2 * step) for d in step * np.eye(len(x))])


def redundancy(A):
    C = np.linalg.inv(A.T @ A)
    return block_reliability(A[None, :, None, :], C[None], np.eye(A.shape[1])[None], rank=1)[0][0]


@pytest.mark.parametrize(("stations", "expected"), [(3, 1 / 3), (4, 1 / 2), (8, 3 / 4)])
def test_distances_from_stations_round_a_circle(stations, expected) -> None:
    """One unknown point in the middle, two unknowns: each of n distances has (n - 2) / n."""
    turn = 2 * np.pi * np.arange(stations) / stations
    known = 100 * np.column_stack([np.cos(turn), np.sin(turn)])
    A = slopes(lambda x: np.linalg.norm(known - x, axis=1), np.zeros(2))
    assert redundancy(A) == pytest.approx(np.full(stations, expected), abs=1e-6)


def test_a_triangle_and_a_braced_quadrilateral() -> None:
    """Three angles of an equilateral triangle on a known base share its one condition: 1/3 each. The eight angles of a
    square with both diagonals have four unknowns and four conditions: 1/2 each."""
    corners = np.array([(0.0, 0), (1, 0), (1, 1), (0, 1)])
    triangle = np.array([(0.0, 0), (1, 0), (0.5, np.sqrt(3) / 2)])

    def angles_between(points, which):
        out = []
        for at, left, right in which:
            a, b = (np.arctan2(*(points[k] - points[at])[::-1]) for k in (left, right))
            out.append((b - a + np.pi) % (2 * np.pi) - np.pi)
        return np.array(out)

    def with_free(points, free, which):
        return lambda x: angles_between(np.vstack([points[:free], x.reshape(-1, 2)]), which)

    three = [(0, 1, 2), (1, 2, 0), (2, 0, 1)]
    A = slopes(with_free(triangle, 2, three), triangle[2:].ravel())
    assert redundancy(A) == pytest.approx(np.full(3, 1 / 3), abs=1e-6)
    eight = [(k, (k + a) % 4, (k + b) % 4) for k in range(4) for a, b in ((1, 2), (2, 3))]
    A = slopes(with_free(corners, 2, eight), corners[2:].ravel())
    assert redundancy(A) == pytest.approx(np.full(8, 1 / 2), abs=1e-6)


def heads_at(rig, places, sent):
    """The rig on known marks, with a level prior and nothing else; `sent` (F, N, 2) rad."""
    n, up = len(rig), np.tile([0.0, 0.0, 1.0], (len(rig), 1))
    zero = np.zeros((n, 3))
    return HeadBatch(
        sent[..., 0], sent[..., 1], np.broadcast_to(places, (n, *places.shape)), np.full(sent.shape[:2], 1 / SIGMA),
        up, up, np.full(n, 1 / LEVEL), zero, zero, np.zeros(n, dtype=bool), np.zeros((n, 6)), np.ones((n, 6)),
    )  # fmt: skip


def adjusted(head, places, moved):
    """The head again from its sightings, each beam moved across itself by `moved` (N, 2) metres at its mark: residuals
    (N, 2) in metres, place and turn (3 and 3, small). Written anew: directions across each true line of sight."""
    lines = places - head.p
    far = np.linalg.norm(lines, axis=1)[:, None]
    lines = lines / far
    one = np.cross(lines, [0.1, 0.2, 0.97])
    one /= np.linalg.norm(one, axis=1)[:, None]
    frame = np.stack([one, np.cross(lines, one)], axis=1)  # (N, 2, 3), stage frame
    beams = lines + np.einsum("nk,nki->ni", moved, frame) / far  # as sent, were the head where it is

    def residuals(x):
        turned = beams @ (head.R @ cv2.Rodrigues(x[3:])[0] @ head.R.T).T
        v = places - head.p - x[:3]
        miss = np.einsum("nki,ni->nk", frame, v - np.linalg.norm(v, axis=1)[:, None] * turned)
        tip = (head.R @ cv2.Rodrigues(x[3:])[0])[:2, 2]
        return np.concatenate([miss.ravel() / SIGMA, tip / LEVEL])

    x = least_squares(residuals, np.zeros(6), xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    return SIGMA * residuals(x)[:-2].reshape(-1, 2), x


@pytest.mark.parametrize("marks", [3, 4, 5])
def test_redundancy_and_hidden_effect_of_a_head_are_those_of_an_adjustment_made_again(marks) -> None:
    """Each sighting is moved by a millimetre in two directions: what of it stays in its own residual is its redundancy,
    what goes into the pose its effect on the aim. The size of the largest unseen mistake: non-central chi-squared
    (scipy.stats), 80 % power against the limit of the test."""
    rng = np.random.default_rng(marks)
    places = np.array(rigs.FIVE[:marks], float)
    rig = rigs.rig(rng, 2, level_deg=0.0)
    sent = np.radians([[h.angles_to(m) for m in places] for h in rig])
    heads, points = heads_at(rig, places, sent), rigs.grid()
    poses = PoseBatch.at(np.array([h.p for h in rig]), np.array([h.R for h in rig]))
    found = reliability(heads, poses, points, np.ones((2, 1), dtype=int))
    dof, limit = limits(heads)
    step = 1e-3
    for i, head in enumerate(rig):
        size2 = brentq(lambda nc, i=i: ncx2.cdf(limit[i], dof[i], nc) - 0.2, 1e-3, 1e3)
        for k in range(marks):
            own, effects = np.zeros((2, 2)), []
            for j in range(2):
                moved = np.zeros((marks, 2))
                moved[k, j] = step
                residual, x = adjusted(head, places, moved)
                own[:, j] = -residual[k] / step
                effects.append(aim_change(head, points, x) * SIGMA / step)
            assert found.redundancy[i, k] == pytest.approx(np.trace(own), abs=2e-3)
            worst = 0.0
            for turn in np.linspace(0, np.pi, 721):
                d = np.array([np.cos(turn), np.sin(turn)])
                rms = np.sqrt(np.mean(np.sum((d[0] * effects[0] + d[1] * effects[1]) ** 2, axis=1)))
                worst = max(worst, rms * np.sqrt(size2 / (d @ own @ d)))
            assert found.hidden[i, k] == pytest.approx(worst, rel=0.02)


def aim_change(head, points, x):
    """How far (P, 3) the beams aimed through a pose that is wrong by x miss the points, m."""
    p, R = head.p + x[:3], head.R @ cv2.Rodrigues(x[3:])[0]
    wrong = rigs.Head(p, R)
    return np.array([head.miss(point, *np.radians(wrong.angles_to(point))) for point in points])


def test_a_mistake_of_the_hidden_size_is_missed_once_in_five_times() -> None:
    """Monte Carlo, 3000 measurements of one unknown by four of equal weight: a mistake of sqrt(size2 / r) sigma in the
    first raises chi-squared of three freedoms above its 99 % limit in four of five."""
    rng = np.random.default_rng(11)
    limit = chi2.ppf(0.99, 3)
    size2 = unseen_size2(np.array([3]), np.array([limit]))[0]
    r = redundancy(np.ones((4, 1)))
    assert r == pytest.approx(np.full(4, 3 / 4))
    y = rng.standard_normal((3000, 4))
    y[:, 0] += np.sqrt(size2 / r[0])
    seen = np.sum((y - y.mean(axis=1, keepdims=True)) ** 2, axis=1) > limit
    assert np.mean(seen) == pytest.approx(0.8, abs=0.03)
