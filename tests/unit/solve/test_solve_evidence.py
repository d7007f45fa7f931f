"""Which of four sightings is wrong: scores against the evidence of a linear model, written anew."""

import numpy as np
import pytest

from bridge.solve.case import build_case
from bridge.solve.fit import fit_case
from bridge.solve.heads import level, sightings
from bridge.solve.hypotheses import MISTAKE, SIGHTING, explain
from tests.unit.solve import rigs_for_solve as rigs

FOUR = rigs.FIVE[:4]


def evidence(r, A, rows, size):
    """-2 log of the probability of residuals r (n,), unit noise, slopes A (n, 6) of unknowns that may be anything, when
    those of `rows` also have an error of `size`; any constant left out. The textbook's form (marginal likelihood of a
    Gaussian with a flat prior), no deletion in it."""
    W = np.ones(len(r))
    W[rows] = 1 / (1 + size**2)
    N = (A.T * W) @ A
    left = r - A @ np.linalg.solve(N, (A.T * W) @ r)
    return float(left @ (W * left) + np.linalg.slogdet(N)[1] - np.sum(np.log(W)))


@pytest.mark.parametrize("seed", range(4))
def test_scores_of_single_sightings_differ_as_their_evidence_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    heads = rigs.rig(rng, 3)
    seen = rigs.sight(rng, heads, FOUR)
    place = rigs.stage(FOUR)
    fit = fit_case(build_case(rigs.fixtures(heads), place, seen), place)
    sigma = np.minimum(fit.mark_sigma, 1.0)
    alone = fit.case.alone(fit.points, sigma)
    scores = {e.slot: e.score for e in explain(fit, alone, 1, fit.points, sigma, 1) if e.kind == SIGHTING}
    r, J = sightings(alone, fit.poses)
    up, up_J = level(alone, fit.poses)
    two = [np.linalg.svd(J[1, k])[0][:, :2].T for k in range(4)]  # across the beam
    slopes = np.concatenate([*(U @ J[1, k] for k, U in enumerate(two)), np.hstack([np.zeros((3, 3)), up_J[1]])])
    errors = np.concatenate([*(U @ r[1, k] for k, U in enumerate(two)), up[1]])
    told = [evidence(errors, slopes, [2 * k, 2 * k + 1], MISTAKE * alone.weight[1, k]) for k in range(4)]
    got = np.array([scores[k] for k in range(4)])
    assert np.ptp(told) > 0.5
    assert got - got[0] == pytest.approx(np.array(told) - told[0], abs=0.05)
