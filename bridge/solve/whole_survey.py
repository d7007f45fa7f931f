"""A survey that was misread as a whole, tried before any mark or head is blamed: one fault, told once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array, Rows
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.readings import FEET, METRES, MIRROR, REVERSED, TURN, Reading, implausible, readings
from bridge.solve.result import Misread, Suspect
from bridge.solve.start import solve_alone

MOST_HEADS = 12
MOST_CHI2 = 1e3  # a head that does not fit at all says no more than this
PLOT_SIGMA, MOST_OFF = 0.7, 30.0  # metres of a plot without at_sigma, and the most that one head may say by it
OFF_PLOT, NEARER = 1.5, 0.5  # metres from the plot, and the share of them left, from which the plot alone may speak
ODD = 8.0  # score of what no show has, from which a scale may be told by sightings as well
GAP = 11.0  # score between readings
MADE_WORSE, MENDED = 0.1, 0.7  # share of heads that a reading may spoil, and of the doubted ones that it must mend
KINDS = {MIRROR: "mirror", REVERSED: "profile", FEET: "feet", METRES: "feet", TURN: "corner"}


@dataclass(frozen=True)
class Trial:
    """One reading tried: chi-squared (K,) of each head, its place off the plot (K,) or NaN, and the parts of its score:
    what sightings say, what rough plot positions say, and what no show has."""

    reading: Reading
    chi2: Array
    off: Array
    sightings: float
    plot: float
    odd: float

    @property
    def score(self) -> float:
        """The smaller the likelier."""
        return self.sightings + self.plot + self.odd + self.reading.penalty

    @property
    def off_plot(self) -> float:
        """Metres that the middle one of the heads is off its rough place in the plot; NaN without any."""
        return float(np.median(self.off[np.isfinite(self.off)])) if np.any(np.isfinite(self.off)) else np.nan


def misread_survey(fit: Fit, stage: Stage, many: bool) -> list[Suspect]:
    """One suspect where another reading of the whole survey explains what this one does not; else none.

    `many`: whether many heads fail as it stands. With that, or where heads are far from the plot, or marks and heads
    where no show has them, all readings are tried.
    """
    case = fit.source
    rows = np.flatnonzero(fit.solved & (case.distinct_marks() >= 2))
    rows = rows[np.argsort(-fit.dof[rows], kind="stable")][:MOST_HEADS]
    seen = np.unique(case.index[rows][case.used[rows]]) if len(rows) else np.zeros(0, dtype=int)
    if len(seen) < 2 or not np.all(fit.known_points[seen]):
        return []
    off = np.linalg.norm(fit.poses.p[rows] - case.hints[rows], axis=1)
    off = off[np.isfinite(off)]
    said, floor = case.border.point_at[seen], float(np.min(case.border.point_at[seen, 2]))
    odd = implausible(readings(stage)[0], said, fit.poses.p[rows], floor, stage) > ODD
    if not many and not odd and not (len(off) and np.median(off) > OFF_PLOT):
        return []
    trials = _tried(fit, stage, rows, seen)
    limit, held = fit.limit[rows], bool(np.any(case.heads.at_weight[rows]))
    able = sorted((t for t in trials[1:] if _explains(t, trials[0], limit, held)), key=lambda t: t.score)
    if not able or able[0].score > trials[0].score - GAP:
        return []
    return [_told(fit, seen, trials[0], [t for t in able if t.score < able[0].score + GAP])]


def _told(fit: Fit, seen: Rows, said: Trial, near: list[Trial]) -> Suspect:
    """The suspect for readings that explain about as much, best first."""
    kinds = list(dict.fromkeys(t.reading.kind for t in near))
    if kinds[0] == REVERSED and MIRROR in kinds:  # where nothing decides, the mirror is the commonest slip
        kinds = [MIRROR, *(k for k in kinds if k != MIRROR)]
    like = [t for t in near if t.reading.kind == kinds[0]]
    best, names = like[0], {t.reading.name for t in like}
    marks = fit.source.border.point_at[seen]
    pairs = _relabelled(marks, best.reading, [fit.case.marks[i] for i in seen])
    name = best.reading.name if len(names) == 1 else ""
    detail = Misread(kinds[0], name, tuple(kinds[1:]), said.off_plot, best.off_plot, pairs)
    moved = float(np.max(np.linalg.norm(best.reading.of(marks) - marks, axis=1)))
    return Suspect(None, None, KINDS[kinds[0]], moved, sure=len(kinds) == 1, detail=detail)


def as_given(fit: Fit) -> Case:
    """The case before mounts and trusses were put into it, with what its noise and its pools were found to be."""
    return fit.source.with_share(fit.joint.estimate.share).at_reach(fit.poses, fit.points)


def _tried(fit: Fit, stage: Stage, rows: Rows, seen: Rows) -> list[Trial]:
    """Every reading with every head solved alone on its marks, all in one batch."""
    case, every = as_given(fit), readings(stage)
    points, sigma = case.border.point_at, np.minimum(1 / np.maximum(case.border.point_weight[:, 0], 1e-9), 1.0)
    count, many = len(rows), len(every)
    heads = case.alone(points, sigma).take(np.tile(rows, many))
    marks = np.concatenate([reading.of(points)[case.index[rows]] for reading in every])
    pan = heads.pan * np.repeat([reading.pan for reading in every], count)[:, None]
    hang, hints = np.tile(case.hang[rows], (many, 1, 1)), np.tile(case.hints[rows], (many, 1))
    poses, chi2 = solve_alone(
        replace(heads, mark=marks, pan=pan), hang, hints, np.full(len(heads), np.inf), unstarted_only=True, steps=20
    )
    p, chi2 = poses.p.reshape(many, count, 3), chi2.reshape(many, count)
    rough = ~np.any(case.heads.at_weight[rows], axis=1)
    out = []
    for k, reading in enumerate(every):
        off = np.where(rough, np.linalg.norm(p[k] - case.hints[rows], axis=1), np.nan)
        plot = float(np.nansum(np.minimum((off / PLOT_SIGMA) ** 2, MOST_OFF)))
        sane = np.all(np.isfinite(p[k]), axis=1)
        odd = implausible(reading, reading.of(points)[seen], p[k][sane], float(np.min(points[seen, 2])), stage)
        out.append(Trial(reading, chi2[k], off, _noise_at_least(chi2[k], fit.dof[rows]), plot, odd))
    return out


def _noise_at_least(chi2: Array, dof: Rows) -> float:
    """Chi-squared of all heads; what fits better than noise may is no better for it."""
    usual = float(np.sum(np.maximum(dof, 0)))
    return max(float(np.sum(np.minimum(chi2, MOST_CHI2))), usual + 2 * np.sqrt(2 * usual))


def _explains(trial: Trial, said: Trial, limit: Array, held: bool) -> bool:
    """Whether a reading mends what is doubted, spoils nothing, and rests on evidence that can tell it: sightings tell a
    mirror; where heads are `held` by the plot (at_sigma) they tell everything; else a scale must be odd as well."""
    bad = said.chi2 > limit
    if np.mean(~bad & (trial.chi2 > limit)) > MADE_WORSE:
        return False
    mends = bool(np.any(bad)) and np.mean(trial.chi2[bad] <= np.maximum(limit, 0.3 * said.chi2)[bad]) >= MENDED
    gain = said.sightings - trial.sightings
    by_plot = said.off_plot > OFF_PLOT and trial.off_plot < NEARER * said.off_plot
    if by_plot:
        return True
    if trial.reading.kind in (MIRROR, REVERSED) or held:
        return bool(mends and gain > GAP)
    return bool(trial.reading.kind == FEET and mends and gain > GAP and said.odd - trial.odd > ODD)


def _relabelled(marks: Array, reading: Reading, names: list[str]) -> tuple[tuple[str, str], ...]:
    """Pairs (as labelled, what it really is), where a reading puts the marks (M, 3) onto one another; else none."""
    gap = np.linalg.norm(reading.of(marks)[:, None] - marks[None], axis=-1)
    order: Rows = np.argmin(gap, axis=1)
    if np.max(np.min(gap, axis=1)) > 0.35 or len(set(order.tolist())) < len(marks):
        return ()
    return tuple((names[i], names[j]) for i, j in enumerate(order.tolist()) if i != j)
