"""The scale of a whole survey: sightings alone do not know it, tapes and the plot do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Rows
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.ranges import agreed_gain
from bridge.solve.result import Resized, Suspect
from bridge.solve.whole_survey import as_given

LEAST = 0.006  # a scale nearer to 1 than this is the tape's own error
LEAST_HEADS = 5  # with a rough place each, from which the plot may speak of a scale
CHANCE = 1e-3  # that a sound plot says another scale (Student's t), each side
OUTLIER = 4.0  # times the usual scatter: a head that the plot has somewhere else
SCALES = np.linspace(0.85, 1.18, 34)


def scale_fault(fit: Fit, alarm: float) -> tuple[Case, float, float] | None:
    """The case with surveyed marks at the scale that tapes and heads held by the plot ask for, that scale (the real
    distance of one surveyed), and its chi-squared over `alarm`; None where they ask for none."""
    case = fit.source
    if np.count_nonzero(case.known) < 2:
        return None
    scale, chi2 = _score(case, fit)
    if np.any(fit.doubtful) and np.any(case.heads.at_weight):
        scale, chi2 = max((scale, chi2), _as_heads_hang(fit), key=lambda found: found[1])
    test = chi2 / alarm
    if abs(scale - 1) < LEAST or test < 1 or not 0.5 < scale < 2:
        return None
    return scaled(case, scale), scale, test


def scaled(case: Case, scale: float) -> Case:
    """The case with all surveyed marks times `scale`."""
    border, n = case.border, len(case.known)
    at, point = border.point_at.copy(), border.point.copy()
    at[:n][case.known] *= scale
    point[:n][case.known] *= scale
    return replace(case, border=replace(border, point_at=at, point=point))


def _score(case: Case, fit: Fit) -> tuple[float, float]:
    """Scale and its chi-squared from the joint solve: the slope of the survey's residuals by it, everything else free
    to follow."""
    n = len(case.known)
    w2 = case.border.point_weight**2
    at = case.border.point_at * np.where(np.arange(len(w2)) < n, 1.0, 0.0)[:, None]
    at[:n][~case.known] = 0.0
    push = -float(np.sum(w2 * at * (fit.joint.estimate.point - case.border.point_at)))
    v = np.zeros(len(fit.joint.cov_border))
    v[: 3 * len(w2)] = (w2 * at).ravel()
    own = float(np.sum(w2 * at**2))
    hold = own - float(v @ fit.joint.cov_border @ v)
    if hold < 1e-4 * own or own == 0:
        return 1.0, 0.0
    return 1.0 - push / hold, push**2 / hold


def _as_heads_hang(fit: Fit) -> tuple[float, float]:
    """The scale with which heads, each held by the plot (at_sigma), fit best, and how much better that is."""
    case = fit.source
    rows = np.flatnonzero(fit.solved & np.any(case.heads.at_weight, axis=1) & (case.distinct_marks() >= 2))
    if len(rows) < LEAST_HEADS:
        return 1.0, 0.0
    before = _cost(fit, rows, 1.0)
    costs = [float(np.sum(np.minimum(_cost(fit, rows, float(scale)), 1e3))) for scale in SCALES]
    k = int(np.clip(np.argmin(costs), 1, len(costs) - 2))
    a, b, c = costs[k - 1 : k + 2]
    bend = a - 2 * b + c
    scale = float(SCALES[k] + (0.5 * (a - c) / bend if bend > 0 else 0.0) * (SCALES[1] - SCALES[0]))
    return scale, agreed_gain(before, _cost(fit, rows, scale))[1]


def _cost(fit: Fit, rows: Rows, scale: float) -> Array:
    """Chi-squared of each head alone, on surveyed marks at that scale."""
    case = as_given(fit)
    heads = case.alone(scaled(case, scale).border.point_at, np.minimum(fit.mark_sigma, 1.0)).take(rows)
    return refine(heads, fit.poses.take(rows), steps=6)[1]


def plot_scale(fit: Fit) -> tuple[float, float] | None:
    """How much larger the plot is than the solved rig in plan, and its standard error; None with too few heads.

    From how far heads are apart: where the plot has its origin and which way it runs does not matter.
    """
    rows = np.flatnonzero(fit.solved & ~fit.doubtful & np.all(np.isfinite(fit.case.hints), axis=1))
    p, hint = _plan(fit.poses.p[rows]), _plan(fit.case.hints[rows])
    for _ in range(3):
        if len(p) < LEAST_HEADS:
            return None
        a, b = p - p.mean(), hint - hint.mean()
        spread = float(np.sum(np.abs(a) ** 2))
        turn = np.sum(np.conj(a) * b) / max(spread, 1e-9)
        off = np.abs(b - turn * a)
        scatter = max(float(np.median(off)), 0.02)
        keep = off < OUTLIER * scatter
        if np.all(keep) or spread < 4.0:
            break
        p, hint = p[keep], hint[keep]
    sigma = max(float(np.sqrt(np.sum(off**2) / max(2 * len(p) - 4, 1))), 0.02)
    return (float(abs(turn)), sigma / float(np.sqrt(spread))) if spread >= 4.0 else None


def _plan(p: Array) -> Array:
    return np.asarray(p[:, 0] + 1j * p[:, 1])


def plot_suspect(fit: Fit) -> list[Suspect]:
    """Where nothing else is wrong: rough positions of many heads, averaged, that ask for another scale."""
    from scipy.special import stdtrit

    held = np.any(fit.case.heads.at_weight) or fit.carried
    plot = None if held else plot_scale(fit)
    if plot is None:
        return []
    scale, error = plot
    count = int(np.count_nonzero(fit.solved & np.all(np.isfinite(fit.case.hints), axis=1)))
    if abs(scale - 1) < LEAST or abs(scale - 1) < stdtrit(2 * count - 4, 1 - CHANCE) * error:
        return []
    detail = Resized(scale, "plot", _taped(fit))
    return [Suspect(None, None, "scale", _worth(fit, scale), sure=False, detail=detail)]


def _taped(fit: Fit) -> bool:
    """Whether there are tapes."""
    return bool(len(fit.case.border.tape_metres))


def _worth(fit: Fit, scale: float) -> float:
    """Metres that a scale is worth over the marks."""
    marks = fit.points[: len(fit.case.marks)]
    return float(np.max(np.linalg.norm(marks - marks.mean(axis=0), axis=1)) * abs(scale - 1))


def scale_suspect(fit: Fit, other: Fit, scale: float, sure: bool) -> Suspect:
    """Surveyed marks against tapes, or against heads held by the plot; a rough plot may decide between them."""
    tapes = _taped(fit)
    if np.any(fit.case.heads.at_weight) and (not tapes or np.any(fit.doubtful)):
        return Suspect(None, None, "scale", _worth(fit, scale), sure=sure, detail=Resized(scale, "held", tapes))
    plot, wrong = plot_scale(other), ""  # of the rig as the tapes have it
    if plot is not None:
        as_said, as_taped = (abs(plot[0] - s) / plot[1] for s in (1 / scale, 1.0))
        if min(as_said, as_taped) < 3 < max(as_said, as_taped):
            wrong = "survey" if as_taped < as_said else "tapes"
    detail = Resized(scale, "tapes", tapes, wrong)
    return Suspect(None, None, "scale", _worth(fit, scale), sure=sure and bool(wrong), detail=detail)
