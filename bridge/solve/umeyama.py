"""The similarity between two sets of points by least squares, in closed form.

S. Umeyama, Least-squares estimation of transformation parameters between two point patterns, IEEE Trans. PAMI 13 (4),
1991, with weights, and with mirrored sets where those are asked for.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bridge.solve.arrays import Array

SMALLEST_SPREAD = 1e-12


class Similarity(NamedTuple):
    """right = shift + scale * turn @ left; turn (D, D) is orthogonal, its determinant -1 where mirrored. `error` is the
    weighted mean of the squared distances that are left (Umeyama's e^2)."""

    turn: Array
    shift: Array
    scale: float
    error: float


def similarity(left: Array, right: Array, weight: Array, scaled: bool = False, mirrored: bool = False) -> Similarity:
    """Points (N, D) of the one set onto those of the other; weights (N,) > 0. Without `scaled` the scale is 1.

    Where the points span one dimension less than D, the turn is still the only one of its kind; where they span fewer,
    it is one of many. With `scaled` and all points of `left` in one place the scale is 0.
    """
    share = weight / np.sum(weight)
    middle_left, middle_right = share @ left, share @ right
    a, b = left - middle_left, right - middle_right
    U, spread, Vt = np.linalg.svd((share[:, None] * b).T @ a)
    sign = np.ones(len(spread))
    sign[-1] = (-1.0 if mirrored else 1.0) * np.sign(np.linalg.det(U) * np.linalg.det(Vt))
    turn = (U * sign) @ Vt
    size_left, size_right = float(share @ np.sum(a * a, axis=1)), float(share @ np.sum(b * b, axis=1))
    along = float(spread @ sign)
    scale = along / size_left if scaled and size_left > SMALLEST_SPREAD else 0.0 if scaled else 1.0
    error = size_right - 2 * scale * along + scale**2 * size_left
    return Similarity(turn, middle_right - scale * turn @ middle_left, scale, max(error, 0.0))
