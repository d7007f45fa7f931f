"""What looks wrong, as data; words.py says it. Nothing is dropped or changed here: a person decides.

First the chi-squared of every head, and of every mark's survey against all heads; only where these fail are
explanations tried: for the whole rig where many heads fail together, then head by head.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array
from bridge.solve.fit import Fit, fit_case
from bridge.solve.heads import HeadBatch, sightings
from bridge.solve.hypotheses import (
    HANG,
    OFFSET,
    PAN,
    POSITION,
    SIGHTING,
    SWAP,
    TILT,
    UNIT,
    WRONG_MARK,
    Explanation,
    explain,
)
from bridge.solve.judge import miss_on_floor, residuals_on_floor
from bridge.solve.relabel import corner_suspect, rig_relabelled, sighted
from bridge.solve.result import Moved, OtherMount, ProfileFault, Suspect, Unexplained, point3

CLEAR_GAP = 11.0  # score between the best explanation and the next culprit from which one is named alone
SURVEY_ALARM = 1e-2  # chance that a sound survey raises any doubt, shared among the marks
LEAST_MARKS = 4  # with fewer, heads and marks cannot be told apart
MOST_EXPLAINED = 40  # heads; some tenths of a second each
MANY = 0.4  # share of the heads from which a common cause is looked for


def find_suspects(fit: Fit, stage: Stage) -> list[Suspect]:
    """Everything that does not fit, worst first."""
    suspects = corner_suspect(fit) + _guessed_mounts(fit)
    testable = fit.solved & (fit.dof > 0)
    doubtful = np.flatnonzero(fit.doubtful & testable)
    many = len(doubtful) >= max(2, MANY * np.count_nonzero(testable))
    if many:
        suspects += rig_relabelled(fit, testable)
    if not any(s.fixture is None for s in suspects):
        found, better = _wrong_surveys(fit, stage, many)
        if found:
            suspects += found
            fit = better
            doubtful = np.flatnonzero(fit.doubtful & testable)
    elif many:
        return suspects  # the labels of all heads are in question: what each head says means little
    sigma = np.minimum(fit.mark_sigma, 1.0)
    heads = fit.case.alone(fit.points, sigma)
    groups = [[s] for s in suspects]
    guesses: dict[str, list[tuple[str, float]]] = {}
    if len(doubtful) > MOST_EXPLAINED:
        groups += [[_unexplained(fit, int(row))] for row in doubtful[MOST_EXPLAINED:]]
    for row in doubtful[:MOST_EXPLAINED]:
        profile = fit.case.fixtures[row].profile.name
        found, learned = _of_head(fit, heads, int(row), sigma, guesses.get(profile, []))
        groups.append(found)
        guesses.setdefault(profile, []).extend(learned)
    groups.sort(key=lambda group: -max(s.misfit for s in group))  # within a head the likeliest stays first
    return [s for group in groups for s in group]


def _guessed_mounts(fit: Fit) -> list[Suspect]:
    """Three marks that fit another mount than the plot's could as well hide a wrong sighting."""
    out = []
    for row, mount in fit.mounts.items():
        if len({s.mark for s in fit.case.sightings[row]}) <= 3:
            out.append(Suspect(fit.case.names[row], None, "hang", 0.0, sure=False, detail=OtherMount(mount)))
    return out


def _wrong_surveys(fit: Fit, stage: Stage, many: bool) -> tuple[list[Suspect], Fit]:
    """Marks whose survey the sightings contradict: free the worst, solve again, look again."""
    from scipy.special import gammainccinv

    out: list[Suspect] = []
    known = np.array([k for k in sighted(fit) if k < len(fit.case.known) and fit.case.known[k]], dtype=int)
    if len(known) < LEAST_MARKS:
        return out, fit
    alarm = 2 * gammainccinv(1.0, SURVEY_ALARM / len(known))
    for _ in range(2):
        free = [int(k) for k in known if fit.survey_test[k] > alarm]
        tried = [int(k) for k in known] if many or free else []
        ranked = sorted(((_left_over(other := _freed(fit, stage, k)), k, other) for k in tried), key=lambda t: t[0])
        if not ranked:
            break
        least, k, other = ranked[0]
        if many and least > 0.3 * _left_over(fit):
            break
        rivals = [(r, o) for left, r, o in ranked[1:2] if left < least + CLEAR_GAP]
        out += [_survey_suspect(fit, o, r, not rivals) for r, o in [(k, other), *rivals]]
        fit, many = other, False
        known = np.array([i for i in known if i != k], dtype=int)
        if not len(known):
            break
    return out, fit


def _left_over(fit: Fit) -> float:
    """Chi-squared of everything: the joint solve, and the heads that were left out of it, each held to 1000."""
    others = fit.solved & ~fit.coupled
    return fit.joint.chi2 + float(np.sum(np.minimum(fit.chi2[others], 1e3)))


def _freed(fit: Fit, stage: Stage, mark: int) -> Fit:
    case = fit.source
    weight = case.border.point_weight.copy()
    weight[mark, :2] = 1e-2
    return fit_case(replace(case, border=replace(case.border, point_weight=weight)), stage, fit.trusses)


def _survey_suspect(fit: Fit, other: Fit, mark: int, sure: bool) -> Suspect:
    was, now = fit.case.border.point_at[mark], other.points[mark]
    off = float(np.linalg.norm((now - was)[:2]))
    return Suspect(None, fit.case.marks[mark], "mark", off, sure=sure, detail=Moved(point3(was), point3(now)))


def _of_head(
    fit: Fit, heads: HeadBatch, row: int, sigma: Array, guesses: list[tuple[str, float]]
) -> tuple[list[Suspect], list[tuple[str, float]]]:
    """What is wrong with one head, likeliest first, and what that says about its profile."""
    marks = fit.points[: len(fit.case.marks)]
    ranked = explain(fit, heads, row, marks, sigma[: len(marks)], guesses)
    best = ranked[0]
    learned = [(best.kind, best.factor)] if best.fits and _culprit(best) == ("profile",) and not guesses else []
    rivals = [e for e in ranked[1:] if not _same_culprit(best, e) and e.score < best.score + CLEAR_GAP and e.fits]
    if not best.fits:
        return [_first_of_several(fit, heads, row, ranked)], []
    named, told = [best], {_culprit(best)}
    for e in rivals:
        if _culprit(e) not in told and len(named) < (3 if fit.dof[row] <= 2 else 2):
            named.append(e)
            told.add(_culprit(e))
    out = [_suspect(fit, heads, row, e, sure=len(named) == 1) for e in named]
    return [replace(out[0], rivals=tuple(out[1:])), *out[1:]], learned


def _unexplained(fit: Fit, row: int) -> Suspect:
    """The worst sighting of a head as it is solved, when there are too many heads to explain each."""
    misses = {key.split("/")[0]: miss for key, miss in residuals_on_floor(fit, row).items()}
    mark, miss = max(misses.items(), key=lambda item: item[1])
    return Suspect(fit.case.names[row], mark, "sighting", miss, sure=False, detail=Unexplained())


def _culprit(e: Explanation) -> tuple[object, ...]:
    if e.kind in (SIGHTING, WRONG_MARK):
        return ("sighting", e.slot)
    if e.kind == SWAP:
        return (SWAP, e.slot, e.other)
    return ("profile",) if e.kind in (PAN, TILT, UNIT, OFFSET) else (e.kind,)


def _same_culprit(a: Explanation, b: Explanation) -> bool:
    return _culprit(a) == _culprit(b)


def _suspect(fit: Fit, heads: HeadBatch, row: int, e: Explanation, sure: bool) -> Suspect:
    name, misfit = fit.case.names[row], _misfit(fit, heads, row, e)
    marks = [s.mark for s in fit.case.sightings[row]]
    if e.kind == SIGHTING:
        return Suspect(name, marks[e.slot], "sighting", misfit, sure=sure)
    if e.kind == WRONG_MARK:
        return Suspect(name, marks[e.slot], "wrong-mark", misfit, fit.case.marks[e.other], sure)
    if e.kind == SWAP:
        return Suspect(name, marks[e.slot], "swap", misfit, marks[e.other], sure)
    if e.kind == HANG:
        return Suspect(name, None, "hang", misfit, sure=sure)
    if e.kind == POSITION:
        return Suspect(name, None, "position", misfit, sure=sure, detail=Moved(None, point3(e.pose.p[0])))
    profile = fit.case.fixtures[row].profile
    travels = (abs(axis.to_deg - axis.from_deg) for axis in (profile.pan, profile.tilt))
    return Suspect(name, None, "profile", misfit, sure=sure, detail=ProfileFault(e.kind, e.factor, *travels))


def _misfit(fit: Fit, heads: HeadBatch, row: int, e: Explanation) -> float:
    """Metres on the floor: the blamed sighting against the pose of the explanation, else the worst as solved."""
    blamed = e.kind in (SIGHTING, WRONG_MARK, SWAP)
    poses = e.pose if blamed else fit.poses.take(np.array([row]))
    one = heads.take(np.array([row])).in_metres()
    r, _ = sightings(one, poses, derive=False)
    slots = [e.slot] if blamed else range(len(fit.case.sightings[row]))
    return max(miss_on_floor(poses, 0, r[0, slot], heads.mark[row, slot]) for slot in slots)


def _first_of_several(fit: Fit, heads: HeadBatch, row: int, ranked: list[Explanation]) -> Suspect:
    best = next((e for e in ranked if e.kind in (SIGHTING, WRONG_MARK)), ranked[0])
    return replace(_suspect(fit, heads, row, best, sure=False), one_of_several=True)
