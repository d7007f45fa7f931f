"""What could hide from the tests of a truss, a head moved or turned on it: how far carried poses can be trusted."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array
from bridge.solve.reliability import unseen_size2
from bridge.solve.truss_check import TrussCheck


def hidden_moves(check: TrussCheck, moments: Array) -> Array:
    """Rms aim error in metres of each head (n,) that the worst unseen mistake on the truss would cause: any one head,
    itself or another, moved along the truss or turned about the vertical or the truss. `moments` (n, 6, 6): aim_moments
    of each."""
    m, G, C = check.model, check.model.G, check.C
    kept = check.kept & (check.dof > 0)
    size2 = unseen_size2(check.dof, check.limit)
    V = np.linalg.inv(m.W)
    Q = V - G @ C @ G.swapaxes(1, 2)
    d = m.J @ moves(check)  # (n, 3N, 3) by each move of the head itself
    seen = np.einsum("nik,nij,njk->nk", m.W @ d, Q, m.W @ d)
    size = np.sqrt(size2[:, None] / np.maximum(seen, 1e-6))
    own = m.S @ m.J.swapaxes(1, 2) @ m.W  # what a head's own sightings correct of its place on the truss
    by_truss = C @ (G.swapaxes(1, 2) @ m.W @ d)  # (n, 6, 3): how each move of each head turns the truss
    through = m.A - own @ G  # (n, 6, 6): how the truss moves each head
    error = np.einsum("kij,njm->nkim", through, by_truss)  # by head that moved, head that is aimed, its pose, move
    n = len(check.rows)
    error[np.arange(n), np.arange(n)] += own @ d - moves(check)
    error = error * np.where(kept[:, None], size, 0.0)[:, None, None, :]
    return np.asarray(np.sqrt(np.max(np.einsum("nkim,kij,nkjm->nkm", error, moments, error), axis=(0, 2))))


def moves(check: TrussCheck) -> Array:
    """One metre along the truss, one radian about the vertical and about the truss, as changes of poses (n, 6, 3)."""
    T, R = check.place[1], check.poses.R
    along = T @ np.linalg.svd(check.truss.p - check.truss.p.mean(axis=0))[2][0]
    out = np.zeros((len(check.rows), 6, 3))
    out[:, :3, 0] = along
    out[:, 3:, 1], out[:, 3:, 2] = R[:, 2, :], np.einsum("nji,j->ni", R, along)
    return out
