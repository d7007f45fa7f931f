"""The solve itself: every head alone first, then all that fit together, then what each result is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.geometry.frames import rotation_from_hang
from bridge.geometry.stage import Stage
from bridge.solve.alone import refine
from bridge.solve.arrays import Array
from bridge.solve.carry import CarriedTruss, with_trusses, without_members
from bridge.solve.case import ROUGH_SIGMA, Case
from bridge.solve.heads import HeadBatch, Poses, cost, normal
from bridge.solve.joint import FAINT, Joint, member_residuals, solve_joint
from bridge.solve.shape import first_marks
from bridge.solve.start import floor_under, solve_alone

SLIPPED = 1e-4  # chance that a sound head on a truss is taken for one that slipped
NO_FIT = 25.0  # chi-squared at which two marks and a level contradict each other: nothing says which is wrong
FALSE_ALARM = 0.01  # chance that anything is doubted in a sound rig, shared among the heads
FALSE_ALARM_FEW, FEW = 0.025, 4  # with four marks or fewer a mistake hides better: look sooner (degrees of freedom)


@dataclass(frozen=True)
class Fit:
    """Poses (F), points (P, 3), covariance (F, D, D); chi2, limit, dof (F,) of each head alone on those points.

    `solved` (F,): which heads have a pose at all. `coupled` (F,): which took part in correcting the marks.
    `hang` is the mount in use and `mount` says in words where it is not the rig's. mark_sigma (P,) after the solve.
    """

    case: Case
    poses: Poses
    points: Array
    cov: Array
    chi2: Array
    limit: Array
    dof: Array
    solved: Array
    coupled: Array
    mark_sigma: Array
    survey_test: Array
    joint: Joint
    mounts: dict[int, str]
    carried: dict[int, str]
    slipped: dict[int, str]
    source: Case
    trusses: tuple[CarriedTruss, ...]

    @property
    def stretch(self) -> Array:
        """By how much errors (F,) are larger than predicted where sightings contradict each other: the noise is then
        not what was said. Never more than ten times: beyond that a prediction says nothing anyway."""
        doubted = self.doubtful & (self.dof > 0)
        ratio = np.where(doubted, self.chi2, 1.0) / np.where(doubted, self.dof, 1)
        return np.asarray(np.sqrt(np.clip(ratio, 1.0, 100.0)))

    @property
    def known_points(self) -> Array:
        """Which points (P,) were surveyed."""
        out = np.zeros(len(self.points), dtype=bool)
        out[: len(self.case.known)] = self.case.known
        return out

    @property
    def doubtful(self) -> Array:
        """Heads whose sightings do not fit one pose (F,)."""
        return np.asarray(self.solved & (self.chi2 > self.limit))


def fit_case(case: Case, stage: Stage, trusses: Sequence[CarriedTruss] = ()) -> Fit:
    """Solve everything. Raises UnsolvableError where no length or no frame is known."""
    source = case
    points = first_marks(case, stage)
    sigma = _survey_sigma(case)
    case, carried_poses, placed, carried = with_trusses(case, trusses, points)
    heads = case.alone(points, sigma)
    dof, limit = limits(heads)
    solved = (case.distinct_marks() >= 2) | (heads.data_count >= 6) & np.any(heads.weight > 0, axis=1)
    solved |= placed
    surveyed = bool(np.all(case.known))
    rows = np.flatnonzero(solved & ~placed)
    poses, chi2 = _start(case, heads, rows, limit if surveyed else np.full(len(heads), np.inf))
    mounts: dict[int, str] = {}
    if surveyed:
        told = rows[case.distinct_marks()[rows] >= 3]  # with two marks nearly every mount fits something
        case, heads, poses, chi2, mounts = other_mounts(case, heads, poses, chi2, told, limit)
    poses = carried_poses.where(placed, poses)
    chi2 = np.where(placed, 0.0, chi2)
    sane = solved & np.isfinite(chi2) & ((dof > 0) | placed | (chi2 < NO_FIT))
    coupled = sane & (chi2 <= limit) if surveyed else sane
    firm = not np.any(coupled)  # nobody fits: what is wrong must not bend the marks as well
    coupled = sane if firm else coupled
    joint = _joined(_firm(case) if firm else case, poses, points, coupled)
    slipped: dict[int, str] = {}
    if carried:
        case, joint, slipped = _unslip(case, poses, points, coupled, joint, carried)
    if not surveyed:
        poses, coupled, joint = _settle(case, poses, coupled, joint, limit)
    fit = _finish(case, poses, limit, dof, sane, coupled, joint)
    return replace(
        fit,
        mounts=mounts,
        carried={k: v for k, v in carried.items() if k not in slipped},
        slipped=slipped,
        source=source,
        trusses=tuple(trusses),
    )


def limits(heads: HeadBatch, among: int | None = None) -> tuple[Array, Array]:
    """Degrees of freedom (F,) of each head alone, and the chi-squared (F,) above which it is doubted, as one of as many
    heads (`among`, default all of these)."""
    from scipy.special import gammainccinv

    dof = heads.data_count - 6
    alarm = np.where(dof > FEW, FALSE_ALARM, FALSE_ALARM_FEW) / max(among or len(heads), 1)
    with_dof = 2 * gammainccinv(np.maximum(dof, 1) / 2, alarm)
    return dof, np.where(dof > 0, with_dof, 1.0)


def _survey_sigma(case: Case) -> Array:
    weight = case.border.point_weight[:, 0]
    known = np.zeros(len(weight), dtype=bool)
    known[: len(case.known)] = case.known
    return np.where(known, 1 / np.maximum(weight, 1e-9), ROUGH_SIGMA)


def _start(case: Case, heads: HeadBatch, rows: Array, limit: Array) -> tuple[Poses, Array]:
    count = len(heads)
    poses = Poses(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)), np.zeros((count, 6)))
    chi2 = np.full(count, np.inf)
    if len(rows):
        whole = len(rows) == count
        part = heads if whole else heads.take(rows)
        found, chi2[rows] = solve_alone(part, case.hang[rows], case.hints[rows], limit[rows])
        poses.p[rows], poses.R[rows], poses.terms[rows] = found.p, found.R, found.terms
    return poses, chi2


BASE_AXIS = "turned about the axis of its base"
MOUNTS = (
    ("standing instead of hanging, or the other way round", (0.0, np.pi)),
    ("on its side (pitch 90)", (np.pi / 2, 0.0)),
    ("on its side (pitch -90)", (-np.pi / 2, 0.0)),
    ("on its side (roll 90)", (0.0, np.pi / 2)),
    ("on its side (roll -90)", (0.0, -np.pi / 2)),
)


def other_mounts(
    case: Case, heads: HeadBatch, poses: Poses, chi2: Array, rows: Array, limit: Array
) -> tuple[Case, HeadBatch, Poses, Array, dict[int, str]]:
    """Heads that do not fit their `hang` but fit another common mount, or the same one with the base turned about its
    own axis: use that mount's level instead, and say so. A wrong word in the plot must not cost the pose."""
    told: dict[int, str] = {}
    bad = rows[~(chi2[rows] <= limit[rows])]
    if not len(bad):
        return case, heads, poses, chi2, told
    tried = [(text, *_as_mounted(case, heads, bad, turn)) for text, turn in MOUNTS]
    tried.append((BASE_AXIS, *_base_axis(case, heads, bad)))
    best = np.full(len(bad), np.inf)
    fresh = (heads.level_stage.copy(), heads.level_fixture.copy(), case.hang.copy())
    p, R, terms, chi2 = poses.p.copy(), poses.R.copy(), poses.terms.copy(), chi2.copy()
    for text, batch, hang in tried:
        if text == BASE_AXIS and np.all(np.abs(hang[:, 2, 2]) > 0.9):
            continue  # an upright base: the same as its level, which was tried first
        found, new = solve_alone(batch, hang, case.hints[bad], limit[bad], unstarted_only=text != BASE_AXIS)
        for k in np.flatnonzero((new <= limit[bad]) & (new < best)):
            row = int(bad[k])
            best[k], told[row], chi2[row] = new[k], text, new[k]
            p[row], R[row], terms[row] = found.p[k], found.R[k], found.terms[k]
            fresh[0][row], fresh[1][row], fresh[2][row] = (
                batch.level_stage[k],
                batch.level_fixture[k],
                hang[k],
            )
    level = {"level_stage": fresh[0], "level_fixture": fresh[1]}
    case = replace(case, heads=case.heads.having(**level), hang=fresh[2])
    return case, heads.having(**level), Poses(p, R, terms), chi2, told


def _as_mounted(case: Case, heads: HeadBatch, rows: Array, turn: tuple[float, float]) -> tuple[HeadBatch, Array]:
    pitch, roll = turn
    if pitch == 0.0 and roll == np.pi:
        hang = case.hang[rows] @ rotation_from_hang(0.0, 0.0, np.pi)
    else:
        hang = np.tile(rotation_from_hang(0.0, pitch, roll), (len(rows), 1, 1))
    return heads.take(rows).having(level_fixture=hang[:, 2, :].copy()), hang


def _base_axis(case: Case, heads: HeadBatch, rows: Array) -> tuple[HeadBatch, Array]:
    """The other reading of `hang`: the base axis points as the plot says, and the turn about it is free."""
    yaw = np.radians([case.fixtures[r].hang.yaw for r in rows])
    zero = np.zeros(len(rows))
    hang = rotation_from_hang(yaw, zero, zero) @ case.hang[rows]
    axis = np.tile([0.0, 0.0, 1.0], (len(rows), 1))
    return heads.take(rows).having(level_stage=hang[:, :, 2].copy(), level_fixture=axis), hang


def _firm(case: Case) -> Case:
    weight = case.border.point_weight * np.where(np.arange(len(case.border.point)) < len(case.marks), 1e3, 1.0)[:, None]
    return replace(case, border=replace(case.border, point_weight=weight))


def _joined(case: Case, poses: Poses, points: Array, coupled: Array) -> Joint:
    """Joint solve of the coupled heads."""
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


def _settle(case: Case, poses: Poses, coupled: Array, joint: Joint, limit: Array) -> tuple[Poses, Array, Joint]:
    """Unsurveyed marks: solve, see which heads do not fit the marks found, leave them out, solve again."""
    for _ in range(4):
        rows = np.flatnonzero(coupled)
        p, R, terms = poses.p.copy(), poses.R.copy(), poses.terms.copy()
        p[rows], R[rows], terms[rows] = joint.state.poses.p, joint.state.poses.R, joint.state.poses.terms
        poses = Poses(p, R, terms)
        heads = case.alone(joint.state.point, point_sigma(joint))
        poses, chi2 = refine(heads, poses)
        bad = coupled & (chi2 > np.maximum(limit, 0.3 * np.max(chi2[coupled])))
        if not np.any(bad) or np.count_nonzero(coupled & ~bad) < 1:
            break
        coupled = coupled & ~bad
        joint = _joined(case, poses, joint.state.point, coupled)
    return poses, coupled, joint


def point_sigma(joint: Joint) -> Array:
    """Sigma (P,) of each point after the solve, metres: the mean of its two plan axes."""
    n = 3 * len(joint.state.point)
    variance = np.diag(joint.cov_border)[:n].reshape(-1, 3)
    return np.asarray(np.sqrt(np.mean(variance[:, :2], axis=1)))


def _finish(case: Case, poses: Poses, limit: Array, dof: Array, sane: Array, coupled: Array, joint: Joint) -> Fit:
    """Heads left out are solved alone on the marks found; every head gets a covariance and a chi-squared."""
    points, sigma = joint.state.point, point_sigma(joint)
    rows = np.flatnonzero(coupled)
    p, R, terms = poses.p.copy(), poses.R.copy(), poses.terms.copy()
    p[rows], R[rows], terms[rows] = joint.state.poses.p, joint.state.poses.R, joint.state.poses.terms
    buried = p[:, 2] < floor_under(case.heads.having(mark=points[case.index]))
    poses = poses.where(buried, Poses(p, R, terms))  # a joint fit of what cannot fit must not bury a head
    heads = case.alone(points, np.minimum(sigma, 1.0))
    own = np.flatnonzero(sane)
    settled, own_chi2 = refine(heads.take(own), poses.take(own))
    chi2 = np.full(len(heads), np.inf)
    chi2[own] = own_chi2
    p, R, terms = poses.p.copy(), poses.R.copy(), poses.terms.copy()
    alone = ~coupled[own] & (settled.p[:, 2] >= floor_under(heads)[own])
    p[own[alone]], R[own[alone]], terms[own[alone]] = settled.p[alone], settled.R[alone], settled.terms[alone]
    poses = Poses(p, R, terms)
    width = 12 if np.any(case.heads.terms_on) else 6
    cov = np.zeros((len(heads), width, width))
    cov[:, np.arange(width), np.arange(width)] = 1e6  # no pose: anything is possible
    others = np.flatnonzero(~coupled & sane)
    if len(others):
        _, H, *_ = normal(heads.take(others), poses.take(others))
        n = H.shape[1]
        H[:, np.arange(n), np.arange(n)] += FAINT
        _put(cov, others, np.linalg.inv(H))
    _put(cov, rows, joint.cov_head)
    return Fit(
        case,
        poses,
        points,
        cov,
        chi2,
        limit,
        dof,
        sane,
        coupled,
        sigma,
        _survey_test(case, joint),
        joint,
        {},
        {},
        {},
        case,
        (),
    )


def _put(cov: Array, rows: Array, blocks: Array) -> None:
    n = blocks.shape[1]
    if len(rows):
        cov[rows] = 0.0
        cov[rows[:, None, None], np.arange(n)[:, None], np.arange(n)] = blocks


def _unslip(
    case: Case, poses: Poses, points: Array, coupled: Array, joint: Joint, carried: dict[int, str]
) -> tuple[Case, Joint, dict[int, str]]:
    """Heads that are not where their truss says, although their own sightings fix them: let them go, and say so."""
    from scipy.special import gammainccinv

    order = np.cumsum(coupled) - 1
    slipped: dict[int, str] = {}
    for _ in range(3):
        border = replace(
            case.border,
            members=np.column_stack([order[case.border.members[:, 0]], case.border.members[:, 1]]),
        )
        r, _, _ = member_residuals(border, joint.state)
        row_of = case.border.members[:, 0]
        seen = case.heads.having(mark=joint.state.point[case.index]).take(row_of)
        chi2 = np.einsum("qi,qi->q", r, r) + cost(seen, joint.state.poses.take(order[row_of]))
        own = np.count_nonzero(case.used, axis=1)[row_of]  # six from the truss and two per sighting, less six unknowns
        excess = np.where(
            case.distinct_marks()[row_of] >= 2, chi2 / (2 * gammainccinv(np.maximum(own, 1), SLIPPED)), 0.0
        )
        worst = int(np.argmax(excess)) if len(excess) else 0
        if not len(excess) or excess[worst] < 1:
            break
        row = int(case.border.members[worst, 0])
        slipped[row] = carried[row]
        case = replace(case, border=without_members(case.border, np.arange(len(excess)) != worst))
        weight = case.heads.level_weight.copy()
        weight[row] = 1 / np.radians(max(case.fixtures[row].hang.sigma, 0.01))
        case = replace(case, heads=case.heads.having(level_weight=weight))
        joint = _joined(case, poses, points, coupled)
    return case, joint, slipped


def _survey_test(case: Case, joint: Joint) -> Array:
    """For each mark, chi-squared (P,) of its survey in plan against everything else (deletion test, 2 freedoms)."""
    out = np.zeros(len(joint.state.point))
    for i in range(len(case.known)):
        if case.known[i]:
            at = slice(3 * i, 3 * i + 2)
            r = (joint.state.point[i] - case.border.point_at[i])[:2]
            spread = np.diag(1 / case.border.point_weight[i, :2] ** 2) - joint.cov_border[at, at]
            values, vectors = np.linalg.eigh(spread)
            firm = values > 1e-3 / case.border.point_weight[i, 0] ** 2  # a direction nobody else sees tells nothing
            out[i] = float(np.sum((vectors.T @ r)[firm] ** 2 / values[firm]))
    return out


def reason_unsolved(case: Case, row: int, fitted: bool = True) -> str:
    """Why a head has no pose, and what would fix it. `fitted`: its sightings fit, but do not hold it."""
    marks = sorted({s.mark for s in case.sightings[row]})
    name = case.fixtures[row].name
    if len(marks) <= 1:
        seen = f"only mark {marks[0]}" if marks else "no mark"
        return f"{name}: {seen} was sighted; sight a second mark, far from the first, better four more"
    if not fitted:
        return (
            f"{name}: sightings at {', '.join(marks)} do not fit its hang (pitch, roll) in rig.yaml; correct hang,"
            " or sight a third mark, which tells what is wrong"
        )
    return (
        f"{name}: sightings at {', '.join(marks)} do not fix its pose; sight another mark, well off the line through"
        " these, or measure how level its base is (hang.sigma) or where it hangs (at, at_sigma)"
    )
