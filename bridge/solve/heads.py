"""What is known of F heads, as padded arrays, and the residuals of their sightings and priors with derivatives.

Every head has six unknowns, position `p` (m, stage frame) and a small turn `w` (rad, fixture frame, R <- R exp(w)),
and, where it was sighted on both faces, the six mechanical terms of conventions.md. Residuals are divided by their
sigma, so that half the sum of squares is the negative log likelihood:

    sighting  (q - |q| u) / sigma, q = the mark seen from the lens, u = the beam, both in the fixture frame.
              Three components of rank two. Angle differences are singular under the head, and a point-to-line
              distance has a mirror solution below the floor (facts/solver.md).
    level     the turn between where up should be and where it is, two degrees of freedom; yaw stays free
    position  (p - at) / sigma
    terms     (term - expected) / sigma
    frame     six components against a predicted pose (a truss that kept its shape)
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from bridge.geometry.frames import rotation_x, rotation_y, rotation_z
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.noise import Sighted
from bridge.solve.pool import toward_axis

TERM_SIGMA = np.array([np.radians(0.5), np.radians(0.2), np.radians(0.1), 0.05, 0.05, 0.001])


@dataclass(frozen=True)
class HeadBatch:
    """F heads with up to N sightings each; unused slots have weight 0.

    pan, tilt (F, N) rad as sent; mark (F, N, 3) m; weight (F, N) = 1/sigma per metre. The level prior says that
    `level_stage` (F, 3) in the stage frame is `level_fixture` (F, 3) in the fixture frame, weight (F,) per rad.
    at, at_weight (F, 3). terms_on (F,) says which heads have mechanical terms as unknowns, around `terms_prior`
    with `terms_weight` (F, 6), order of geometry.mechanics.TERMS. `sight` says how they were sighted (None: the axis on
    the mark, by motors without steps or play).
    """

    pan: Array
    tilt: Array
    mark: Array
    weight: Array
    level_stage: Array
    level_fixture: Array
    level_weight: Array
    at: Array
    at_weight: Array
    terms_on: Mask
    terms_prior: Array
    terms_weight: Array
    sight: Sighted | None = None

    def __len__(self) -> int:
        return len(self.pan)

    def take(self, rows: Rows | Mask) -> HeadBatch:
        """The heads of these rows (indices or a mask), in that order; rows may repeat."""
        arrays = {f.name: getattr(self, f.name)[rows] for f in fields(self) if f.name != "sight"}
        return HeadBatch(**arrays, sight=self.sight and self.sight.take(rows))

    def in_metres(self) -> HeadBatch:
        """The same heads, their sightings weighted so that residuals are metres across the beam."""
        sight = self.sight and replace(self.sight, axis=np.zeros_like(self.sight.axis))
        return replace(self, weight=np.ones_like(self.weight), sight=sight)

    @property
    def data_count(self) -> Rows:
        """Number of independent measurements (F,), priors included; less the unknowns these are degrees of freedom."""
        level = np.where(self.level_weight > 0, 2, 0)
        return 2 * np.count_nonzero(self.weight, axis=1) + level + np.count_nonzero(self.at_weight, axis=1)


@dataclass(frozen=True)
class PoseBatch:
    """p (F, 3) m, R (F, 3, 3) stage_from_fixture, terms (F, 6) rad and m."""

    p: Array
    R: Array
    terms: Array

    @classmethod
    def at(cls, p: Array, R: Array) -> PoseBatch:
        """Perfect heads at these poses."""
        return cls(p, R, np.zeros((len(p), 6)))

    def take(self, rows: Rows | Mask) -> PoseBatch:
        """The poses of these rows."""
        return PoseBatch(self.p[rows], self.R[rows], self.terms[rows])

    def moved(self, step: Array) -> PoseBatch:
        """After a step (F, 6) or (F, 12): metres, rad in the fixture frame, terms."""
        terms = self.terms if step.shape[1] == 6 else self.terms + step[:, 6:]
        return PoseBatch(self.p + step[:, :3], self.R @ exp_so3(step[:, 3:6]), terms)

    def put(self, rows: Rows | Mask, others: PoseBatch) -> PoseBatch:
        """These poses with those of `rows` exchanged for `others`, in that order."""
        p, R, terms = self.p.copy(), self.R.copy(), self.terms.copy()
        p[rows], R[rows], terms[rows] = others.p, others.R, others.terms
        return PoseBatch(p, R, terms)

    def where(self, mask: Mask, other: PoseBatch) -> PoseBatch:
        """These poses where the mask (F,) is true, the other ones elsewhere."""
        wide = mask[:, None]
        return PoseBatch(
            np.where(wide, self.p, other.p),
            np.where(wide[..., None], self.R, other.R),
            np.where(wide, self.terms, other.terms),
        )


def exp_so3(w: Array) -> Array:
    """Rotation matrices (..., 3, 3) of rotation vectors (..., 3), rad (Rodrigues)."""
    angle2 = np.einsum("...i,...i->...", w, w)[..., None, None]
    angle = np.sqrt(angle2)
    small = angle < 1e-4
    safe = np.where(small, 1.0, angle)
    a = np.where(small, 1 - angle2 / 6, np.sin(safe) / safe)
    b = np.where(small, 0.5 - angle2 / 24, (1 - np.cos(safe)) / safe**2)
    k = cross_matrix(w)
    return np.eye(3) + a * k + b * (k @ k)


def log_so3(R: Array) -> Array:
    """Rotation vectors (..., 3) of rotation matrices; accurate below some 179 deg."""
    v = np.stack([R[..., 2, 1] - R[..., 1, 2], R[..., 0, 2] - R[..., 2, 0], R[..., 1, 0] - R[..., 0, 1]], axis=-1)
    sin2 = np.linalg.norm(v, axis=-1)
    angle = np.arctan2(sin2, np.trace(R, axis1=-2, axis2=-1) - 1)
    return np.asarray(v * np.where(sin2 > 1e-9, angle / np.maximum(sin2, 1e-12), 0.5)[..., None])


def cross_matrix(v: Array) -> Array:
    """[v]x, so that [v]x a = v cross a. (..., 3) -> (..., 3, 3)."""
    out = np.zeros((*v.shape, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


def sightings(heads: HeadBatch, poses: PoseBatch, derive: bool = True) -> tuple[Array, Array | None]:
    """Residuals (F, N, 3) and their derivatives (F, N, 3, D), D = 6, or 12 if any head has terms.

    By the mark's place the derivative is the negative of the first three columns.
    """
    v, by_mark = _lines(heads, poses)
    use_terms = bool(np.any(heads.terms_on)) or bool(np.any(poses.terms))
    u, lens, term_parts = _beam(heads, poses, derive) if use_terms else (_perfect(heads), 0.0, None)
    q = v - lens
    length = np.sqrt(np.einsum("fni,fni->fn", q, q))
    r = _weighted(heads, (q - length[..., None] * u)[..., None])[..., 0]
    if not derive:
        return r, None
    q_hat = q / np.maximum(length, 1e-9)[..., None]
    J = np.empty((*r.shape, 12 if np.any(heads.terms_on) else 6))
    # every derivative is dq - u (q_hat . dq): first along p, then along w
    J[..., :3] = u[..., :, None] * (q_hat[..., None, :] @ by_mark) - by_mark
    turn = cross_matrix(v)
    J[..., 3:6] = turn
    if use_terms:  # q_hat . [v]x is zero only without a lens offset
        J[..., 3:6] -= u[..., :, None] * np.einsum("fni,fnij->fnj", q_hat, turn)[..., None, :]
    if J.shape[-1] == 12:
        assert term_parts is not None
        dq, du = term_parts
        J[..., 6:] = dq - u[..., :, None] * np.einsum("fni,fnij->fnj", q_hat, dq)[..., None, :]
        J[..., 6:] -= length[..., None, None] * du
        J[..., 6:] *= heads.terms_on[:, None, None, None]
    return r, _weighted(heads, J)


def by_share(heads: HeadBatch, poses: PoseBatch) -> Array:
    """Derivatives (F, N, 3) of the residuals of `sightings` by the share that nobody said (noise.py)."""
    if heads.sight is None or not heads.sight.undecided:
        return np.zeros((*heads.pan.shape, 3))
    v = heads.mark - poses.p[:, None]
    _, _, slope = toward_axis(v, heads.sight.half, heads.sight.share)
    d = np.where(heads.sight.free[..., None], slope, 0.0) @ poses.R
    return _weighted(heads, d[..., None])[..., 0]  # a line that is turned keeps its length


def _lines(heads: HeadBatch, poses: PoseBatch) -> tuple[Array, Array]:
    """From where the axes meet to where the beam's axis was when sighted (F, N, 3), fixture frame; by the mark's place
    (F or 1, N or 1, 3, 3)."""
    turn = poses.R.transpose(0, 2, 1)[:, None]
    v = heads.mark - poses.p[:, None]
    if heads.sight is None or not heads.sight.oblique:
        return v @ poses.R, turn  # rows times R: R^T (m - p)
    v, by_v, _ = toward_axis(v, heads.sight.half, heads.sight.share)
    return v @ poses.R, turn @ by_v


def _weighted(heads: HeadBatch, x: Array) -> Array:
    """Residuals or derivatives (F, N, 3, K) across the beam, over their sigma: that of pan across the turn of tilt."""
    if heads.sight is None or not np.any(heads.sight.axis):
        return np.asarray(x * heads.weight[..., None, None])
    w, w_pan = heads.sight.across(heads.weight, heads.tilt)
    aside = np.stack([np.cos(heads.pan), np.sin(heads.pan), np.zeros_like(heads.pan)], axis=-1)
    part = np.einsum("fni,fnik->fnk", aside, x) * (w_pan - w)[..., None]
    return np.asarray(x * w[..., None, None] + aside[..., None] * part[..., None, :])


def _perfect(heads: HeadBatch) -> Array:
    sin_tilt = np.sin(heads.tilt)
    return np.stack([-np.sin(heads.pan) * sin_tilt, np.cos(heads.pan) * sin_tilt, -np.cos(heads.tilt)], axis=-1)


def _beam(heads: HeadBatch, poses: PoseBatch, derive: bool) -> tuple[Array, Array, tuple[Array, Array] | None]:
    """Beam u and lens place (F, N, 3), fixture frame; derivatives by term of the lens place (negated) and of u."""
    t = poses.terms[:, None, :]
    pan, square, tilt = (1 + t[..., 5]) * heads.pan, t[..., 1], heads.tilt + t[..., 0]
    Z, Y, X = rotation_z(pan), np.broadcast_to(rotation_y(square), (*pan.shape, 3, 3)), rotation_x(tilt)
    axis = Z @ Y @ X
    c = np.broadcast_to(t[..., 2], pan.shape)
    down = np.stack([-np.sin(c), np.zeros_like(c), -np.cos(c)], axis=-1)
    lens = np.stack([t[..., 3], t[..., 4], np.zeros_like(t[..., 3])], axis=-1)
    lens = np.broadcast_to(lens, down.shape)
    u, at = _turn(axis, down), _turn(axis, lens)
    if not derive:
        return u, at, None
    d_down = np.stack([-np.cos(c), np.zeros_like(c), np.sin(c)], axis=-1)
    dq, du = np.zeros((*pan.shape, 3, 6)), np.zeros((*pan.shape, 3, 6))
    # a turn about an axis e in the middle of a chain moves its image by (chain before · e) cross image
    for column, spin in (
        (0, axis[..., :, 0]),
        (1, Z[..., :, 1]),
        (5, heads.pan[..., None] * np.array([0.0, 0, 1])),
    ):
        dq[..., column], du[..., column] = -np.cross(spin, at), np.cross(spin, u)
    du[..., 2] = _turn(axis, d_down)
    dq[..., 3], dq[..., 4] = -axis[..., :, 0], -axis[..., :, 1]
    return u, at, (dq, du)


def _turn(R: Array, v: Array) -> Array:
    return np.einsum("...ij,...j->...i", R, v)


def level(heads: HeadBatch, poses: PoseBatch) -> tuple[Array, Array]:
    """Residuals (F, 3), derivatives by w (F, 3, 3): the turn from the expected to the actual direction of up."""
    f = heads.level_fixture
    g = np.einsum("fji,fj->fi", poses.R, heads.level_stage)
    axis = np.cross(f, g)
    sin, cos = np.linalg.norm(axis, axis=1), np.einsum("fi,fi->f", f, g)
    angle = np.arctan2(sin, cos)
    near = sin < 1e-3
    safe = np.where(near, 1.0, sin)
    scale = np.where(near, np.where(cos > 0, 1 + sin**2 / 6, np.pi / np.maximum(sin, 1e-3)), angle / safe)
    slope = np.where(near, -1 / 3, (cos * angle - safe) / safe**3)  # d scale / d cos
    dg = cross_matrix(g)
    J = scale[:, None, None] * (cross_matrix(f) @ dg)
    J += (slope[:, None] * axis)[:, :, None] * np.einsum("fi,fij->fj", f, dg)[:, None, :]
    w = heads.level_weight[:, None]
    return scale[:, None] * axis * w, J * w[..., None]


def cost(heads: HeadBatch, poses: PoseBatch) -> Array:
    """Chi-squared of each head (F,): sightings and priors."""
    r, _ = sightings(heads, poses, derive=False)
    total = np.einsum("fni,fni->f", r, r) + prior_cost(heads, poses)
    return np.asarray(total)


def prior_cost(heads: HeadBatch, poses: PoseBatch) -> Array:
    """Chi-squared of the priors alone (F,)."""
    flat, _ = level(heads, poses)
    at = (poses.p - heads.at) * heads.at_weight
    total = np.einsum("fi,fi->f", flat, flat) + np.einsum("fi,fi->f", at, at)
    if np.any(heads.terms_on):
        terms = (poses.terms - heads.terms_prior) * heads.terms_weight * heads.terms_on[:, None]
        total = total + np.einsum("fi,fi->f", terms, terms)
    return np.asarray(total)


def normal(heads: HeadBatch, poses: PoseBatch) -> tuple[Array, Array, Array, Array, Array]:
    """Normal equations of each head: chi-squared (F,), H (F, D, D), J^T r (F, D); and sightings' r, J.

    Unknowns that a head does not have get a unit diagonal, so that every H can be inverted together.
    """
    r, J = sightings(heads, poses)
    assert J is not None
    count, slots, _, width = J.shape
    flat_J, flat_r = J.reshape(count, 3 * slots, width), r.reshape(count, 3 * slots, 1)
    JT = flat_J.transpose(0, 2, 1)
    H, g = JT @ flat_J, (JT @ flat_r)[..., 0]
    chi2 = np.einsum("fi,fi->f", flat_r[..., 0], flat_r[..., 0])
    up, up_J = level(heads, poses)
    up_JT = up_J.transpose(0, 2, 1)
    H[:, 3:6, 3:6] += up_JT @ up_J
    g[:, 3:6] += (up_JT @ up[..., None])[..., 0]
    at = (poses.p - heads.at) * heads.at_weight
    axes = np.arange(3)
    H[:, axes, axes] += heads.at_weight**2
    g[:, :3] += at * heads.at_weight
    chi2 = chi2 + np.einsum("fi,fi->f", up, up) + np.einsum("fi,fi->f", at, at)
    if width == 12:
        on = heads.terms_on[:, None]
        weight = heads.terms_weight * on
        terms = (poses.terms - heads.terms_prior) * weight
        axes = np.arange(6, 12)
        H[:, axes, axes] += np.where(on, weight**2, 1.0)
        g[:, 6:] += terms * weight
        chi2 = chi2 + np.einsum("fi,fi->f", terms, terms)
    return chi2, H, g, r, J
