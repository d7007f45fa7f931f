"""All heads and marks together: Gauss-Newton with Levenberg's damping and a Schur complement over what they share.

Heads meet only in the marks (and, where a truss kept its shape, in its pose), so the normal equations are an arrow:
one small block per head and one narrow border. Eliminating the heads first makes the cost linear in them.

The border holds P points of three unknowns, then T trusses of six (place, turn), then, where nobody said what the hands
centred, the share between axis and pool (noise.py). Points are the marks and, where a tape ends at a fixture, a twin of
that fixture's axis point, tied to it within TIE_SIGMA.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from bridge.solve.alone import orthonormal
from bridge.solve.arrays import Array, Rows
from bridge.solve.heads import HeadBatch, PoseBatch, by_share, cost, cross_matrix, exp_so3, level, log_so3, normal
from bridge.solve.noise import SHARE

TIE_SIGMA = 0.0005
FAINT = 1e-6  # weight (1/m, 1/rad) squared that keeps a free unknown finite, so that its huge sigma can be seen


def _none(*shape: int) -> Array:
    return np.zeros(shape)


@dataclass(frozen=True)
class Border:
    """What heads share. Points: start `point` (P, 3), prior `point_at`, `point_weight` (P, 3), 1/m per axis.

    tape_ends (K, 2) point numbers, tape_metres, tape_weight (K,). ties (E, 2): head number, point number.
    truss_p, truss_R: start of each truss pose (T, 3), (T, 3, 3); truss_level (T,) weight of its level, 1/rad.
    members (Q, 2): head and truss number; member_p, member_R their pose on the truss; member_root (Q, 6, 6) with
    root^T root the information of that pose (metres, rad in the fixture frame). share_weight: 1/sigma of SHARE, 0 where
    the share is no unknown.
    """

    point: Array
    point_at: Array
    point_weight: Array
    tape_ends: Rows = field(default_factory=lambda: np.zeros((0, 2), dtype=int))
    tape_metres: Array = field(default_factory=lambda: _none(0))
    tape_weight: Array = field(default_factory=lambda: _none(0))
    ties: Rows = field(default_factory=lambda: np.zeros((0, 2), dtype=int))
    truss_p: Array = field(default_factory=lambda: _none(0, 3))
    truss_R: Array = field(default_factory=lambda: _none(0, 3, 3))
    truss_level: Array = field(default_factory=lambda: _none(0))
    members: Rows = field(default_factory=lambda: np.zeros((0, 2), dtype=int))
    member_p: Array = field(default_factory=lambda: _none(0, 3))
    member_R: Array = field(default_factory=lambda: _none(0, 3, 3))
    member_root: Array = field(default_factory=lambda: _none(0, 6, 6))
    share_weight: float = 0.0

    @property
    def size(self) -> int:
        """Unknowns in the border."""
        return 3 * len(self.point) + 6 * len(self.truss_p) + (self.share_weight > 0)


@dataclass(frozen=True)
class Estimate:
    """One guess of everything."""

    poses: PoseBatch
    point: Array
    truss_p: Array
    truss_R: Array
    share: float = SHARE

    def seen(self, heads: HeadBatch, index: Rows) -> HeadBatch:
        """The heads with their marks, and their share of the pool's offset, as guessed."""
        sight = heads.sight and heads.sight.with_share(self.share)
        return replace(heads, mark=self.point[index], sight=sight)


@dataclass(frozen=True)
class Arrow:
    """Normal equations: head blocks H (F, D, D), g (F, D); coupling W (F, D, G); border B (G, G), b (G,)."""

    chi2: float
    H: Array
    g: Array
    W: Array
    B: Array
    b: Array


@dataclass(frozen=True)
class Joint:
    """The solution: estimate, total chi-squared, covariance of each head (F, D, D), of the border (G, G), and of each
    head with the border (F, D, G)."""

    estimate: Estimate
    chi2: float
    cov_head: Array
    cov_border: Array
    cov_cross: Array


def solve_joint(heads: HeadBatch, index: Rows, border: Border, start: PoseBatch, steps: int = 30) -> Joint:
    """Least squares over all heads, points and trusses; `index` (F, N) is the point that each sighting is on."""
    share = first_share(heads)
    estimate = Estimate(start, border.point.copy(), border.truss_p.copy(), border.truss_R.copy(), share)
    arrow = _arrow(heads, index, border, estimate)
    damping = 1e-6
    for _ in range(steps):
        head_step, border_step = _step(arrow, damping)
        trial = _moved(estimate, head_step, border_step)
        chi2 = _chi2(heads, index, border, trial)
        size = max(np.max(np.abs(head_step), initial=0), np.max(np.abs(border_step), initial=0))
        if chi2 <= arrow.chi2 + 1e-12:
            gain, estimate = arrow.chi2 - chi2, trial
            arrow = _arrow(heads, index, border, estimate)
            damping = max(damping * 0.1, 1e-9)
            if size < 1e-7 or gain < 1e-7 * (1 + chi2):
                break
        else:
            damping = damping * 10 + 1e-6
            if damping > 1e8 or size < 1e-9:
                break
    poses = PoseBatch(estimate.poses.p, orthonormal(estimate.poses.R), estimate.poses.terms)
    return Joint(replace(estimate, poses=poses), arrow.chi2, *_covariance(arrow))


def first_share(heads: HeadBatch) -> float:
    """The share that the heads were given where nobody said it."""
    if heads.sight is None or not np.any(heads.sight.free):
        return SHARE
    return float(heads.sight.share[heads.sight.free][0])


def _moved(estimate: Estimate, head_step: Array, border_step: Array) -> Estimate:
    points, trusses = 3 * len(estimate.point), 6 * len(estimate.truss_p)
    by_point, by_truss, by_share = np.split(border_step, [points, points + trusses])
    by_point, by_truss = by_point.reshape(-1, 3), by_truss.reshape(-1, 6)
    return Estimate(
        estimate.poses.moved(head_step),
        estimate.point + by_point,
        estimate.truss_p + by_truss[:, :3],
        estimate.truss_R @ exp_so3(by_truss[:, 3:]),
        float(np.clip(estimate.share + np.sum(by_share), -1.0, 2.0)),
    )


def _chi2(heads: HeadBatch, index: Rows, border: Border, estimate: Estimate) -> float:
    return float(np.sum(cost(estimate.seen(heads, index), estimate.poses))) + _border_chi2(border, estimate)


def _border_chi2(border: Border, estimate: Estimate) -> float:
    parts = [
        (estimate.point - border.point_at) * border.point_weight,
        _tapes(border, estimate)[0],
        _ties(border, estimate),
    ]
    if len(border.truss_p):
        parts += [member_residuals(border, estimate)[0], _truss_level(border, estimate)[0]]
    parts.append(np.array([(estimate.share - SHARE) * border.share_weight]))
    return float(sum(np.sum(part**2) for part in parts))


def _arrow(heads: HeadBatch, index: Rows, border: Border, estimate: Estimate) -> Arrow:
    seen = estimate.seen(heads, index)
    chi2, H, g, r, J = normal(seen, estimate.poses)
    count, slots = index.shape
    points = len(border.point)
    width, size = H.shape[1], border.size
    at = J[..., :3]  # by the mark it is the negative
    per_mark = at.transpose(0, 1, 3, 2) @ at
    cross = J.transpose(0, 1, 3, 2) @ at
    pull = np.einsum("fnki,fnk->fni", at, r)
    W = np.zeros((count, points, width, 3))
    rows = np.arange(count)
    for slot in range(slots):  # a head sights a mark on each face: no doubled index within one slot
        W[rows, index[:, slot]] -= cross[:, slot]
    B4 = np.zeros((points, 3, points, 3))
    b = np.zeros(size)
    flat = index.ravel()
    for i in range(3):
        b[i : 3 * points : 3] -= np.bincount(flat, pull[..., i].ravel(), points)
        for j in range(3):
            B4[np.arange(points), i, np.arange(points), j] = np.bincount(flat, per_mark[..., i, j].ravel(), points)
    full = np.zeros((count, width, size))
    full[:, :, : 3 * points] = W.transpose(0, 2, 1, 3).reshape(count, width, 3 * points)
    B = np.zeros((size, size))
    B[: 3 * points, : 3 * points] = B4.reshape(3 * points, 3 * points)
    total = float(np.sum(chi2)) + _border_chi2(border, estimate)
    arrow = Arrow(total, H, g, full, B, b)
    _add_points(arrow, border, estimate)
    _add_ties(arrow, border, estimate)
    if len(border.truss_p):
        _add_trusses(arrow, border, estimate)
    if border.share_weight > 0:
        _add_share(arrow, border, estimate, index, (r, J, by_share(seen, estimate.poses)))
    return arrow


def _add_share(
    arrow: Arrow, border: Border, estimate: Estimate, index: Rows, slopes: tuple[Array, Array, Array]
) -> None:
    """The last unknown of the border; `slopes`: residuals (F, N, 3), derivatives by heads and by share."""
    r, J, s = slopes
    arrow.W[:, :, -1] = np.einsum("fnid,fni->fd", J, s)
    pull = -np.einsum("fnid,fni->fnd", J[..., :3], s)  # by the mark it is the negative
    points = len(border.point)
    for axis in range(3):
        column = np.bincount(index.ravel(), pull[..., axis].ravel(), points)
        arrow.B[axis : 3 * points : 3, -1] += column
        arrow.B[-1, axis : 3 * points : 3] += column
    arrow.B[-1, -1] += np.sum(s**2) + border.share_weight**2
    arrow.b[-1] += np.sum(s * r) + (estimate.share - SHARE) * border.share_weight**2


def _add_points(arrow: Arrow, border: Border, estimate: Estimate) -> None:
    n = 3 * len(border.point)
    weight = border.point_weight.ravel()
    arrow.B[np.arange(n), np.arange(n)] += weight**2
    arrow.b[:n] += ((estimate.point - border.point_at) * border.point_weight).ravel() * weight
    r, direction = _tapes(border, estimate)
    for (i, j), e, d in zip(border.tape_ends, r, direction, strict=True):
        at = np.r_[3 * i : 3 * i + 3, 3 * j : 3 * j + 3]
        row = np.concatenate([d, -d])
        arrow.B[np.ix_(at, at)] += np.outer(row, row)
        arrow.b[at] += row * e


def _tapes(border: Border, estimate: Estimate) -> tuple[Array, Array]:
    """Tape residuals (K,) and their derivatives by the first end (K, 3)."""
    gap = estimate.point[border.tape_ends[:, 0]] - estimate.point[border.tape_ends[:, 1]]
    length = np.maximum(np.linalg.norm(gap, axis=1), 1e-9)
    r = (length - border.tape_metres) * border.tape_weight
    return r, gap / length[:, None] * border.tape_weight[:, None]


def _ties(border: Border, estimate: Estimate) -> Array:
    return (estimate.poses.p[border.ties[:, 0]] - estimate.point[border.ties[:, 1]]) / TIE_SIGMA


def _add_ties(arrow: Arrow, border: Border, estimate: Estimate) -> None:
    w2 = 1 / TIE_SIGMA**2
    axes = np.arange(3)
    for (head, point), r in zip(border.ties, _ties(border, estimate), strict=True):
        at = 3 * point + axes
        arrow.H[head, axes, axes] += w2
        arrow.g[head, :3] += r / TIE_SIGMA
        arrow.W[head, axes, at] -= w2
        arrow.B[at, at] += w2
        arrow.b[at] -= r / TIE_SIGMA


def member_residuals(border: Border, estimate: Estimate) -> tuple[Array, Array, Array]:
    """Residuals of heads on trusses (Q, 6), derivatives by the head (Q, 6, 6) and by the truss (Q, 6, 6)."""
    head, truss = border.members.T
    t, T = estimate.truss_p[truss], estimate.truss_R[truss]
    p, R = estimate.poses.p[head], estimate.poses.R[head]
    back = T.transpose(0, 2, 1)
    from_truss = np.einsum("qij,qj->qi", back, p - t)
    turn = back @ R
    e = log_so3(border.member_R.transpose(0, 2, 1) @ turn)
    # a step along the prior's own axes: position on the truss, turn in the fixture frame
    J_head, J_truss = np.zeros((len(head), 6, 6)), np.zeros((len(head), 6, 6))
    right = np.eye(3) + 0.5 * cross_matrix(e)
    J_head[:, :3, :3], J_head[:, 3:, 3:] = back, right
    J_truss[:, :3, :3], J_truss[:, :3, 3:] = -back, cross_matrix(from_truss)
    J_truss[:, 3:, 3:] = -right @ turn.transpose(0, 2, 1)
    r = np.concatenate([from_truss - border.member_p, e], axis=1)
    root = border.member_root
    return np.einsum("qij,qj->qi", root, r), root @ J_head, root @ J_truss


def _truss_level(border: Border, estimate: Estimate) -> tuple[Array, Array]:
    """A truss frame is a levelled one: its z should be up."""
    n = len(border.truss_p)
    up = np.tile([0.0, 0.0, 1.0], (n, 1))
    none = np.zeros((n, 0))
    fake = HeadBatch(
        none, none, np.zeros((n, 0, 3)), none, up, up, border.truss_level, np.zeros((n, 3)), np.zeros((n, 3)),
        np.zeros(n, dtype=bool), np.zeros((n, 6)), np.zeros((n, 6)),
    )  # fmt: skip
    return level(fake, PoseBatch.at(estimate.truss_p, estimate.truss_R))


def _add_trusses(arrow: Arrow, border: Border, estimate: Estimate) -> None:
    base = 3 * len(border.point)
    r, J_head, J_truss = member_residuals(border, estimate)
    for (head, truss), e, A, C in zip(border.members, r, J_head, J_truss, strict=True):
        at = slice(base + 6 * truss, base + 6 * truss + 6)
        arrow.H[head, :6, :6] += A.T @ A
        arrow.g[head, :6] += A.T @ e
        arrow.W[head, :6, at] += A.T @ C
        arrow.B[at, at] += C.T @ C
        arrow.b[at] += C.T @ e
    up, up_J = _truss_level(border, estimate)
    for truss, (e, J) in enumerate(zip(up, up_J, strict=True)):
        at = slice(base + 6 * truss + 3, base + 6 * truss + 6)
        arrow.B[at, at] += J.T @ J
        arrow.b[at] += J.T @ e


def _reduced(arrow: Arrow, damping: float) -> tuple[Array, Array, Array]:
    """Damped head blocks, H^-1 [W g] (F, D, G + 1) and the Schur complement (G, G)."""
    H = arrow.H.copy()
    axes = np.arange(H.shape[1])
    H[:, axes, axes] += damping * H[:, axes, axes] + FAINT
    X = np.linalg.solve(H, np.concatenate([arrow.W, arrow.g[..., None]], axis=2))
    flat = arrow.W.reshape(-1, arrow.W.shape[2])
    S = arrow.B - flat.T @ X[..., :-1].reshape(flat.shape)
    n = np.arange(len(S))
    S[n, n] += damping * arrow.B[n, n] + FAINT
    return H, X, S


def _step(arrow: Arrow, damping: float) -> tuple[Array, Array]:
    _, X, S = _reduced(arrow, damping)
    right = -arrow.b + np.einsum("fdg,fd->g", arrow.W, X[..., -1])
    border = np.linalg.solve(S, right) if len(S) else np.zeros(0)
    return -X[..., -1] - X[..., :-1] @ border, border


def _covariance(arrow: Arrow) -> tuple[Array, Array, Array]:
    H, X, S = _reduced(arrow, 0.0)
    scale = 1 / np.sqrt(np.diag(S))
    border = np.linalg.inv(S * scale[:, None] * scale) * scale[:, None] * scale if len(S) else S
    spread = X[..., :-1]
    cross = -spread @ border
    return np.linalg.inv(H) - cross @ spread.transpose(0, 2, 1), border, cross
