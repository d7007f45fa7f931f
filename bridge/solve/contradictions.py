"""What the joint solve contradicts: marks that were surveyed wrongly."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.case import Case
from bridge.solve.joint import Joint


def survey_test(case: Case, joint: Joint) -> Array:
    """For each point, chi-squared (P,) of its survey in plan against everything else (deletion test, 2 freedoms)."""
    out = np.zeros(len(joint.estimate.point))
    for i in np.flatnonzero(case.known):
        at = slice(3 * i, 3 * i + 2)
        r = (joint.estimate.point[i] - case.border.point_at[i])[:2]
        spread = np.diag(1 / case.border.point_weight[i, :2] ** 2) - joint.cov_border[at, at]
        values, vectors = np.linalg.eigh(spread)
        firm = values > 1e-3 / case.border.point_weight[i, 0] ** 2  # a direction nobody else sees tells nothing
        out[i] = float(np.sum((vectors.T @ r)[firm] ** 2 / values[firm]))
    return out
