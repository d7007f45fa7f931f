"""What each pose is worth, beyond its covariance: residuals on the floor, level, what rests on a prior alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.geometry.mechanics import TERMS
from bridge.solve.arrays import Array
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.heads import PoseBatch, sightings


def in_line(case: Case, points: Array, row: int) -> bool:
    """Whether the marks that a head sighted lie on one line, to 5 % of its length."""
    marks = points[np.unique(case.index[row][case.used[row]])]
    if len(marks) < 3:
        return True
    spread = np.linalg.svd(marks - marks.mean(axis=0), compute_uv=False)
    return bool(spread[1] < 0.05 * spread[0])


def residuals_on_floor(fit: Fit, row: int) -> dict[str, float]:
    """How far from each mark the solved beam meets the mark's plane, metres; across the beam where it does not meet."""
    case = fit.case
    n = len(case.sightings[row])
    one = replace(case.heads.take(np.array([row])).in_metres(), mark=fit.points[case.index[[row]]])
    r, _ = sightings(one, fit.poses.take(np.array([row])), derive=False)
    out = {}
    for slot in range(n):
        s = case.sightings[row][slot]
        miss = miss_on_floor(fit.poses, row, r[0, slot], fit.points[case.index[row, slot]])
        out[s.mark if s.face == 1 else f"{s.mark}/2"] = miss
    return out


def miss_on_floor(poses: PoseBatch, row: int, r: Array, mark: Array) -> float:
    """A residual (3,) in the fixture frame as a distance along the horizontal plane through the mark, metres."""
    v = mark - poses.p[row]
    beam = v - poses.R[row] @ r  # |q| u in the stage frame
    if abs(beam[2]) < 0.05 * np.linalg.norm(beam) or beam[2] * v[2] <= 0:
        return float(np.linalg.norm(r))
    meets = beam * (v[2] / beam[2])
    return float(np.linalg.norm((meets - v)[:2]))


def rests_on(fit: Fit, row: int) -> list[str]:
    """What a prior alone supports: its sigma has hardly shrunk."""
    heads, cov = fit.case.heads, fit.cov[row]
    out = []
    f = heads.level_fixture[row]
    across = np.eye(3) - np.outer(f, f)
    spread = np.sqrt(max(float(np.linalg.eigvalsh(across @ cov[3:6, 3:6] @ across)[-1]), 0.0))
    if row not in fit.carried and heads.level_weight[row] > 0 and spread > 0.8 / heads.level_weight[row]:
        out.append(f"level of the base: hang.sigma {np.degrees(1 / heads.level_weight[row]):.2g} deg")
    for axis, name in enumerate("xyz"):
        weight = heads.at_weight[row, axis]
        if weight > 0 and np.sqrt(max(cov[axis, axis], 0)) > 0.8 / weight:
            out.append(f"{name} of the position: at_sigma {1 / weight:.2g} m")
    if heads.terms_on[row]:
        sigma = np.sqrt(np.maximum(np.diag(cov)[6:12], 0))
        kept = [n for n, s, w in zip(TERMS, sigma, heads.terms_weight[row], strict=True) if s > 0.8 / w]
        if kept:
            out.append("usual size of " + ", ".join(kept))
    return out
