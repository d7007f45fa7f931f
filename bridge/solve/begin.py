"""What must be known before a single head is judged: how far off its marks are, and what the hands centred on them.

Both come from rough poses in closed form. The share between axis and pool (noise.py) is one number that all heads say
together; each by itself, with a wrong share, would look like a head with wrong sightings.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Mask
from bridge.solve.case import Case
from bridge.solve.heads import HeadBatch, PoseBatch, by_share, normal
from bridge.solve.joint import FAINT
from bridge.solve.limits import limits
from bridge.solve.noise import SHARE, SHARE_SIGMA
from bridge.solve.start import closed_form

USUAL_REACH = 10.0  # metres, for a head whose place nothing says yet
COARSE = 0.1  # of a hand's sigma, from which the noise of axes counts
ROUNDS = 6


def begin(case: Case, points: Array, sigma: Array, carried: PoseBatch, placed: Mask) -> Case:
    """The case with the reach of its sightings and the share of the pool, from `points` (P, 3) known to `sigma` (P,).
    Heads that are `placed` (F,) begin at their `carried` poses."""
    sight = case.heads.sight
    assert sight is not None
    coarse = np.max(sight.axis, initial=0.0) * USUAL_REACH > COARSE * case.aim_sigma
    if not coarse and not sight.undecided:
        return case
    poses, good = closed_form(case.heads if not len(points) else case.alone(points, sigma), case.hang)
    poses, good = carried.where(placed, PoseBatch(poses.p, poses.R, case.heads.terms_prior.copy())), good | placed
    if coarse:
        p = np.where(good[:, None], poses.p, np.where(np.isfinite(case.hints), case.hints, _far_off(case, points)))
        case = case.at_reach(replace(poses, p=p), points)
    rows = np.flatnonzero(good & (case.distinct_marks() >= 2))
    if not sight.undecided or not len(rows):
        return case
    return case.with_share(find_share(case.alone(points, sigma).take(rows), poses.take(rows)))


def _far_off(case: Case, points: Array) -> Array:
    """A place (F, 3) at the usual distance above the marks of each head."""
    return np.asarray(points[case.index].mean(axis=1) + np.array([0.0, 0.0, USUAL_REACH]))


def find_share(heads: HeadBatch, poses: PoseBatch) -> float:
    """The share between axis and pool that the heads, each free in its own pose, agree on best: Gauss-Newton on one
    number, the poses eliminated; heads that fit nothing count for less."""
    share = SHARE
    for _ in range(ROUNDS):
        assert heads.sight is not None
        heads = replace(heads, sight=heads.sight.with_share(share))
        poses, chi2 = refine(heads, poses, steps=8)
        dof, limit = limits(heads)
        trust = np.sqrt(np.minimum(1.0, limit / np.maximum(chi2, 1e-12))) * (dof > 0)
        _, H, g, r, J = normal(heads, poses)
        s = by_share(heads, poses)
        c = np.einsum("fnid,fni->fd", J, s)
        x = np.linalg.solve(H + FAINT * np.eye(H.shape[1]), np.stack([c, g], axis=2))
        slope = np.einsum("fni,fni->f", s, s) - np.einsum("fd,fd->f", c, x[..., 0])
        pull = np.einsum("fni,fni->f", s, r) - np.einsum("fd,fd->f", c, x[..., 1])
        prior = 1 / SHARE_SIGMA**2
        step = -(np.sum(trust * pull) + (share - SHARE) * prior) / (np.sum(trust * slope) + prior)
        share = float(np.clip(share + step, -0.5, 1.5))
        if abs(step) < 0.01:
            break
    return share
