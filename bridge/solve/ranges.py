"""Travels of pan and tilt that all heads of a profile share: one factor for each profile and axis, from all its heads.

A factor f on an axis means that the head turns f degrees for each one that the profile believes. Half a percent is
common and small beside the noise of one head; together its heads show it. Around the solution it is a linear least
squares problem with every head's own pose eliminated (Schur complement); far from it, factors are searched first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Rows
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, PoseBatch, normal, sightings
from bridge.solve.start import solve_alone

AXES = ("pan", "tilt")
LEAST_HEADS, LEAST_MARKS = 3, 4
LEAST = 0.0015  # 0.8 of 540 degrees: smaller ones are units of their own, and cost less than a hand
SEARCHED = np.unique(np.concatenate([np.geomspace(0.5, 2.0, 29), [540 / 630, 630 / 540]]))
MOST_SEARCHED = 6  # heads
MOST_GAIN = 60.0  # chi-squared that a single head may speak with
GAIN, REST = 25.0, 6.0  # chi-squared that a factor must bring over all heads, and over all but the one it helps most
EXPLAINED = 0.75  # share of the heads it helps that must then fit: what is left over is another fault
AGREE = 0.7  # share of the heads that must be no worse with it
MENDED = 0.9
STEP = 1e-5


@dataclass(frozen=True)
class SharedFactor:
    """The factor by which an `axis` (pan | tilt) of all heads `rows` of a profile turns further than it says. `mends`:
    most of them do not fit without it, and do with it."""

    profile: str
    axis: str
    rows: Rows
    factor: float
    mends: bool

    def of(self, case: Case) -> Case:
        """The case with that axis read so for all heads of the profile."""
        every = np.array([f.profile.name == self.profile for f in case.fixtures])
        angle = getattr(case.heads, self.axis) * np.where(every, self.factor, 1.0)[:, None]
        return replace(case, heads=replace(case.heads, **{self.axis: angle}))


def shared_factors(fit: Fit, far: bool) -> list[SharedFactor]:
    """Every factor that the heads of a profile agree on, by itself; `far`: search distant ones too."""
    case = fit.case
    able = fit.solved & (case.distinct_marks() >= LEAST_MARKS) & ~case.heads.terms_on
    profiles = np.array([f.profile.name for f in case.fixtures])
    heads = fit.on_marks
    out = []
    for profile in dict.fromkeys(profiles[able].tolist()):
        rows = np.flatnonzero(able & (profiles == profile))
        if len(rows) < LEAST_HEADS:
            continue
        for axis in AXES:
            found = _factor(fit, heads.take(rows), rows, axis, far)
            if found is not None:
                out.append(SharedFactor(profile, axis, rows, *found))
    return out


def _factor(fit: Fit, heads: HeadBatch, rows: Rows, axis: str, far: bool) -> tuple[float, bool] | None:
    poses, before = refine(heads, fit.poses.take(rows), steps=10)
    limit = fit.limit[rows]
    factor, after = _nearby(heads, poses, limit, axis, 1.0)
    if far and np.mean(after <= limit) < AGREE:
        start = _searched(fit, heads, rows, axis)
        hang, hints = fit.case.hang[rows], fit.case.hints[rows]
        none = np.full(len(rows), np.inf)
        poses, _ = solve_alone(_turned(heads, axis, start), hang, hints, none, unstarted_only=True)
        factor, after = _nearby(heads, poses, limit, axis, start)
    if not abs(factor - 1) > LEAST:
        return None
    total, rest = agreed_gain(before, after)
    gained, doubted = before - after > 10, before > limit
    mends = np.mean(after[gained] <= limit[gained]) if np.any(gained) else 1.0
    if total < GAIN or rest < REST or mends < EXPLAINED:
        return None
    if np.any(doubted) and np.mean(after[doubted] <= limit[doubted]) < 0.5:
        return None
    return factor, bool(np.mean(before > limit) > 0.5 and np.mean(after <= limit) >= MENDED)


def agreed_gain(before: Array, after: Array) -> tuple[float, float]:
    """By how much chi-squared (F,) falls over all heads, and without the one that gains most; 0 where many lose."""
    gain = np.minimum(before, 1e3) - np.minimum(after, 1e3)
    if not len(gain) or np.mean(gain > -1.0) < AGREE:
        return 0.0, 0.0
    gain = np.minimum(gain, MOST_GAIN)
    return float(np.sum(gain)), float(np.sum(gain) - np.max(gain))


def _nearby(heads: HeadBatch, poses: PoseBatch, limit: Array, axis: str, factor: float) -> tuple[float, Array]:
    """The best factor near `factor` and chi-squared (F,) of each head with it. Heads that do not fit weigh less."""
    for _ in range(4):
        poses, chi2 = refine(_turned(heads, axis, factor), poses, steps=8)
        push, hold = _pull(_turned(heads, axis, factor), poses, axis)
        weight = np.minimum(1.0, limit / np.maximum(chi2, 1e-9))
        step = float(np.clip(-np.sum(weight * push) / max(np.sum(weight * hold), 1e-9), -0.1, 0.1))
        factor *= 1 + step
        if abs(step) < 1e-5:
            break
    return factor, refine(_turned(heads, axis, factor), poses, steps=8)[1]


def _turned(heads: HeadBatch, axis: str, factor: float) -> HeadBatch:
    return replace(heads, **{axis: getattr(heads, axis) * factor})


def _pull(heads: HeadBatch, poses: PoseBatch, axis: str) -> tuple[Array, Array]:
    """Slope and curvature (F,) of half the chi-squared of each head by its factor, its pose free to follow."""
    _, H, g, r, J = normal(heads, poses)
    other, _ = sightings(_turned(heads, axis, 1 + STEP), poses, derive=False)
    a = (other - r) / STEP
    c = np.einsum("fnid,fni->fd", J, a)
    follow = np.linalg.solve(H, c[..., None])[..., 0]
    push = np.einsum("fni,fni->f", a, r) - np.einsum("fd,fd->f", follow, g)
    return push, np.einsum("fni,fni->f", a, a) - np.einsum("fd,fd->f", follow, c)


def _searched(fit: Fit, heads: HeadBatch, rows: Rows, axis: str) -> float:
    """The factor of all that are tried with which the first few heads, each solved anew, fit best."""
    few = np.arange(len(rows))[:MOST_SEARCHED]
    factors = np.concatenate([SEARCHED, -SEARCHED]) if axis == "pan" else SEARCHED
    batch = heads.take(np.tile(few, len(factors)))
    angle = getattr(batch, axis) * np.repeat(factors, len(few))[:, None]
    batch = replace(batch, **{axis: angle})
    hang, hints = fit.case.hang[rows[few]], fit.case.hints[rows[few]]
    none = np.full(len(batch), np.inf)
    _, chi2 = solve_alone(
        batch, np.tile(hang, (len(factors), 1, 1)), np.tile(hints, (len(factors), 1)), none, True, steps=20
    )
    return float(factors[np.argmin(np.sum(np.minimum(chi2.reshape(len(factors), -1), 1e4), axis=1))])
