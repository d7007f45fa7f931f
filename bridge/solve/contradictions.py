"""What the joint solve contradicts: heads that slipped on their truss, and marks that were surveyed wrongly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.solve.arrays import Array, Mask
from bridge.solve.carry import without_members
from bridge.solve.case import Case
from bridge.solve.heads import PoseBatch, cost
from bridge.solve.joint import Joint, member_residuals
from bridge.solve.together import solve_together

SLIPPED = 1e-4  # chance that a sound head on a truss is taken for one that slipped
MOST_SLIPPED = 3


def let_go_slipped(
    case: Case, poses: PoseBatch, points: Array, coupled: Mask, joint: Joint
) -> tuple[Case, Joint, list[int]]:
    """Heads that are not where their truss says, although their own sightings fix them: let go, worst first, each with
    its level as the plot has it. Returns the case and the joint solve without them, and their rows."""
    slipped: list[int] = []
    for _ in range(MOST_SLIPPED):
        excess = _slip_excess(case, coupled, joint)
        if not len(excess) or np.max(excess) < 1:
            break
        worst = int(np.argmax(excess))
        row = int(case.border.members[worst, 0])
        slipped.append(row)
        weight = case.heads.level_weight.copy()
        weight[row] = 1 / np.radians(max(case.fixtures[row].hang.sigma, 0.01))
        border = without_members(case.border, np.arange(len(excess)) != worst)
        case = replace(case, border=border, heads=replace(case.heads, level_weight=weight))
        joint = solve_together(case, poses, points, coupled)
    return case, joint, slipped


def _slip_excess(case: Case, coupled: Mask, joint: Joint) -> Array:
    """Chi-squared (Q,) of each member of a truss over the largest that chance allows; 0 where it has not been sighted
    at two marks."""
    from scipy.special import gammainccinv

    order = np.cumsum(coupled) - 1
    row_of, truss_of = case.border.members.T
    border = replace(case.border, members=np.column_stack([order[row_of], truss_of]))
    r, _, _ = member_residuals(border, joint.estimate)
    seen = joint.estimate.seen(case.heads, case.index).take(row_of)
    chi2 = np.einsum("qi,qi->q", r, r) + cost(seen, joint.estimate.poses.take(order[row_of]))
    own = np.count_nonzero(case.used, axis=1)[row_of]  # six from the truss and two per sighting, less six unknowns
    most = 2 * gammainccinv(np.maximum(own, 1), SLIPPED)
    return np.where(case.distinct_marks()[row_of] >= 2, chi2 / most, 0.0)


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
