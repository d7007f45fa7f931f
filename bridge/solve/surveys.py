"""What all heads share and one of them cannot show alone: marks, heights, tapes, the scale, and travels of a profile.

Each is freed in turn where its own test says that it contradicts everything else, the whole is solved again, and what
leaves least is told; then the rest is searched on that better fit, so that no sound sighting is blamed for it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array
from bridge.solve.begin import USUAL_REACH
from bridge.solve.case import Case
from bridge.solve.contradictions import height_test, tape_test
from bridge.solve.fit import Fit, fit_case
from bridge.solve.ranges import SharedFactor, shared_factors
from bridge.solve.relabel import sighted
from bridge.solve.result import Lifted, Moved, SharedRange, Suspect, Taped, point3
from bridge.solve.scale import scale_fault, scale_suspect
from bridge.solve.together import solve_together
from bridge.solve.truss_doubts import surveyed_by_heads
from bridge.solve.whole_survey import as_given

CLEAR_GAP = 11.0  # score between the best explanation and the next culprit from which one is named alone
SURVEY_ALARM = 1e-2  # chance that a sound survey raises any doubt, shared among the marks
OTHER_ALARM = 1e-3  # the same for heights and tapes together, and for the scale
RANGE_GAIN = 15.0  # chi-squared that a travel must bring when marks may move as well
BARELY = 1.4  # times its alarm: from there on a mark is told that another explains as well, where steps make the noise
LEAST_MARKS = 4  # with fewer, heads and marks cannot be told apart
MOST_FAULTS, TRIED = 3, 3
MARK, HEIGHT, TAPE, SCALE, RANGE = "mark", "height", "tape", "scale", "range"
FREE = 1e-2  # weight, 1/m


@dataclass(frozen=True)
class Fault:
    """A thing that may be wrong: `number` of the mark or tape; `case` with it freed; `penalty`, one for each freedom;
    `test` chi-squared over what chance allows, 1 where that was not asked."""

    what: str
    number: int
    case: Case
    penalty: float
    test: float
    factor: SharedFactor | float | None = None

    @property
    def culprit(self) -> tuple[object, ...]:
        """Place and height of one mark are one culprit."""
        if isinstance(self.factor, SharedFactor):
            return (self.factor.profile,)
        return (MARK if self.what == HEIGHT else self.what, self.number)


def shared_faults(fit: Fit, stage: Stage, many: bool) -> tuple[list[Suspect], Fit]:
    """What is wrong with the survey, its tapes or a profile, worst first, and the fit without it."""
    out: list[Suspect] = []
    done: set[tuple[object, ...]] = set()
    for _ in range(MOST_FAULTS):
        faults = [f for f in _faults(fit, many) if (f.what, f.number) not in done]
        tried = [(fit_case(_started(fit, f), stage, fit.trusses), f) for f in _likeliest(fit, faults, many)]
        ranked = sorted(((left_over(other) + f.penalty, k) for k, (other, f) in enumerate(tried)))
        if not ranked:
            break
        least, k = ranked[0]
        other, best = tried[k]
        if (best.test <= 1 and least > 0.3 * left_over(fit)) or (
            best.what == RANGE and least > left_over(fit) - RANGE_GAIN
        ):
            break
        rivals = [
            tried[r] for left, r in ranked[1:] if left < least + CLEAR_GAP and tried[r][1].culprit != best.culprit
        ]
        if rivals and best.what != RANGE and 1 < best.test < BARELY and _in_steps(fit.case):
            break  # the errors of steps are no chance errors, and nobody would know what to measure again
        named = [(other, best), *rivals[:1]]
        out += [_suspect(fit, solved, fault, sure=len(named) == 1) for solved, fault in named]
        done.add((best.what, best.number))
        fit, many = other, False
    return out, fit


def _in_steps(case: Case) -> bool:
    """Whether the steps and play of the axes, not the hands, are most of the noise."""
    sight = case.heads.sight
    return sight is not None and bool(np.median(sight.axis) * USUAL_REACH > case.aim_sigma)


def _likeliest(fit: Fit, faults: list[Fault], many: bool) -> list[Fault]:
    """The few that are worth a whole solve: those that leave least when heads and marks are only solved on from where
    they are. A travel of a profile moves all heads: it is always tried, and alone where all heads agree on it."""
    ranges = [f for f in faults if f.what == RANGE]
    others = [f for f in faults if f.what != RANGE]
    if any(isinstance(f.factor, SharedFactor) and f.factor.mends for f in ranges) and SCALE not in [
        f.what for f in others
    ]:
        return ranges
    if len(others) > TRIED and not fit.trusses:
        heads = fit.solved if many else fit.coupled
        left = [solve_together(f.case, fit.poses, fit.points, heads).chi2 + f.penalty for f in others]
        others = [others[k] for k in np.argsort(left)[:TRIED]]
    return ranges + others


def _started(fit: Fit, fault: Fault) -> Case:
    """The case of a fault; a freed mark starts where all heads together put it, or those that contradict it as surveyed
    would be left out again."""
    if fault.what not in (MARK, HEIGHT) or fit.trusses:
        return fault.case
    seen = solve_together(fault.case, fit.poses, fit.points, fit.solved).estimate.point[fault.number]
    border, axes = fault.case.border, slice(0, 2) if fault.what == MARK else slice(2, 3)
    at = border.point_at.copy()
    at[fault.number, axes] = seen[axes]
    return replace(fault.case, border=replace(border, point_at=at, point=at.copy()))


def left_over(fit: Fit) -> float:
    """Chi-squared of everything: the joint solve, and the heads that were left out of it, each held to 1000."""
    others = fit.solved & ~fit.coupled
    return fit.joint.chi2 + float(np.sum(np.minimum(fit.chi2[others], 1e3)))


def _faults(fit: Fit, many: bool) -> list[Fault]:
    """All that is worth freeing."""
    from scipy.special import gammainccinv

    case = as_given(fit)
    told = surveyed_by_heads(fit)
    known = [k for k in sighted(fit) if k < len(case.known) and case.known[k] and told[k]]
    tapes = len(case.border.tape_metres)
    alarm_2 = 2 * float(gammainccinv(1.0, SURVEY_ALARM / max(len(known), 1)))
    alarm_1 = 2 * float(gammainccinv(0.5, OTHER_ALARM / max(len(known) + tapes, 1)))
    plan, height = fit.survey_test / alarm_2, height_test(case, fit.joint) / alarm_1
    joint = fit.joint
    if (
        many and tapes and not np.all(case.known)
    ):  # heads were left out because marks that nobody surveyed follow a tape
        joint = solve_together(fit.case, fit.poses, fit.points, fit.solved)
    tape = tape_test(case, joint)
    tape = tape / alarm_1
    out = []
    if len(known) >= LEAST_MARKS and (many or any(max(plan[k], height[k]) > 1 for k in known)):
        out += [Fault(MARK, k, _freed_mark(case, k, slice(0, 2)), 2.0, float(plan[k])) for k in known]
        out += [Fault(HEIGHT, k, _freed_mark(case, k, slice(2, 3)), 1.0, float(height[k])) for k in known]
    worst = [int(k) for k in np.argsort(-tape)[:6] if tape[k] > 1]
    out += [Fault(TAPE, k, _freed_tape(case, k), 1.0, float(tape[k])) for k in worst]
    scale = scale_fault(fit, alarm_1)
    if scale is not None:
        out.append(Fault(SCALE, 0, scale[0], 1.0, scale[2], scale[1]))
    ranges = shared_factors(fit, many)
    out += [Fault(RANGE, k, factor.of(case), 1.0, 2.0, factor) for k, factor in enumerate(ranges)]
    return out


def _freed_mark(case: Case, mark: int, axes: slice) -> Case:
    weight = case.border.point_weight.copy()
    weight[mark, axes] = FREE
    return replace(case, border=replace(case.border, point_weight=weight))


def _freed_tape(case: Case, tape: int) -> Case:
    weight = case.border.tape_weight.copy()
    weight[tape] = FREE
    return replace(case, border=replace(case.border, tape_weight=weight))


def _suspect(fit: Fit, other: Fit, fault: Fault, sure: bool) -> Suspect:
    """What the freed solve says of a fault."""
    border, k = fit.case.border, fault.number
    if fault.what in (MARK, HEIGHT):
        was, now = border.point_at[k], other.points[k]
        lifted = fault.what == HEIGHT
        off = abs(float(now[2] - was[2])) if lifted else float(np.linalg.norm((now - was)[:2]))
        detail = Lifted(float(was[2]), float(now[2])) if lifted else Moved(point3(was), point3(now))
        return Suspect(None, fit.case.marks[k], "mark", off, sure=sure, detail=detail)
    if fault.what == TAPE:
        said, seen = (
            float(border.tape_metres[k]),
            float(np.linalg.norm(np.subtract(*other.points[border.tape_ends[k]]))),
        )
        one, two = (_point_name(fit.case, int(end)) for end in border.tape_ends[k])
        return Suspect(None, one, "tape", abs(seen - said), two, sure, Taped(said, seen))
    if isinstance(fault.factor, SharedFactor):
        return _range_suspect(fit, fault.factor, sure)
    assert fault.factor is not None
    return scale_suspect(fit, other, fault.factor, sure)


def _point_name(case: Case, point: int) -> str:
    """A mark, or the fixture whose twin a point is."""
    if point < len(case.marks):
        return case.marks[point]
    return next(case.fixtures[int(head)].name for head, twin in case.border.ties if twin == point)


def _range_suspect(fit: Fit, shared: SharedFactor, sure: bool) -> Suspect:
    profile = fit.case.fixtures[int(shared.rows[0])].profile
    axis = getattr(profile, shared.axis)
    travel = abs(axis.to_deg - axis.from_deg)
    detail = SharedRange(shared.profile, shared.axis, shared.factor, travel, len(shared.rows))
    return Suspect(None, None, "profile", _worst_miss(fit, shared), sure=sure, detail=detail)


def _worst_miss(fit: Fit, shared: SharedFactor) -> float:
    """Metres that the factor is worth at the end of the longest way that was sighted."""
    angle: Array = getattr(fit.case.heads, shared.axis)[shared.rows]
    reach = np.linalg.norm(fit.points[fit.case.index[shared.rows]] - fit.poses.p[shared.rows][:, None], axis=-1)
    return float(np.max(np.abs(angle) * reach * fit.case.used[shared.rows]) * abs(shared.factor - 1))
