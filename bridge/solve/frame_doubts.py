"""What could be wrong with records on marks: one does not belong to its mark, two were exchanged, the unit is another.

Each explanation is fitted anew; one is only given where chance would hardly make it fit so much better. As in
`hypotheses`, leave-one-out rather than robust losses, and nothing is put right in silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.frame_fit import RIVAL, Fit, best, better_by

MARK, SWAP, UNIT, STRETCH = "mark", "swap", "unit", "stretch"
PLACES = 0.05
"""Sigma, m, per axis: systems are off by as much in one place and not in the next, without anybody's mistake."""
NOT_WORTH = 0.1
"""Residuals under so many metres need no explanation."""
LEAVES = {MARK: 14.0, SWAP: 0.0}
"""What an explanation costs that leaves a record out (facts of `hypotheses`: PENALTY)."""
SAME_UNIT = 0.03
SQUARE = 0.05


@dataclass(frozen=True)
class Doubt:
    """`rows` of the records it is about; `misfit` m: how far they are off what the others say; `fit`: without the
    mistake, and `chi2` what is left then. `scales`: of a UNIT the one, of a STRETCH those of the two level axes."""

    kind: str
    rows: tuple[int, ...]
    misfit: float
    fit: Fit
    chi2: float
    scales: tuple[float, ...] = ()


def doubts(fit: Fit) -> list[Doubt]:
    """The explanations of a misfit that stand out, best first; those that fit as well as the best come with it."""
    if np.max(np.linalg.norm(fit.off, axis=1)) < NOT_WORTH:
        return []
    fit, _ = best(replace(fit.records, across=np.hypot(fit.records.across, PLACES)))
    if len(fit.off) < 3:
        return _unit(fit)
    found = [*_marks(fit), *_swaps(fit)]
    sure = [d for d in found if better_by(fit, d.fit, 3 if d.kind == MARK else 1, len(found)) > 1.0]
    units = [*_unit(fit), *_stretch(fit)]
    least = min((_score(d) for d in sure), default=np.inf)
    if units and units[0].chi2 <= least:
        return units
    sure.sort(key=_score)
    return [d for d in sure if _score(d) <= least + RIVAL * sure[0].fit.noise]


def exchanged(fit: Fit) -> list[tuple[int, ...]]:
    """Pairs of records that, exchanged, fit as well and make the input's axes those that its protocol says."""
    usual = bool(np.linalg.det(fit.records.usual) < 0)
    if fit.mirrored == usual or len(fit.off) < 3:
        return []
    return [d.rows for d in _swaps(fit) if d.fit.mirrored == usual and _as_good(d.fit, fit)]


def _as_good(one: Fit, other: Fit) -> bool:
    return one.chi2 <= other.chi2 + RIVAL * other.noise


def _score(doubt: Doubt) -> float:
    return doubt.chi2 + LEAVES[doubt.kind] * doubt.fit.noise


def _marks(fit: Fit) -> list[Doubt]:
    """Every record left out once."""
    found, all_rows = [], np.arange(len(fit.off))
    for row in range(len(all_rows)):
        alone, _ = best(fit.records.take(np.delete(all_rows, row)))
        misfit = float(np.linalg.norm(_off(alone, fit)[row, :2]))
        found.append(Doubt(MARK, (row,), misfit, alone, alone.chi2))
    return found


def _swaps(fit: Fit) -> list[Doubt]:
    """Every two records exchanged once."""
    found = []
    for one, other in combinations(range(len(fit.off)), 2):
        rows = np.arange(len(fit.off))
        rows[[one, other]] = other, one
        apart = float(np.linalg.norm(fit.records.marks[one] - fit.records.marks[other]))
        right = best(fit.records.moved(rows))[0]
        found.append(Doubt(SWAP, (one, other), apart, right, right.chi2))
    return found


def _off(fit: Fit, of: Fit) -> Array:
    """Residuals (N, 3) of all records of the one by the other, m."""
    return replace(fit, records=of.records).off


def _unit(fit: Fit) -> list[Doubt]:
    """Another unit than the metre, where the scale was taken as 1."""
    if fit.records.scaled:
        return []
    scaled, _ = best(replace(fit.records, scaled=True))
    if scaled.scale <= 0 or abs(np.log(scaled.scale)) < SAME_UNIT or better_by(fit, scaled, 1) <= 1.0:
        return []
    misfit = float(np.max(np.linalg.norm(fit.off, axis=1)))
    return [Doubt(UNIT, tuple(range(len(fit.off))), misfit, scaled, scaled.chi2, (scaled.scale,))]


def _stretch(fit: Fit) -> list[Doubt]:
    """Level axes at right angles that have different units each: shares of a room that is no square."""
    axis, _ = fit.upright
    level = [i for i in range(3) if i != axis]
    at = fit.records.at[:, level] - fit.records.at[:, level].mean(axis=0)
    marks = fit.records.marks[:, :2] - fit.records.marks[:, :2].mean(axis=0)
    M = np.linalg.lstsq(at, marks, rcond=None)[0]  # row by row where an axis of the input points, m a unit of it
    one, other = np.linalg.norm(M, axis=1)
    left = np.sum(((at @ M - marks) / fit.records.across[:, None]) ** 2)
    free = max(2 * len(at) - 5, 1)
    square = abs(M[0] @ M[1]) < SQUARE * one * other
    if not square or abs(np.log(one / other)) < SAME_UNIT or left / free > RIVAL or fit.chi2 < RIVAL * max(1.0, left):
        return []
    misfit = float(np.max(np.linalg.norm(fit.off, axis=1)))
    return [Doubt(STRETCH, tuple(range(len(at))), misfit, fit, float(left), (float(one), float(other)))]


def misfit_of(found: Sequence[Doubt]) -> float:
    """The largest, m."""
    return max((doubt.misfit for doubt in found), default=0.0)
