"""Heads solved together with the marks: which take part, on which marks, and again without those that do not fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Mask
from bridge.solve.case import Case
from bridge.solve.heads import PoseBatch
from bridge.solve.joint import Joint, solve_joint

HELD = 1e3  # times its usual weight, a mark stays where it is


def solve_together(case: Case, poses: PoseBatch, points: Array, coupled: Mask) -> Joint:
    """Joint solve of the coupled heads (F,) and all points, started at `poses` and `points` (P, 3)."""
    rows = np.flatnonzero(coupled)
    number = {int(row): k for k, row in enumerate(rows)}
    members = [(number[int(h)], int(t)) for h, t in case.border.members]
    ties = [(number[int(h)], int(p)) for h, p in case.border.ties if int(h) in number]
    border = replace(
        case.border,
        point=points,
        ties=np.array(ties, dtype=int).reshape(-1, 2),
        members=np.array(members, dtype=int).reshape(-1, 2),
    )
    heads = case.heads if len(rows) == len(case.heads) else case.heads.take(rows)
    return solve_joint(heads, case.index[rows], border, poses.take(rows))


def with_held_marks(case: Case) -> Case:
    """The case with every mark held to what is known of it."""
    marks = np.arange(len(case.border.point)) < len(case.marks)
    weight = case.border.point_weight * np.where(marks, HELD, 1.0)[:, None]
    return replace(case, border=replace(case.border, point_weight=weight))


def settle(case: Case, poses: PoseBatch, coupled: Mask, joint: Joint, limit: Array) -> tuple[PoseBatch, Mask, Joint]:
    """Marks that nobody surveyed: see which heads do not fit the marks found, leave them out, solve again."""
    for _ in range(4):
        poses = poses.put(np.flatnonzero(coupled), joint.estimate.poses)
        heads = case.with_share(joint.estimate.share).alone(joint.estimate.point, point_sigma(joint))
        poses, chi2 = refine(heads, poses)
        bad = coupled & (chi2 > np.maximum(limit, 0.3 * np.max(chi2[coupled])))
        if not np.any(bad) or np.count_nonzero(coupled & ~bad) < 1:
            break
        coupled = coupled & ~bad
        joint = solve_together(case.with_share(joint.estimate.share), poses, joint.estimate.point, coupled)
    return poses, coupled, joint


def point_sigma(joint: Joint) -> Array:
    """Sigma (P,) of each point after the solve, metres: the mean of its two plan axes."""
    n = 3 * len(joint.estimate.point)
    variance = np.diag(joint.cov_border)[:n].reshape(-1, 3)
    return np.asarray(np.sqrt(np.mean(variance[:, :2], axis=1)))
