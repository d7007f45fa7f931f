"""One fit of a tracking system's frame to records on marks: level, or turned any way; and how far off it may be.

What is known of a record: the mark it stood on, horizontally to `across` m; vertically only to how evenly a tag is held
over the marks. A height that all records share goes into the origin. Nothing is assumed of the input's axes: a level
fit is tried with each of them up and down, right-handed and mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from bridge.geometry.frames import rotation_z
from bridge.solve.arrays import Array, Rows
from bridge.solve.umeyama import similarity

HELD = 0.05
"""Sigma, m: how evenly a person holds a tag at the same height over one mark and the next."""
LEAST = 0.01
"""Sigma, m: nobody puts a tag on a mark more exactly."""
LINE = 0.2
"""Marks that lie within so many metres of one line say nothing about a turn around it."""
SURELY = 0.99
"""A tilt, or a mistake, is only believed beyond this."""
PRIOR = 4
"""So many residuals' worth of trust in the sigmas given."""
RIVAL = 20.0
"""Ways to fit that differ by less in chi-squared (over the noise found) are not told apart by the records."""
AXES = np.eye(3)


@dataclass(frozen=True)
class Records:
    """What is to fit: `at` (N, 3) in the input's axes, `marks` (N, 3) on the stage, `across` (N,) sigma per horizontal
    axis; `usual` (3, 3): the axes that the protocol says, row by row; `scaled`: the scale is looked for."""

    at: Array
    marks: Array
    across: Array
    usual: Array
    scaled: bool

    @cached_property
    def line(self) -> bool:
        """Whether the marks lie in one line."""
        return bool(np.linalg.svd(self.marks - self.marks.mean(axis=0), compute_uv=False)[1] < LINE)

    @cached_property
    def sigma(self) -> Array:
        """(N, 3): of each record on the stage."""
        up = np.hypot(self.across, HELD)
        return np.stack([self.across, self.across, up], axis=1)

    def take(self, rows: Rows) -> Records:
        """Some of the records."""
        return replace(self, at=self.at[rows], marks=self.marks[rows], across=self.across[rows])

    def moved(self, rows: Rows) -> Records:
        """The same records on each other's marks."""
        return replace(self, marks=self.marks[rows])


@dataclass(frozen=True)
class Fit:
    """stage = origin + scale * turn @ input; `turn` (3, 3) is orthogonal, mirrored where its determinant is -1."""

    records: Records
    turn: Array
    scale: float
    origin: Array
    level: bool

    @cached_property
    def off(self) -> Array:
        """(N, 3): where each record comes out, less its mark, m."""
        r = self.records
        return np.asarray(self.origin + self.scale * r.at @ self.turn.T - r.marks)

    @cached_property
    def chi2(self) -> float:
        """Of all residuals, over their sigmas."""
        return float(np.sum((self.off / self.records.sigma) ** 2))

    @property
    def dof(self) -> int:
        """How many residuals there are beyond what was fitted."""
        return self.off.size - (4 if self.level else 6) - int(self.records.scaled)

    @property
    def noise(self) -> float:
        """Variance of the residuals in units of what was known beforehand, at least 1."""
        return max(1.0, self.chi2 / max(self.dof, 1))

    def _across_noise(self) -> float:
        """The same horizontally, at least 1. Where it is surely more than was said, what so few residuals leave open of
        it is in it: as a factor for 95 %."""
        from scipy.stats import chi2, f

        free = 2 * len(self.off) - 3 - int(self.records.scaled)
        if free < 1:
            return 1.0
        found = float(np.sum((self.off[:, :2] / self.records.sigma[:, :2]) ** 2))
        surely = found > chi2.isf(0.05, free)
        open_ = 2 * f.isf(0.05, 2, free + 1) / chi2.isf(0.05, 2) if surely else 1.0
        return max(1.0, float(open_) * found / free)

    @property
    def mirrored(self) -> bool:
        """Whether the input's axes are of the other hand than the stage's."""
        return bool(np.linalg.det(self.turn) < 0)

    @property
    def upright(self) -> tuple[int, bool]:
        """Which axis of the input is vertical, and whether it points up."""
        axis = int(np.argmax(np.abs(self.turn[2])))
        return axis, bool(self.turn[2, axis] > 0)

    def worst(self, places: Array) -> float:
        """How far off (95 %, horizontally, m) a place may be by the frame itself, at the worst of `places` (K, 3)."""
        from scipy.special import gammaincinv

        middle = self.records.marks.mean(axis=0)
        J = self._moves(self.records.marks - middle) / self.records.sigma.reshape(-1, 1)
        spread = np.linalg.pinv(J.T @ J) * self._across_noise()
        M = self._moves(places - middle).reshape(len(places), 3, -1)[:, :2]
        C = M @ spread @ M.swapaxes(1, 2)
        first = np.trace(C, axis1=1, axis2=2)
        second = np.einsum("kij,kji->k", C, C)
        square = 2 * second / first * gammaincinv(first**2 / (2 * second), 0.95)  # Satterthwaite, as for aim errors
        return float(np.sqrt(np.max(square)))

    def _moves(self, arms: Array) -> Array:
        """(3 N, P): how places `arms` (N, 3) from the middle move with turns, shift and scale."""
        axes = AXES[2:] if self.level else AXES
        parts = [np.cross(axis, arms) for axis in axes]
        parts += [np.broadcast_to(axis, arms.shape) for axis in AXES]
        parts += [arms] if self.records.scaled else []
        return np.stack(parts, axis=-1).reshape(arms.size, -1)


def best(records: Records) -> tuple[Fit, list[Fit]]:
    """The fit to take, and those that the records do not tell from it. Level unless a tilt is certain."""
    levels = [_level(records, axes) for axes in _WAYS]
    level, rivals = _choose(records, levels)
    if records.line:
        return level, rivals
    full, others = _choose(records, [_full(records, mirrored) for mirrored in (False, True)])
    return (full, others) if _certain(level, full) else (level, rivals)


def better_by(worse: Fit, fit: Fit, more: int, tried: int = 1) -> float:
    """F of `fit`, which explains `more` residuals of `worse` away, over what chance gives in one case of a hundred, if
    the best of so many was `tried`. What is known of the noise beforehand counts as PRIOR residuals."""
    from scipy.stats import f

    gain = (worse.chi2 - fit.chi2) / more / fit.noise
    return float(gain / f.isf((1 - SURELY) / tried, more, max(fit.dof, 0) + PRIOR))


def _certain(level: Fit, full: Fit) -> bool:
    return better_by(level, full, 2) > 1.0


def _choose(records: Records, fits: Sequence[Fit]) -> tuple[Fit, list[Fit]]:
    """Of those that fit as well as the best, the one that is most usual: its vertical axis, up, its hand."""
    least = min(fits, key=lambda fit: fit.chi2)
    close = [fit for fit in fits if fit.chi2 - least.chi2 <= RIVAL * least.noise]
    usual_up, usual_hand = int(np.argmax(np.abs(records.usual[2]))), np.linalg.det(records.usual) < 0

    def odd(fit: Fit) -> tuple[bool, bool, bool, float]:
        axis, up = fit.upright
        return axis != usual_up, not up, fit.mirrored != usual_hand, fit.chi2

    chosen = min(close, key=odd)
    return chosen, [fit for fit in close if fit is not chosen]


def _ways() -> list[Array]:
    """Twelve sets of axes (3, 3): each of the input's up or down, and both hands; a turn about z gives all others."""
    ways = []
    for axis in range(3):
        first, second = AXES[(axis + 1) % 3], AXES[(axis + 2) % 3]
        for up in (1.0, -1.0):
            ways += [np.stack([first, side * second, up * AXES[axis]]) for side in (1.0, -1.0)]
    return ways


_WAYS = _ways()


def _level(records: Records, axes: Array) -> Fit:
    """A turn about z alone, with these axes of the input as the stage's."""
    at, weight = records.at @ axes.T, 1 / records.across**2
    plan = similarity(at[:, :2], records.marks[:, :2], weight, records.scaled)
    upward = 1 / records.sigma[:, 2] ** 2
    up = float(np.average(records.marks[:, 2] - plan.scale * at[:, 2], weights=upward))
    turn = rotation_z(np.arctan2(plan.turn[1, 0], plan.turn[0, 0])) @ axes
    return Fit(records, turn, plan.scale, np.array([*plan.shift, up]), level=True)


def _full(records: Records, mirrored: bool) -> Fit:
    found = similarity(records.at, records.marks, 1 / records.across**2, records.scaled, mirrored)
    return Fit(records, found.turn, found.scale, found.shift, level=False)
