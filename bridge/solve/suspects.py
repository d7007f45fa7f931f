"""What looks wrong, as data; words.py says it. Nothing is dropped or changed here: a person decides.

First the chi-squared of every head, and of every mark's survey against all heads; only where these fail are
explanations tried: for the whole rig where many heads fail together, then head by head.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array, Mask
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, sightings
from bridge.solve.hypotheses import (
    HANG,
    OFFSET,
    PAN,
    POSITION,
    SIGHTING,
    SWAP,
    TILT,
    TWO,
    UNIT,
    WRONG_MARK,
    Explanation,
    explain,
)
from bridge.solve.judge import miss_on_floor, residuals_on_floor
from bridge.solve.limits import doubted_together, limit_of
from bridge.solve.relabel import corner_suspect, rig_relabelled
from bridge.solve.result import Moved, OtherMount, ProfileFault, Suspect, Unexplained, point3
from bridge.solve.scale import plot_suspect
from bridge.solve.surveys import CLEAR_GAP, shared_faults
from bridge.solve.whole_survey import misread_survey

MOST_EXPLAINED = 40  # heads; some tenths of a second each
MANY = 0.4  # share of the heads from which a common cause is looked for


def find_suspects(fit: Fit, stage: Stage) -> list[Suspect]:
    """Everything that does not fit, worst first."""
    testable = fit.solved & (fit.dof > 0)
    doubtful = np.flatnonzero(fit.doubtful & testable)
    many = len(doubtful) >= max(2, MANY * np.count_nonzero(testable))
    corner, misread = corner_suspect(fit), misread_survey(fit, stage, many)
    if misread and not (corner and misread[0].kind == "corner"):
        return misread
    suspects = corner + _guessed_mounts(fit)
    relabelled = rig_relabelled(fit, testable) if many else []
    if many and (corner or any(s.kind != "corner" for s in relabelled)):
        return suspects + relabelled  # the labels of all heads are in question: what each head says means little
    found, better = shared_faults(fit, stage, many)
    if relabelled:  # a layout that is nearly the same after a turn: one mark a little off, or all from another corner
        return suspects + [replace(s, sure=False) for s in [*found, *relabelled]]
    fit = better
    if not found and not len(doubtful) and not suspects:
        return plot_suspect(fit)
    suspects += found
    fit, doubted = _with_doubts_shared(fit, testable)
    doubtful = np.flatnonzero(fit.doubtful & testable)
    sigma = np.minimum(fit.mark_sigma, 1.0)
    heads = fit.on_marks
    groups = [[s] for s in suspects]
    guesses: dict[str, list[tuple[str, float]]] = {}
    if len(doubtful) > MOST_EXPLAINED:
        groups += [[_unexplained(fit, int(row))] for row in doubtful[MOST_EXPLAINED:]]
    for row in doubtful[:MOST_EXPLAINED]:
        profile = fit.case.fixtures[row].profile.name
        found, learned = _of_head(fit, heads, int(row), sigma, doubted, guesses.get(profile, []))
        groups.append(found)
        guesses.setdefault(profile, []).extend(learned)
    groups.sort(key=lambda group: -max(s.misfit for s in group))  # within a head the likeliest stays first
    return [s for group in groups for s in group]


def _with_doubts_shared(fit: Fit, testable: Mask) -> tuple[Fit, int]:
    """The fit with the limits of heads by themselves as low as the number that is doubted allows, and that number."""
    own = testable.copy()
    own[list(fit.carried)] = False
    count = doubted_together(fit.chi2[own], fit.dof[own], len(own))
    return replace(fit, limit=np.where(own, limit_of(fit.dof, len(own), count), fit.limit)), count


def _guessed_mounts(fit: Fit) -> list[Suspect]:
    """Three marks that fit another mount than the plot's could as well hide a wrong sighting."""
    out = []
    for row, mount in fit.mounts.items():
        if len({s.mark for s in fit.case.sightings[row]}) <= 3:
            out.append(Suspect(fit.case.names[row], None, "hang", 0.0, sure=False, detail=OtherMount(mount)))
    return out


def _of_head(
    fit: Fit, heads: HeadBatch, row: int, sigma: Array, doubted: int, guesses: list[tuple[str, float]]
) -> tuple[list[Suspect], list[tuple[str, float]]]:
    """What is wrong with one head, likeliest first, and what that says about its profile."""
    marks = fit.points[: len(fit.case.marks)]
    ranked = explain(fit, heads, row, marks, sigma[: len(marks)], doubted, guesses)
    best = ranked[0]
    learned = [(best.kind, best.factor)] if best.fits and _culprit(best) == ("profile",) and not guesses else []
    if not best.fits:
        return _first_of_several(fit, heads, row, ranked), []
    named, told = [best], {_culprit(best)}
    for e in ranked[1:]:
        near = e.fits and e.score < best.score + CLEAR_GAP and not _goes_further(e, best)
        if near and _culprit(e) not in told and len(named) < (3 if fit.dof[row] <= 2 else 2):
            named.append(e)
            told.add(_culprit(e))
    out = [s for e in named for s in _suspects(fit, heads, row, e, sure=len(named) == 1)]
    once = {(s.kind, s.mark, s.instead): s for s in reversed(out)}  # two pairs may share a sighting
    out = [s for s in out if once[s.kind, s.mark, s.instead] is s]
    rivals = tuple(out[1:]) if len(named) > 1 else ()
    return [replace(out[0], rivals=rivals, one_of_several=best.kind == TWO), *out[1:]], learned


def _unexplained(fit: Fit, row: int) -> Suspect:
    """The worst sighting of a head as it is solved, when there are too many heads to explain each."""
    misses = {key.split("/")[0]: miss for key, miss in residuals_on_floor(fit, row).items()}
    mark, miss = max(misses.items(), key=lambda item: item[1])
    return Suspect(fit.case.names[row], mark, "sighting", miss, sure=False, detail=Unexplained())


def _culprit(e: Explanation) -> tuple[object, ...]:
    if e.kind in (SIGHTING, WRONG_MARK):
        return ("sighting", e.slot)
    if e.kind in (SWAP, TWO):
        return (e.kind, e.slot, e.other)
    return ("profile",) if e.kind in (PAN, TILT, UNIT, OFFSET) else (e.kind,)


def _goes_further(e: Explanation, best: Explanation) -> bool:
    """Whether an explanation only adds a second wrong sighting to the best one."""
    return e.kind == TWO and best.kind in (SIGHTING, WRONG_MARK) and best.slot in (e.slot, e.other)


def _suspects(fit: Fit, heads: HeadBatch, row: int, e: Explanation, sure: bool) -> list[Suspect]:
    """What an explanation blames: one thing, or two sightings."""
    if e.kind != TWO:
        return [_suspect(fit, heads, row, e, sure)]
    each = [replace(e, kind=SIGHTING, slot=slot) for slot in (e.slot, e.other)]
    return sorted((_suspect(fit, heads, row, one, sure) for one in each), key=lambda s: -s.misfit)


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


def _first_of_several(fit: Fit, heads: HeadBatch, row: int, ranked: list[Explanation]) -> list[Suspect]:
    """What would mend most where nothing mends all; where two sightings would not, all are to be made again."""
    best = next((e for e in ranked if e.kind in (SIGHTING, WRONG_MARK, TWO)), ranked[0])
    if any(e.kind == TWO for e in ranked):
        return [replace(_unexplained(fit, row), detail=Unexplained(every=True))]
    return [replace(_suspect(fit, heads, row, best, sure=False), one_of_several=True)]
