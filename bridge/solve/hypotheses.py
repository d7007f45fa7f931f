"""What could be wrong with one head: every explanation is solved as a head of its own, all in one batch.

The score of an explanation is its chi-squared plus a penalty, minus twice the log of how likely such a mistake is
and of how much freedom it buys (a Bayesian comparison with round numbers). Leave-one-out, not robust losses:
facts/solver.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, PoseBatch, normal, sightings
from bridge.solve.limits import limits
from bridge.solve.start import solve_alone

SIGHTING, TWO, WRONG_MARK, SWAP, PAN, TILT, UNIT, OFFSET, HANG, POSITION = (
    "sighting", "two", "wrong-mark", "swap", "pan", "tilt", "unit", "tilt-zero", "hang", "position",
)  # fmt: skip
PENALTY = {
    SIGHTING: 14.0, TWO: 28.0, WRONG_MARK: 2.0, SWAP: 4.0, PAN: 12.0, TILT: 13.0, UNIT: 13.0, OFFSET: 15.0,
    HANG: 16.0, POSITION: 14.0,
}  # fmt: skip
REVERSED = 6.0  # a pan that runs the other way is common on site, and has no freedom
LOOSE_LEVEL = np.radians(20.0)
RATIOS = np.unique(np.concatenate([np.geomspace(0.35, 2.9, 44), [0.9, 1 / 0.9, 540 / 630, 630 / 540, 2.0, 0.5]]))
GRIDS = (PAN, TILT, UNIT, OFFSET)
LEFT_FOR_TWO = 2  # degrees of freedom that must be left without two sightings, or any two explain everything
MISTAKE, USUAL = 1.0, 11.5  # metres across the beam; what leaving out one sighting of four usually buys, in score
CLEARLY_ENOUGH = 20.0  # score over the degrees of freedom under which a simple explanation is the one
WILD = np.array([57.29578, 1 / 57.29578])  # degrees for radians and the other way


@dataclass(frozen=True)
class Explanation:
    """One explanation of a head's misfit: `slot` of the sighting meant (-1: none), `other` the second slot of a swap or
    of two wrong ones, or the point number that fits instead, `factor` of a profile. `fits`: what is left is no more
    than noise."""

    kind: str
    slot: int
    other: int
    factor: float
    chi2: float
    score: float
    fits: bool
    pose: PoseBatch


def explain(
    fit: Fit,
    heads: HeadBatch,
    row: int,
    places: Array,
    sigma: Array,
    doubted: int,
    guesses: Sequence[tuple[str, float]] = (),
) -> list[Explanation]:
    """All explanations of head `row`, best first. `places` (M, 3) and `sigma` (M,) are the marks it may have meant,
    `doubted` how many heads are in doubt, `guesses` what was found wrong with the profile of others. The grids of
    profile mistakes are searched only where nothing simpler explains everything."""
    used = [int(i) for i in np.flatnonzero(heads.weight[row] > 0)]
    plans: list[tuple[str, int, int, float]] = [(SIGHTING, i, -1, 1.0) for i in used]
    index = fit.case.index[row]
    plans += [(WRONG_MARK, i, m, 1.0) for i in used for m in range(len(places)) if m != index[i] and sigma[m] < 0.3]
    plans += [(SWAP, i, j, 1.0) for k, i in enumerate(used) for j in used[k + 1 :] if index[i] != index[j]]
    if fit.dof[row] - 4 >= LEFT_FOR_TWO:
        plans += [(TWO, i, j, 1.0) for k, i in enumerate(used) for j in used[k + 1 :]]
    if heads.level_weight[row] > 0:
        plans.append((HANG, -1, -1, 1.0))
    if np.any(heads.at_weight[row]):
        plans.append((POSITION, -1, -1, 1.0))
    plans += [(kind, -1, -1, factor) for kind, factor in [(PAN, -1.0), *guesses]]
    found = _solve(fit, heads, row, plans, places, sigma, doubted)
    best = min(found, key=lambda e: e.score)
    if len(used) >= 3 and not (best.fits and best.score < CLEARLY_ENOUGH + fit.dof[row]):
        found += _profiles(fit, heads, row, places, sigma, doubted)
    return sorted(found, key=lambda e: e.score)


def _profiles(fit: Fit, heads: HeadBatch, row: int, places: Array, sigma: Array, doubted: int) -> list[Explanation]:
    """The grids of profile mistakes, each sharpened at its best."""
    plans: list[tuple[str, int, int, float]] = []
    plans += [(PAN, -1, -1, float(f)) for f in np.concatenate([RATIOS, -RATIOS, WILD])]
    plans += [(TILT, -1, -1, float(f)) for f in RATIOS]
    plans += [(UNIT, -1, -1, float(f)) for f in np.concatenate([RATIOS, WILD])]
    plans += [(OFFSET, -1, -1, float(f)) for f in np.radians(np.arange(-180, 180, 5.0)) if f]
    rough = _solve(fit, heads, row, plans, places, sigma, doubted)
    rough_of = {kind: [e for e in rough if e.kind == kind] for kind in GRIDS}
    return [_sharpen(fit, heads, row, kind, rough_of[kind], places, sigma, doubted) for kind in GRIDS]


def _sharpen(
    fit: Fit,
    heads: HeadBatch,
    row: int,
    kind: str,
    rough: list[Explanation],
    places: Array,
    sigma: Array,
    doubted: int,
) -> Explanation:
    """Between the grid's factors: the best one, four times finer each time."""
    best = min(rough, key=lambda e: e.score)
    width = np.radians(5.0) if kind == OFFSET else 0.05
    for _ in range(4):
        around = np.linspace(-width, width, 9)
        factors = best.factor + around if kind == OFFSET else best.factor * (1 + around)
        found = _solve(fit, heads, row, [(kind, -1, -1, float(f)) for f in factors], places, sigma, doubted)
        best = min([best, *found], key=lambda e: e.score)
        width /= 4
    return best


def _solve(
    fit: Fit,
    heads: HeadBatch,
    row: int,
    plans: list[tuple[str, int, int, float]],
    places: Array,
    sigma: Array,
    doubted: int,
) -> list[Explanation]:
    count = len(plans)
    rows = np.full(count, row)
    batch = heads.take(rows)
    pan, tilt, mark, weight = batch.pan.copy(), batch.tilt.copy(), batch.mark.copy(), batch.weight.copy()
    level, at = batch.level_weight.copy(), batch.at_weight.copy()
    for k, (kind, slot, other, factor) in enumerate(plans):
        if kind == SIGHTING:
            weight[k, slot] = 0.0
        elif kind == TWO:
            weight[k, [slot, other]] = 0.0
        elif kind == WRONG_MARK:
            mark[k, slot], weight[k, slot] = places[other], 1 / np.hypot(fit.case.aim_sigma, sigma[other])
        elif kind == SWAP:
            for array in (mark, weight):
                array[k, [slot, other]] = array[k, [other, slot]]
        elif kind == PAN:
            pan[k] *= factor
        elif kind == TILT:
            tilt[k] *= factor
        elif kind == UNIT:
            pan[k], tilt[k] = pan[k] * factor, tilt[k] * factor
        elif kind == OFFSET:
            tilt[k] += factor
        elif kind == HANG:
            level[k] = 1 / LOOSE_LEVEL
        elif kind == POSITION:
            at[k] = 0.0
    batch = replace(batch, pan=pan, tilt=tilt, mark=mark, weight=weight, level_weight=level, at_weight=at)
    _, limit = limits(batch, len(fit.solved), doubted)
    poses, chi2 = solve_alone(
        batch,
        np.repeat(fit.case.hang[[row]], count, axis=0),
        np.repeat(fit.poses.p[[row]], count, axis=0),
        np.full(count, np.inf),
        unstarted_only=True,
        steps=20,
    )
    penalty = [REVERSED if kind == PAN and factor == -1.0 else PENALTY[kind] for kind, _, _, factor in plans]
    freedom = _freedom(heads.take(rows), batch, poses, plans)
    return [
        Explanation(
            *plans[k], float(chi2[k]), float(chi2[k] + penalty[k] + freedom[k]), bool(chi2[k] <= max(limit[k], 1.0)),
            poses.take(np.array([k])),
        )
        for k in range(count)
    ]  # fmt: skip


def _freedom(given: HeadBatch, batch: HeadBatch, poses: PoseBatch, plans: list[tuple[str, int, int, float]]) -> Array:
    """How much more (K,) than usual leaving out one sighting buys, in score.

    A mistake of some MISTAKE metres any way is as likely at each mark; where the others tell well where the beam should
    have been, more of its ways would have left something over. With C the covariance of the miss as the others predict
    it: log det (C + M) / det C + e^T (C + M)^-1 e, less what is usual.
    """
    out = np.zeros(len(plans))
    one = np.array([k for k, (kind, *_) in enumerate(plans) if kind == SIGHTING], dtype=int)
    if not len(one):
        return out
    slot = np.array([plans[k][1] for k in one])
    _, H, *_ = normal(batch.take(one), poses.take(one))
    r, J = sightings(given.take(one), poses.take(one))
    assert J is not None
    each, width = np.arange(len(one)), H.shape[1]
    r, J = r[each, slot], J[each, slot]  # (K, 3), (K, 3, D), over sigma; of rank two
    U = np.linalg.svd(J, full_matrices=False)[0][..., :2].swapaxes(-1, -2)
    A, e = U @ J, (U @ r[..., None])[..., 0]
    C = np.eye(2) + A @ np.linalg.inv(H + 1e-9 * np.eye(width)) @ A.swapaxes(-1, -2)
    wide = C + (MISTAKE * given.take(one).weight[each, slot])[:, None, None] ** 2 * np.eye(2)
    size = np.linalg.slogdet(wide)[1] - np.linalg.slogdet(C)[1]
    out[one] = size + np.einsum("ki,ki->k", e, np.linalg.solve(wide, e[..., None])[..., 0]) - USUAL
    return out
