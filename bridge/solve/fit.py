"""The solve itself: every head alone first, then all that fit together, then what each result is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.begin import begin
from bridge.solve.carry import CarriedTruss, with_trusses
from bridge.solve.case import ROUGH_SIGMA, Case
from bridge.solve.contradictions import survey_test
from bridge.solve.heads import HeadBatch, PoseBatch, cost, normal
from bridge.solve.joint import FAINT, Joint
from bridge.solve.limits import limits
from bridge.solve.mounts import start_heads, with_other_mounts
from bridge.solve.shape import first_marks
from bridge.solve.start import floor_under
from bridge.solve.together import point_sigma, settle, solve_together, with_held_marks
from bridge.solve.truss_check import TrussCheck, check_trusses, kept_trusses

NO_FIT = 25.0  # chi-squared at which two marks and a level contradict each other: nothing says which is wrong
MOST_ROUNDS = 3  # of trusses and marks in turn
LOST = np.diag([1.0] * 3 + [np.radians(10.0) ** 2] * 3)  # what is known of a head that is not where its truss says
ANYTHING = 1e6  # variance of the unknowns of a head without a pose


@dataclass(frozen=True)
class Fit:
    """Poses (F), points (P, 3), covariance (F, D, D); chi2, limit, dof (F,) of each head alone on those points.

    `solved` (F,): which heads have a pose at all. `coupled` (F,): which took part in correcting the marks.
    cov_share (F, D) is each head's covariance with the share between axis and pool, zero where that was no unknown.
    `case` is the case as used, `source` the one that was given, with the `trusses` carried into it. By row: `mounts`
    names the mount in use where it is not the rig's, `carried` the truss that the head was placed by, `slipped` the
    truss that it was let go from; `checks` holds each truss as it was tested. mark_sigma (P,) after the solve;
    survey_test (P,) see contradictions.py.
    """

    case: Case
    source: Case
    trusses: tuple[CarriedTruss, ...]
    checks: tuple[TrussCheck, ...]
    poses: PoseBatch
    points: Array
    cov: Array
    cov_share: Array
    chi2: Array
    limit: Array
    dof: Rows
    solved: Mask
    coupled: Mask
    mark_sigma: Array
    survey_test: Array
    joint: Joint
    mounts: dict[int, str]
    carried: dict[int, str]
    slipped: dict[int, str]

    @property
    def stretch(self) -> Array:
        """By how much errors (F,) are larger than predicted where sightings contradict each other: the noise is then
        not what was said. Never more than ten times: beyond that a prediction says nothing anyway."""
        doubted = self.doubtful & (self.dof > 0)
        ratio = np.where(doubted, self.chi2, 1.0) / np.where(doubted, self.dof, 1)
        return np.asarray(np.sqrt(np.clip(ratio, 1.0, 100.0)))

    @property
    def on_marks(self) -> HeadBatch:
        """Every head by itself on the marks as solved, each known as well as it is now."""
        return self.case.alone(self.points, np.minimum(self.mark_sigma, 1.0))

    @property
    def known_points(self) -> Mask:
        """Which points (P,) were surveyed."""
        return _known_points(self.case)

    @property
    def doubtful(self) -> Mask:
        """Heads whose sightings do not fit one pose (F,)."""
        return np.asarray(self.solved & (self.chi2 > self.limit))


def fit_case(given: Case, stage: Stage, trusses: Sequence[CarriedTruss] = ()) -> Fit:
    """Solve everything, heads that no longer fit their truss by themselves. Raises UnsolvableError where no length or
    no frame is known."""
    points = first_marks(given, stage)
    checks: tuple[TrussCheck, ...] = ()
    if trusses:
        checks = check_trusses(_begun(given, points), trusses, points, _rough_sigma(given))
    fit = _fit_on(given, stage, points, checks)
    for _ in range(MOST_ROUNDS if trusses else 0):  # what is tested is what is written: on the marks as solved
        checks = check_trusses(fit.case, trusses, fit.points, fit.mark_sigma)
        same = [tuple(c.kept) for c in checks] == [tuple(c.kept) for c in fit.checks]
        fit = replace(fit, checks=checks) if same else _fit_on(given, stage, points, checks)
        if same:
            break
    return with_checks(replace(fit, trusses=tuple(trusses)))


def _begun(case: Case, points: Array) -> Case:
    """The case with what must be known before its trusses are placed (begin.py)."""
    count = len(case.fixtures)
    nowhere = PoseBatch.at(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)))
    return begin(case, points, _rough_sigma(case), nowhere, np.zeros(count, dtype=bool))


def _fit_on(given: Case, stage: Stage, points: Array, checks: tuple[TrussCheck, ...]) -> Fit:
    """The solve with the heads that each truss keeps on it."""
    case, carried_poses, placed, carried = with_trusses(given, kept_trusses(checks))
    case = begin(case, points, _rough_sigma(case), carried_poses, placed)
    heads = case.alone(points, _rough_sigma(case))
    dof, limit = limits(heads)
    able = placed | (case.distinct_marks() >= 2) | (heads.data_count >= 6) & np.any(heads.weight > 0, axis=1)
    surveyed = bool(np.all(case.known))
    rows = np.flatnonzero(able & ~placed)
    started = start_heads(case, heads, rows, limit if surveyed else np.full(len(heads), np.inf))
    if surveyed:  # and three marks: with two nearly every mount fits something
        started = with_other_mounts(started, heads, rows[case.distinct_marks()[rows] >= 3], limit)
    case, poses = started.case, carried_poses.where(placed, started.poses)
    chi2 = np.where(placed, 0.0, started.chi2)
    solved = able & np.isfinite(chi2) & ((dof > 0) | placed | (chi2 < NO_FIT))
    coupled = solved & (chi2 <= limit) if surveyed else solved
    if np.any(coupled):
        joint = solve_together(case, poses, points, coupled)
    else:  # nobody fits: what is wrong must not bend the marks as well
        coupled = solved
        joint = solve_together(with_held_marks(case), poses, points, coupled)
    if not surveyed:
        poses, coupled, joint = settle(case, poses, coupled, joint, limit)
    case = case.with_share(joint.estimate.share)
    poses, own_chi2 = _final_poses(case, poses, solved, coupled, joint)
    return Fit(
        case=case,
        source=given,
        trusses=(),
        checks=checks,
        poses=poses,
        points=joint.estimate.point,
        cov=_covariances(case, poses, solved, coupled, joint),
        cov_share=_with_share(case, coupled, joint),
        chi2=own_chi2,
        limit=limit,
        dof=dof,
        solved=solved,
        coupled=coupled,
        mark_sigma=point_sigma(joint),
        survey_test=survey_test(case, joint),
        joint=joint,
        mounts=started.mounts,
        carried=carried,
        slipped={int(r): c.truss.name for c in checks for r in c.let_go},
    )


def with_checks(fit: Fit) -> Fit:
    """The fit with what its trusses say: each head that stayed on one is judged as it is written, against all others;
    one that was let go and cannot stand alone is left where the truss has it, in doubt."""
    chi2, limit, dof, solved = fit.chi2.copy(), fit.limit.copy(), fit.dof.copy(), fit.solved.copy()
    poses, cov = fit.poses, fit.cov.copy()
    for check in fit.checks:
        on = check.kept & (not check.doubted)
        chi2[check.rows[on]], limit[check.rows[on]], dof[check.rows[on]] = (
            check.chi2[on],
            check.limit[on],
            check.dof[on],
        )
        lost = check.let_go[~solved[check.let_go]]
        poses = poses.put(lost, check.poses.take(np.isin(check.rows, lost)))
        cov[lost, :6, :6] = LOST
        solved[lost] = True
    return replace(fit, chi2=chi2, limit=limit, dof=dof, solved=solved, poses=poses, cov=cov)


def _known_points(case: Case) -> Mask:
    twins = len(case.border.point) - len(case.known)
    return np.concatenate([case.known, np.zeros(twins, dtype=bool)])


def _rough_sigma(case: Case) -> Array:
    """What each point (P,) is trusted to while heads are solved one by one, metres."""
    weight = case.border.point_weight[:, 0]
    return np.where(_known_points(case), 1 / np.maximum(weight, 1e-9), ROUGH_SIGMA)


def _on_solved_marks(case: Case, joint: Joint) -> HeadBatch:
    return case.alone(joint.estimate.point, np.minimum(point_sigma(joint), 1.0))


def _final_poses(case: Case, poses: PoseBatch, solved: Mask, coupled: Mask, joint: Joint) -> tuple[PoseBatch, Array]:
    """Poses, and chi-squared (F,) of each head alone on the marks found. Heads that were left out of the joint solve
    are solved alone on those marks. No head is left below the floor: it keeps the pose that it had before."""
    together = poses.put(np.flatnonzero(coupled), joint.estimate.poses)
    buried = together.p[:, 2] < floor_under(replace(case.heads, mark=joint.estimate.point[case.index]))
    poses = poses.where(buried, together)  # a joint fit of what cannot fit must not bury a head
    heads, own = _on_solved_marks(case, joint), np.flatnonzero(solved)
    settled, own_chi2 = refine(heads.take(own), poses.take(own))
    sunk = settled.p[:, 2] < floor_under(heads)[own]
    chi2 = np.full(len(heads), np.inf)
    # below the floor everything may fit: what counts is the pose that the head keeps
    chi2[own] = np.where(sunk, cost(heads.take(own), poses.take(own)), own_chi2)
    alone = ~coupled[own] & ~sunk
    return poses.put(own[alone], settled.take(alone)), chi2


def _covariances(case: Case, poses: PoseBatch, solved: Mask, coupled: Mask, joint: Joint) -> Array:
    """Covariance (F, D, D) of each head: from the joint solve, or alone on the marks found; huge without a pose."""
    width = 12 if np.any(case.heads.terms_on) else 6
    cov = np.tile(ANYTHING * np.eye(width), (len(coupled), 1, 1))
    others = np.flatnonzero(~coupled & solved)
    if len(others):
        _, H, *_ = normal(_on_solved_marks(case, joint).take(others), poses.take(others))
        _put(cov, others, np.asarray(np.linalg.inv(H + FAINT * np.eye(H.shape[1])), dtype=np.float64))
    _put(cov, np.flatnonzero(coupled), joint.cov_head)
    return cov


def _with_share(case: Case, coupled: Mask, joint: Joint) -> Array:
    width = 12 if np.any(case.heads.terms_on) else 6
    cov = np.zeros((len(coupled), width))
    if case.border.share_weight > 0:
        cov[coupled, : joint.cov_cross.shape[1]] = joint.cov_cross[..., -1]
    return cov


def _put(cov: Array, rows: Rows, blocks: Array) -> None:
    """Covariances of heads into those of all; mechanical terms that nobody of them has stay as unknown as they were."""
    n = blocks.shape[1]
    cov[rows, :n, :n] = blocks
