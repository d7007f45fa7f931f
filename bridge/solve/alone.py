"""Each head by itself: many small least-squares problems at once (Levenberg-Marquardt), marks held where they are."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.heads import HeadBatch, PoseBatch, cost, normal


def refine(heads: HeadBatch, start: PoseBatch, steps: int = 40) -> tuple[PoseBatch, Array]:
    """The nearest minimum of every head and its chi-squared (F,). Converged heads are left out of the work."""
    chi2 = cost(heads, start)
    damping = np.full(len(heads), 1e-4)
    active = np.arange(len(heads))
    p, R, terms = start.p.copy(), start.R.copy(), start.terms.copy()
    for _ in range(steps):
        if not len(active):
            break
        here = PoseBatch(p, R, terms)
        whole = len(active) == len(heads)
        batch, here = (heads, here) if whole else (heads.take(active), here.take(active))
        _, H, g, _, _ = normal(batch, here)
        step = _damped(H, g, damping[active])
        trial = here.moved(step)
        new = cost(batch, trial)
        better = new < chi2[active]
        gain = np.where(better, chi2[active] - new, 0.0)
        rows = active[better]
        p[rows], R[rows], terms[rows] = trial.p[better], trial.R[better], trial.terms[better]
        chi2[rows] = new[better]
        size = np.max(np.abs(step), axis=1)
        done = (size < 1e-7) | (better & (gain < 1e-9 * (1 + new))) | (damping[active] > 1e8)
        damping[active] = np.where(better, damping[active] * 0.1, damping[active] * 10 + 1e-6)
        active = active[~done]
    return PoseBatch(p, orthonormal(R), terms), chi2


def _damped(H: Array, g: Array, damping: Array) -> Array:
    axes = np.arange(H.shape[1])
    H = H.copy()
    diagonal = H[:, axes, axes]
    H[:, axes, axes] = diagonal * (1 + damping[:, None]) + 1e-9
    return np.asarray(-np.linalg.solve(H, g[..., None])[..., 0])


def orthonormal(R: Array) -> Array:
    """Rotations (F, 3, 3) cleaned of rounding (one Newton step of the polar decomposition)."""
    return np.asarray(1.5 * R - 0.5 * R @ R.transpose(0, 2, 1) @ R)
