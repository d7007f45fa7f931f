"""What the tests would not see: redundancy numbers, and the largest single mistake that could hide in a head.

Baarda's reliability (1968, from memory; e.g. Ghilani, Adjustment Computations, the chapter on blunder detection). A
measurement of weight 1 with derivatives A moves its own residual by R = I - A C A^T of its mistake, C the covariance of
the unknowns: trace R is its redundancy number. A mistake d raises chi-squared by d^T R d and turns the unknowns by
C A^T d. The largest d that the test of the head misses once in five times is the minimal detectable mistake, and what
it does to the aim says what a pose is worth beyond noise. A sighting is one measurement of two dimensions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.heads import HeadBatch, PoseBatch, level, normal
from bridge.solve.limits import limit_of
from bridge.solve.predict import sensitivity

POWER = 0.8  # chance with which a mistake of the size that counts as seen is seen (common in surveying)
NOTHING_LEFT = 1e-9  # a redundancy below this is rounding
FAINT = 1e-9
UNSEEN = 1e3  # metres: no test sees it


@dataclass(frozen=True)
class Reliability:
    """By head and measurement (F, K), the N sightings in their slots, then level and position of the plot.

    `redundancy`: 0 (nothing checks it) to its dimensions (2, 2 and as many as the plot gives). `hidden`: rms aim error
    in metres over the points that the largest unseen mistake in it would cause; 0 where there is no such measurement.
    """

    redundancy: Array
    hidden: Array

    @property
    def worst(self) -> Array:
        """The largest of `hidden` for each head (F,)."""
        return np.asarray(np.max(self.hidden, axis=1, initial=0.0))


def reliability(
    heads: HeadBatch,
    poses: PoseBatch,
    points: Array,
    faces: Rows,
    among: int | None = None,
    prior: Array | None = None,
) -> Reliability:
    """Reliability of heads on known marks, aimed at `points` (P, 3) on `faces` (F, K).

    `among`: of how many heads each is one (limits.py). `prior` (F, 6, 6): a root of the information that a truss gives
    of each pose, one measurement of six dimensions in place of the position of the plot; zero where there is none.
    """
    _, H, _, _, J = normal(heads, poses)
    width = H.shape[1]
    root = np.zeros((len(heads), 6, 6)) if prior is None else prior
    on_truss = np.any(root, axis=(1, 2))
    H[:, :6, :6] += root.swapaxes(1, 2) @ root
    C = np.asarray(np.linalg.inv(H + FAINT * np.eye(width)), dtype=np.float64)
    moments = aim_moments(poses, points, heads.terms_on, faces)
    dof = heads.data_count - 6 + np.where(on_truss, 6, 0)
    size2 = unseen_size2(dof, limit_of(dof, among or len(heads)))
    _, flat = level(heads, poses)
    up = np.zeros((len(heads), 1, 3, width))
    up[:, 0, :, 3:6] = flat
    at = np.zeros((len(heads), 6, width))
    at[:, np.arange(3), np.arange(3)] = heads.at_weight
    at[:, :, :6] = np.where(on_truss[:, None, None], root, at[:, :, :6])
    few = [
        block_reliability(A, C, moments, rank) for A, rank in ((np.concatenate([J, up], axis=1), 2), (at[:, None], 6))
    ]
    redundancy, effect2 = (np.concatenate(parts, axis=1) for parts in zip(*few, strict=True))
    return Reliability(redundancy, np.minimum(np.sqrt(effect2 * size2[:, None]), UNSEEN))


def aim_moments(poses: PoseBatch, points: Array, terms_on: Mask, faces: Rows) -> Array:
    """M (F, D, D) so that a change x of the unknowns means a mean square aim error of x^T M x over the points, m^2."""
    J = np.concatenate([sensitivity(poses, points, terms_on, face) for face in faces.T], axis=1)
    return np.asarray(np.einsum("fpki,fpkj->fij", J, J) / J.shape[1])


def unseen_size2(dof: Rows, limit: Array, power: float = POWER) -> Array:
    """Chi-squared (F,) that a mistake must add so that a test of `dof` against `limit` sees it with that chance."""
    from scipy.special import chndtrinc

    size2 = chndtrinc(limit, np.maximum(dof, 1).astype(float), 1 - power)
    return np.where(dof > 0, size2, UNSEEN**2)


def block_reliability(A: Array, C: Array, moments: Array, rank: int) -> tuple[Array, Array]:
    """Redundancy numbers (F, K) of blocks A (F, K, k, D) of `rank` dimensions at most, and the mean square aim error
    (F, K) of the worst mistake that adds 1 to chi-squared."""
    U, size, _ = np.linalg.svd(A, full_matrices=False)
    there = size[..., :rank] > 1e-9 * np.maximum(size[..., :1], 1e-12)  # dimensions that are measured at all
    U = U[..., :rank] * there[..., None, :]
    own = U.swapaxes(-1, -2) @ A
    through = own @ C[:, None]
    R = np.eye(rank) * there[..., None, :] - through @ own.swapaxes(-1, -2)
    effect = through @ moments[:, None] @ through.swapaxes(-1, -2)
    values, vectors = np.linalg.eigh(R + np.eye(rank) * ~there[..., None, :])  # rows of zeros move nothing
    half = vectors / np.sqrt(np.maximum(values, NOTHING_LEFT))[..., None, :]
    worst = np.linalg.eigvalsh(half.swapaxes(-1, -2) @ effect @ half)[..., -1]
    return np.trace(R, axis1=-2, axis2=-1), np.maximum(worst, 0.0)
