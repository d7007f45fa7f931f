"""What the joint solve contradicts: marks that were surveyed wrongly."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.case import Case
from bridge.solve.joint import Joint, tape_residuals

FIRM = 1e-3  # share of its own variance below which nobody else checks a measurement


def survey_test(case: Case, joint: Joint) -> Array:
    """For each point, chi-squared (P,) of its survey in plan against everything else (deletion test, 2 freedoms)."""
    out = np.zeros(len(joint.estimate.point))
    for i in np.flatnonzero(case.known):
        at = slice(3 * i, 3 * i + 2)
        r = (joint.estimate.point[i] - case.border.point_at[i])[:2]
        spread = np.diag(1 / case.border.point_weight[i, :2] ** 2) - joint.cov_border[at, at]
        values, vectors = np.linalg.eigh(spread)
        firm = values > FIRM / case.border.point_weight[i, 0] ** 2
        out[i] = float(np.sum((vectors.T @ r)[firm] ** 2 / values[firm]))
    return out


def height_test(case: Case, joint: Joint) -> Array:
    """For each point, chi-squared (P,) of its surveyed height against everything else (one freedom)."""
    out = np.zeros(len(joint.estimate.point))
    for i in np.flatnonzero(case.known):
        weight = case.border.point_weight[i, 2]
        r = joint.estimate.point[i, 2] - case.border.point_at[i, 2]
        spread = 1 / weight**2 - joint.cov_border[3 * i + 2, 3 * i + 2]
        if spread > FIRM / weight**2:
            out[i] = float(r**2 / spread)
    return out


def tape_test(case: Case, joint: Joint) -> Array:
    """For each tape, chi-squared (K,) of its length against everything else (one freedom)."""
    r, direction = tape_residuals(case.border, joint.estimate)
    out = np.zeros(len(r))
    for k, (i, j) in enumerate(case.border.tape_ends):
        at = np.r_[3 * i : 3 * i + 3, 3 * j : 3 * j + 3]
        slope = np.concatenate([direction[k], -direction[k]])
        spread = 1 - float(slope @ joint.cov_border[np.ix_(at, at)] @ slope)
        if spread > FIRM:
            out[k] = float(r[k] ** 2 / spread)
    return out
