"""The Cramer-Rao bound of the aim error, computed without the solver: numeric derivatives of the forward model of
solve_rigs.py, heads and marks together, the same priors, pushed through the same measure."""

from __future__ import annotations

import numpy as np
import solve_rigs as rigs
from scipy.spatial.transform import Rotation

LEVEL = np.radians(1.0)


def bound(rig, hand, survey=0.01, level=LEVEL):
    """Cramer-Rao bound of the rms aim error (m): heads and marks together, derivatives numeric, measure as above."""
    M, D = len(rig.marks), 6
    border, parts = np.eye(3 * M) / survey**2, []
    for head in rig.heads:
        H, W = np.zeros((D, D)), np.zeros((D, 3 * M))
        for m, mark in enumerate(rig.marks):
            J = np.column_stack([across(head, mark, k) for k in range(D)])
            K = np.column_stack([by_mark(head, mark, k) for k in range(3)])
            at = slice(3 * m, 3 * m + 3)
            H += J.T @ J / hand**2
            W[:, at] += J.T @ K / hand**2
            border[at, at] += K.T @ K / hand**2
        tips = np.column_stack([np.zeros((2, 3)), *[tip(head, k)[:, None] for k in range(3)]])
        H += tips.T @ tips / level**2
        parts.append((H, W))
    S = border - sum(W.T @ np.linalg.solve(H, W) for H, W in parts)
    C_marks, total, count = np.linalg.inv(S), 0.0, 0
    for head, (H, W) in zip(rig.heads, parts, strict=True):
        X = np.linalg.solve(H, W)
        C = np.linalg.inv(H) + X @ C_marks @ X.T
        for g in rigs.grid():
            J = np.column_stack([across(head, g, k) for k in range(D)])
            total, count = total + np.trace(J @ C @ J.T), count + 1
    return float(np.sqrt(total / count))


def across(head, point, k, step=1e-5):
    pan, tilt = head.angles_to(point)
    ends = []
    for sign in (step, -step):
        p, R = (head.p + sign * np.eye(3)[k], head.R) if k < 3 else (head.p, head.R @ turn(sign * np.eye(3)[k - 3]))
        ends.append(rigs.TrueHead(p, R).offset(point, pan, tilt))
    return (ends[0] - ends[1]) / (2 * step)


def by_mark(head, point, k, step=1e-5):
    pan, tilt = head.angles_to(point)
    d = step * np.eye(3)[k]
    return (head.offset(point + d, pan, tilt) - head.offset(point - d, pan, tilt)) / (2 * step)


def tip(head, k, step=1e-5):
    return ((head.R @ turn(step * np.eye(3)[k]))[:2, 2] - head.R[:2, 2]) / step


def turn(w):
    return Rotation.from_rotvec(w).as_matrix()
