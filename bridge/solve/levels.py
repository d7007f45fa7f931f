"""When bases hang less level than `hang.sigma` says: seen from the sightings, told, and allowed for.

A crew that leaves the default of 1 degree and hangs to 3 would have every pose pulled and half of its heads doubted.
From four marks on, sightings alone tell the level of a base, so the heads of a rig show together how level they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bridge.solve.alone import refine
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.heads import level, normal
from bridge.solve.result import Suspect

FREE = np.radians(10.0)
LEAST_HEADS, LEAST_MARKS = 4, 4
MEDIAN_OF_TWO = 2 * np.log(2)  # median of chi-squared with two degrees of freedom
CLEAR = 4.0  # standard errors of the median by which the scatter must exceed what was said
MOSTLY, MOST = 0.7, np.radians(8.0)  # share of heads that must fit once free; no crew hangs worse than this
LOOSE = np.radians(5.0)


def with_wider_levels(fit: Fit) -> tuple[Case, tuple[float, float]] | None:
    """The case with all level sigmas widened to the scatter that the sightings show, and both in degrees: the usual one
    as said, and as seen. None where they agree."""
    case = fit.source
    able = fit.solved & (case.heads.level_weight > 0) & (case.distinct_marks() >= LEAST_MARKS)
    able[list(fit.carried)] = False
    rows = np.flatnonzero(able)
    if len(rows) < LEAST_HEADS:
        return None
    heads = fit.on_marks.take(rows)
    free = replace(heads, level_weight=np.full(len(rows), 1 / FREE))
    poses, chi2 = refine(free, fit.poses.take(rows), steps=10)
    if np.mean(chi2 <= fit.limit[rows]) < MOSTLY:
        return None  # something else is wrong with the whole rig
    off, _ = level(replace(free, level_weight=np.ones(len(rows))), poses)
    _, H, *_ = normal(free, poses)
    turn = np.linalg.inv(H)[:, 3:6, 3:6]
    f = free.level_fixture
    across = np.trace(turn, axis1=1, axis2=2) - np.einsum("fi,fij,fj->f", f, turn, f)
    said = 1 / case.heads.level_weight[rows]
    # the median: a few heads with wrong sightings must not speak for the rig
    ratio = float(np.median(np.einsum("fi,fi->f", off, off) / (said**2 + across / 2)) / MEDIAN_OF_TWO)
    if ratio < 1 + CLEAR * 1.44 / np.sqrt(len(rows)) or np.median(said) * np.sqrt(ratio) > MOST:
        return None
    wider = np.sqrt(ratio)
    sigma = float(np.degrees(np.median(said)))
    heads = replace(case.heads, level_weight=case.heads.level_weight / wider)
    return replace(case, heads=heads), (sigma, float(sigma * wider))


def without_levels(fit: Fit, suspects: Sequence[Suspect]) -> tuple[Case, list[str]] | None:
    """The case with the level of single heads loosened where nothing else explains them, and their names. Five marks at
    least: with four, a base out of level and a wrong sighting look too much alike."""
    names = [s.fixture for s in suspects if s.kind == "hang" and s.sure]
    names = [n for n in names if sum(s.fixture == n for s in suspects) == 1]
    marks = fit.case.distinct_marks()
    rows = [i for i, n in enumerate(fit.case.names) if n in names and marks[i] > LEAST_MARKS and i not in fit.mounts]
    if not rows:
        return None
    weight = fit.source.heads.level_weight.copy()
    weight[rows] = np.minimum(weight[rows], 1 / LOOSE)
    return replace(fit.source, heads=replace(fit.source.heads, level_weight=weight)), [fit.case.names[i] for i in rows]
