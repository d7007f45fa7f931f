"""A first pose for every head without a guess.

With the level of the base known, a head sees the marks in plan up to a turn and a scale, its height:

    m_xy = p_xy + (p_z - m_z) · Rot(yaw) · (-d_xy / d_z),   d = the beam with yaw 0

a 2-D similarity, linear in complex numbers. Beams near the horizontal, heads on side arms and levels that are not
what the plot says are found by a wider search: assumed positions, rotation by Wahba's problem (SVD), refined.
"""

from __future__ import annotations

import numpy as np

from bridge.geometry.frames import beam_in_fixture
from bridge.solve.alone import refine
from bridge.solve.arrays import Array, Mask
from bridge.solve.heads import HeadBatch, PoseBatch, cost, level, sightings

DOWN_ENOUGH = -0.08  # beams flatter than this make the similarity too weak to start from
KEEP = 10


def closed_form(heads: HeadBatch, hang: Array) -> tuple[PoseBatch, Mask]:
    """PoseBatch from the similarity, and which (F,) can be used. `hang` (F, 3, 3): stage_from_fixture at any yaw."""
    d = beam_in_fixture(heads.pan, heads.tilt) @ hang.transpose(0, 2, 1)
    used = heads.weight > 0
    steep = np.where(used, d[..., 2], -1.0)
    w = np.where(used, steep**2, 0.0)
    tau = -(d[..., 0] + 1j * d[..., 1]) / np.where(steep < DOWN_ENOUGH, steep, DOWN_ENOUGH)
    m, z = heads.mark[..., 0] + 1j * heads.mark[..., 1], heads.mark[..., 2]
    level_z = np.sum(w * z, axis=1) / np.maximum(np.sum(w, axis=1), 1e-12)
    above = np.full(len(heads), np.inf)
    total = np.maximum(np.sum(w, axis=1), 1e-12)[:, None]
    for _ in range(4):  # marks at several heights: shrink each by its own share of the height
        t = tau * (1 - (z - level_z[:, None]) / above[:, None])
        t_mid, m_mid = (
            np.sum(w * t, axis=1, keepdims=True) / total,
            np.sum(w * m, axis=1, keepdims=True) / total,
        )
        spread = np.sum(w * np.abs(t - t_mid) ** 2, axis=1)
        a = np.sum(w * np.conj(t - t_mid) * (m - m_mid), axis=1) / np.maximum(spread, 1e-12)
        above = np.maximum(np.abs(a), 0.2)
    xy = m_mid[:, 0] - a * t_mid[:, 0]
    p = np.stack([xy.real, xy.imag, level_z + above], axis=-1)
    turn = a / np.maximum(np.abs(a), 1e-12)
    R = _about_z(turn) @ hang
    good = np.all(steep < DOWN_ENOUGH, axis=1) & (np.count_nonzero(used, axis=1) >= 2) & (spread > 1e-6)
    return PoseBatch.at(p, R), good


def _about_z(turn: Array) -> Array:
    R = np.zeros((len(turn), 3, 3))
    R[:, 0, 0] = R[:, 1, 1] = turn.real
    R[:, 1, 0], R[:, 0, 1], R[:, 2, 2] = turn.imag, -turn.imag, 1.0
    return R


def search(heads: HeadBatch, hints: Array) -> tuple[PoseBatch, Array]:
    """The best pose above the floor from many assumed positions; `hints` (F, 3), NaN where there is none.

    Returns poses and chi-squared (F,); where every minimum is below the floor, the best assumed place as it is.
    """
    count = len(heads)
    places = _places(heads, hints)
    per = places.shape[1]
    many = heads.take(np.repeat(np.arange(count), per))
    R = wahba(many, places.reshape(-1, 3))
    rough = _angular(many, PoseBatch.at(places.reshape(-1, 3), R)).reshape(count, per)
    best = np.argsort(rough, axis=1)[:, :KEEP]
    rows = (np.arange(count)[:, None] * per + best).ravel()
    poses, chi2 = refine(many.take(rows), PoseBatch.at(places.reshape(-1, 3)[rows], R[rows]), steps=60)
    sunk = poses.p[:, 2] < floor_under(heads)[np.repeat(np.arange(count), best.shape[1])]
    first = PoseBatch.at(places.reshape(-1, 3)[rows], R[rows])
    poses = first.where(sunk, poses)  # all assumed places are above the floor: better a bad fit than a buried head
    chi2 = np.where(sunk, cost(many.take(rows), first), chi2).reshape(best.shape)
    choice = np.argmin(chi2, axis=1)
    return poses.take(np.arange(count) * best.shape[1] + choice), chi2[np.arange(count), choice]


def floor_under(heads: HeadBatch) -> Array:
    """Height (F,) below which no head can be: a little below the stage, or below the lowest mark it sighted if that is
    lower; -inf where it sighted none. A head that stands on the floor is below all its marks where they are raised."""
    lowest = np.min(np.where(heads.weight > 0, heads.mark[..., 2], np.inf), axis=1)
    return np.where(np.isfinite(lowest), np.minimum(lowest, 0.0) - 0.3, -np.inf)


def _places(heads: HeadBatch, hints: Array) -> Array:
    """Assumed positions (F, P, 3): round the marks, near and far, low and high, and the hint."""
    used = (heads.weight > 0)[..., None]
    low = np.min(np.where(used, heads.mark, np.inf), axis=1)
    high = np.max(np.where(used, heads.mark, -np.inf), axis=1)
    middle, reach = (low + high) / 2, np.maximum(np.max((high - low)[:, :2], axis=1), 6.0)
    steps = np.array([-2.2, -1.4, -0.7, 0.0, 0.7, 1.4, 2.2])
    heights = np.array([0.5, 2.0, 5.0, 9.0, 15.0])
    x, y, z = (g.ravel() for g in np.meshgrid(steps, steps, heights, indexing="ij"))
    plan = middle[:, None, :2] + reach[:, None, None] * np.stack([x, y], axis=-1)
    places = np.concatenate([plan, np.broadcast_to(low[:, None, 2:] + z[:, None], (len(heads), len(z), 1))], axis=2)
    hint = np.where(np.isfinite(hints), hints, places[:, 0])
    return np.concatenate([places, hint[:, None]], axis=1)


def wahba(heads: HeadBatch, p: Array) -> Array:
    """Rotations (F, 3, 3) that turn the beams best onto the marks seen from p, and up onto up (Markley 1988, SVD)."""
    u = beam_in_fixture(heads.pan, heads.tilt)
    v = heads.mark - p[:, None]
    v = v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-6)
    B = np.einsum("fn,fni,fnj->fij", (heads.weight > 0).astype(float), v, u)
    B += (0.3 * (heads.level_weight > 0))[:, None, None] * heads.level_stage[:, :, None] * heads.level_fixture[:, None]
    U, _, Vt = np.linalg.svd(B)
    flip = np.linalg.det(U) * np.linalg.det(Vt)
    U[..., 2] *= flip[:, None]
    return np.asarray(U @ Vt)


def _angular(heads: HeadBatch, poses: PoseBatch) -> Array:
    """Chi-squared with each miss divided by its distance: fair between near and far assumed positions."""
    r, _ = sightings(heads, poses, derive=False)
    far = np.linalg.norm(heads.mark - poses.p[:, None], axis=-1)
    miss = r / np.maximum(far, 0.3)[..., None] * 10.0
    up, _ = level(heads, poses)
    return np.asarray(np.einsum("fni,fni->f", miss, miss) + np.einsum("fi,fi->f", up, up))


def solve_alone(
    heads: HeadBatch,
    hang: Array,
    hints: Array,
    limit: Array,
    unstarted_only: bool = False,
    steps: int = 40,
) -> tuple[PoseBatch, Array]:
    """Pose and chi-squared of every head by itself: closed form first, search where it does not fit `limit` (F,), or,
    with `unstarted_only`, where the closed form could not start. Chi-squared is infinite where that ended below the
    floor and no search was made."""
    poses, good = closed_form(heads, hang)
    poses = PoseBatch(poses.p, poses.R, heads.terms_prior.copy())
    chi2 = np.full(len(heads), np.inf)
    rows = np.flatnonzero(good)
    if len(rows):
        part, part_chi2 = refine(heads if len(rows) == len(heads) else heads.take(rows), poses.take(rows), steps)
        sunk = part.p[:, 2] < floor_under(heads)[rows]
        chi2[rows] = np.where(sunk, np.inf, part_chi2)
        poses.p[rows], poses.R[rows], poses.terms[rows] = part.p, part.R, part.terms
    rows = np.flatnonzero(~good if unstarted_only else ~(chi2 <= limit))
    if len(rows):
        wide, wide_chi2 = search(heads.take(rows), hints[rows])
        better = wide_chi2 < chi2[rows] - 1e-6
        take = rows[better]
        poses.p[take], poses.R[take], poses.terms[take] = wide.p[better], wide.R[better], wide.terms[better]
        chi2[take] = wide_chi2[better]
    return poses, chi2
