"""Where the sightings put heads against where the plot has them: units crossed in the patch, places that are wrong.

A crossed pair aims well under each other's name, so no residual shows it; only the plot does. The scatter of the plot
is taken from the rig itself, so that a rough plot, or one in another frame, accuses nobody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, PoseBatch, normal
from bridge.solve.limits import limits
from bridge.solve.result import Moved, Suspect, point3
from bridge.solve.start import solve_alone

LEAST_SCATTER = 0.3  # metres per axis: what a plot is at best, where it does not say
FITS = 22.5  # chi-squared with six degrees of freedom, chance 1e-3: a pair that fits when exchanged
CLEARLY = 16.0  # by how much it must fit better: one pair in some thousands is crossed
MOST_CROSSED = 0.5  # share of the heads in crossed pairs from which the plot or the marks are meant, not the patch
FAR_OFF, FAR_SIGMAS = 2.0, 5.0  # metres, and times what is usual in this rig, from which a place is asked about
MEDIAN_OF_THREE = 2.366  # median of chi-squared with three degrees of freedom


@dataclass(frozen=True)
class Plotted:
    """Heads with a place in the plot: `rows`, places `at` (n, 3), where the sightings alone put them `seen` (n, 3), and
    sigma (n,) per axis of the difference."""

    rows: Rows
    at: Array
    seen: Array
    sigma: Array

    def misfit(self, head: int, place: int) -> float:
        """Chi-squared of one head at the place of another."""
        return float(np.sum((self.seen[head] - self.at[place]) ** 2) / self.sigma[head] ** 2)


def check_plot(fit: Fit, suspects: Sequence[Suspect], verified: Mask) -> tuple[list[Suspect], tuple[str, ...]]:
    """All suspects, with pairs of units that are crossed in the patch first, and names of heads whose place in the plot
    is wrong although their sightings prove theirs."""
    suspects = list(suspects)
    if any(s.fixture is None for s in suspects):
        return suspects, ()  # marks or a truss are in question: no place says much
    plotted = _plotted(fit)
    if len(plotted.rows) < 2:
        return suspects, ()
    pairs = _crossed(fit, plotted)
    if len(pairs) > 1 and 2 * len(pairs) > MOST_CROSSED * len(plotted.rows):
        return suspects, ()
    crossed = [_pair(fit, plotted, i, j) for i, j in pairs]
    named = {name for s in crossed for name in (s.fixture, s.also)}
    kept = [s for s in suspects if s.kind != "position" or s.fixture not in named]
    told = named | {s.fixture for s in kept}
    far = [i for i in _far(plotted) if fit.case.names[plotted.rows[i]] not in told]
    wrong = [_misplaced(fit, plotted, i) for i in far if not verified[plotted.rows[i]]]
    return crossed + kept + wrong, tuple(fit.case.names[plotted.rows[i]] for i in far if verified[plotted.rows[i]])


def _plotted(fit: Fit) -> Plotted:
    """Heads of two marks or more that have a place, each solved without it."""
    case = fit.case
    able = fit.solved & np.all(np.isfinite(case.hints), axis=1) & (case.distinct_marks() >= 2)
    able[[*fit.carried, *fit.slipped]] = False
    rows = np.flatnonzero(able)
    heads = fit.on_marks.take(rows)
    said = np.any(heads.at_weight > 0, axis=1)
    free = replace(heads, at_weight=np.zeros_like(heads.at_weight))
    poses = fit.poses.take(rows)
    sound = fit.chi2[rows] <= fit.limit[rows]
    if np.any(said):
        alone = free.take(said)
        other, chi2 = solve_alone(alone, case.hang[rows[said]], poses.p[said], np.full(len(alone), np.inf), True)
        poses = poses.put(np.flatnonzero(said), other)
        sound[said] = chi2 <= limits(alone, len(fit.solved))[1]
    rows, free, poses = rows[sound], free.take(sound), poses.take(sound)
    own = _sigma(free, poses)
    return _with_scatter(fit, rows, poses.p, own)


def _sigma(heads: HeadBatch, poses: PoseBatch) -> Array:
    """Sigma (n,) per axis of where heads are by their sightings alone."""
    _, H, *_ = normal(heads, poses)
    cov = np.linalg.inv(H + 1e-6 * np.eye(H.shape[1]))[:, :3, :3]
    return np.asarray(np.sqrt(np.trace(cov, axis1=1, axis2=2) / 3))


def _with_scatter(fit: Fit, rows: Rows, seen: Array, own: Array) -> Plotted:
    """With the scatter of the plot: as it says itself, else as the rig shows it when every place gets a head."""
    from scipy.optimize import linear_sum_assignment

    at = fit.case.hints[rows]
    if not len(rows):
        return Plotted(rows, at, seen, own)
    gap2 = np.sum((seen[:, None] - at[None]) ** 2, axis=-1)
    _, place = linear_sum_assignment(gap2)
    usual = np.sqrt(np.median(gap2[np.arange(len(rows)), place]) / MEDIAN_OF_THREE)
    weight = np.min(fit.case.heads.at_weight[rows], axis=1)
    said = np.where(weight > 0, 1 / np.maximum(weight, 1e-9), LEAST_SCATTER)
    return Plotted(rows, at, seen, np.hypot(np.maximum(said, usual), own))


def _crossed(fit: Fit, plotted: Plotted) -> list[tuple[int, int]]:
    """Pairs of units of one type that fit the plot only when exchanged."""
    out: list[tuple[int, int]] = []
    profile = [fit.case.fixtures[r].profile.name for r in plotted.rows]
    count = len(plotted.rows)
    for i in range(count):
        for j in range(i + 1, count):
            if profile[i] != profile[j] or any({i, j} & set(pair) for pair in out):
                continue
            now, then = (plotted.misfit(i, a) + plotted.misfit(j, b) for a, b in ((i, j), (j, i)))
            if then < FITS and now > then + CLEARLY:
                out.append((i, j))
    return out


def _pair(fit: Fit, plotted: Plotted, i: int, j: int) -> Suspect:
    first, second = (fit.case.names[plotted.rows[k]] for k in (i, j))
    apart = float(np.linalg.norm(plotted.at[i] - plotted.at[j]))
    return Suspect(first, None, "patch", apart, also=second)


def _far(plotted: Plotted) -> list[int]:
    off = np.linalg.norm(plotted.seen - plotted.at, axis=1)
    return [int(i) for i in np.flatnonzero((off > FAR_OFF) & (off > FAR_SIGMAS * plotted.sigma))]


def _misplaced(fit: Fit, plotted: Plotted, i: int) -> Suspect:
    off = float(np.linalg.norm(plotted.seen[i] - plotted.at[i]))
    moved = Moved(point3(plotted.at[i]), point3(plotted.seen[i]))
    return Suspect(fit.case.names[plotted.rows[i]], None, "position", off, sure=False, detail=moved)
