"""Whether a truss still has the shape of the earlier poses: placed from what agrees, and each head tested on it.

A truss has six unknowns. Each head's sightings are predicted from it; what the hand, the survey, the slip of heads on
a truss and the earlier poses leave open is their variance V. Each head is tested against all the others (a deletion
test, as in reliability.py): heads that fail are let go, worst first, and taken back where they fit after all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.carry import LEAST_SIGHTINGS, TRUSS_LEVEL_SIGMA, CarriedTruss, only, place_truss
from bridge.solve.case import Case
from bridge.solve.heads import HeadBatch, PoseBatch, cross_matrix, exp_so3, sightings

SLIPPED = 3e-4  # chance that a sound head on a truss is taken for one that slipped
MOST_TRIES = 60  # threes of heads that a truss is placed from
WILD = 60.0  # chi-squared beyond which a head tells nothing while places are compared
MOST_GONE = 0.4  # share of the sighted heads that may be let go before the truss itself is doubted
NO_CHECK = 1e-9


@dataclass(frozen=True)
class Model:
    """Sightings of n heads as a linear model of their truss where it is: residuals r (n, 3N), J (n, 3N, 6) by the head,
    A (n, 6, 6) of the head by the truss, S (n, 6, 6) covariance of the head on it, W (n, 3N, 3N) = V^-1."""

    r: Array
    J: Array
    A: Array
    S: Array
    W: Array

    @property
    def G(self) -> Array:
        """Derivatives (n, 3N, 6) by the truss."""
        return self.J @ self.A


@dataclass(frozen=True)
class TrussCheck:
    """A truss at `place` (t, T), its heads by `rows` of the case: chi-squared (n,) against all others, the `limit` and
    `dof` of that (0: not sighted), which are `kept`. `C` (6, 6): covariance of the truss. `doubted`: too few agree, or
    nothing says which do."""

    truss: CarriedTruss
    rows: Rows
    place: tuple[Array, Array]
    chi2: Array
    limit: Array
    dof: Rows
    kept: Mask
    C: Array
    model: Model
    doubted: bool

    @property
    def let_go(self) -> Rows:
        """Rows of the heads that are not solved on the truss: those that fail, or all where it is doubted."""
        return self.rows if self.doubted else self.rows[~self.kept]

    @property
    def poses(self) -> PoseBatch:
        """Where the truss alone puts its heads."""
        return poses_on(self.truss, self.place)


def poses_on(truss: CarriedTruss, place: tuple[Array, Array]) -> PoseBatch:
    """Poses (n) of the heads of a truss at a place and turn."""
    t, T = place
    return PoseBatch.at(t + truss.p @ T.T, T @ truss.R)


def check_trusses(case: Case, trusses: Sequence[CarriedTruss], points: Array, sigma: Array) -> tuple[TrussCheck, ...]:
    """Those trusses that their sightings place."""
    found = (check_truss(case, truss, points, sigma) for truss in trusses)
    return tuple(check for check in found if check is not None)


def kept_trusses(checks: Sequence[TrussCheck]) -> list[tuple[CarriedTruss, tuple[Array, Array]]]:
    """The trusses to solve with, each with the heads that it keeps, at its place."""
    return [(only(c.truss, c.kept), c.place) for c in checks if not c.doubted]


def check_truss(case: Case, truss: CarriedTruss, points: Array, sigma: Array) -> TrussCheck | None:
    """The truss from the sightings of its heads on marks at `points` (P, 3), known to `sigma` (P,). None where these
    cannot place it."""
    number = {name: i for i, name in enumerate(case.names)}
    rows = np.array([number[name] for name in truss.names])
    heads = case.alone(points, np.minimum(sigma, 1.0)).take(rows)
    seen = np.count_nonzero(heads.weight, axis=1)
    if np.sum(seen) < LEAST_SIGHTINGS:
        return None
    limit = _limit(2 * seen)
    best = None
    for place in _starts(case, truss, rows, points, heads, seen):
        settled = _settle(heads, truss, place, seen > 0, limit)
        score = float(np.sum(np.minimum(settled[1] / limit, 2.0)))
        if best is None or score < best[0] - 1e-6:
            best = score, settled
        if np.all(settled[2]):
            break  # all heads agree
    if best is None:
        return None
    place, chi2, kept, C, model = best[1]
    gone = (seen > 0) & ~kept
    doubted = bool(np.sum(gone) > max(1, MOST_GONE * np.sum(seen > 0)))
    if np.any(gone) and not doubted:
        doubted = np.sum(seen[kept]) < LEAST_SIGHTINGS or _another_would_do(heads, truss, place, seen, kept, limit)
    return TrussCheck(truss, rows, place, chi2, limit, 2 * seen, kept, C, model, doubted)


def _limit(dof: Rows) -> Array:
    from scipy.special import gammainccinv

    return np.asarray(2 * gammainccinv(np.maximum(dof, 1) / 2, SLIPPED))


def _starts(
    case: Case, truss: CarriedTruss, rows: Rows, points: Array, heads: HeadBatch, seen: Rows
) -> Iterator[tuple[Array, Array]]:
    """Places to settle from: that of all heads, then the best ones of three heads each."""
    everyone = place_truss(case, truss, rows, points)
    if everyone is not None:
        yield everyone
    threes = list(combinations(np.flatnonzero(seen > 0), 3))
    if len(threes) > MOST_TRIES:
        chosen = np.random.default_rng(1).choice(len(threes), MOST_TRIES, replace=False)
        threes = [threes[k] for k in sorted(chosen)]
    tried: list[tuple[float, int, tuple[Array, Array]]] = []
    for three in threes:
        some = np.isin(np.arange(len(rows)), three)
        place = place_truss(case, only(truss, some), rows[some], points)
        if place is not None:
            model = _model(heads, truss, place)
            chi2 = np.einsum("ni,nij,nj->n", model.r, model.W, model.r)
            tried.append((float(np.sum(np.minimum(chi2, WILD))), len(tried), place))
    yield from (place for _, _, place in sorted(tried, key=lambda item: item[:2])[:4])


def _model(heads: HeadBatch, truss: CarriedTruss, place: tuple[Array, Array]) -> Model:
    _, T = place
    on = poses_on(truss, place)
    r, J = sightings(heads, PoseBatch(on.p, on.R, heads.terms_prior))
    assert J is not None
    n = len(heads)
    J = J[..., :6].reshape(n, -1, 6)
    A, turn = np.zeros((n, 6, 6)), np.zeros((n, 6, 6))
    A[:, :3, :3], A[:, :3, 3:], A[:, 3:, 3:] = np.eye(3), -T @ cross_matrix(truss.p), truss.R.swapaxes(1, 2)
    turn[:, :3, :3], turn[:, 3:, 3:] = T, np.eye(3)
    S = turn @ np.linalg.inv(truss.root.swapaxes(1, 2) @ truss.root) @ turn.swapaxes(1, 2)
    W = np.asarray(np.linalg.inv(np.eye(J.shape[1]) + J @ S @ J.swapaxes(1, 2)), dtype=np.float64)
    return Model(r.reshape(n, -1), J, A, S, W)


def _fit(
    heads: HeadBatch, truss: CarriedTruss, place: tuple[Array, Array], kept: Mask, steps: int = 12
) -> tuple[tuple[Array, Array], Array, Model]:
    """The truss by least squares over the kept heads and its level (Gauss-Newton), its covariance, the model there."""
    model, C = _model(heads, truss, place), np.eye(6)
    for _ in range(steps):
        GW = (model.G.swapaxes(1, 2) @ model.W) * kept[:, None, None]
        N, g = np.sum(GW @ model.G, axis=0), np.einsum("nij,nj->i", GW, model.r)
        up = place[1].T @ np.array([0.0, 0.0, 1.0])  # level: small turns about x and y of the truss
        N[[3, 4], [3, 4]] += 1 / TRUSS_LEVEL_SIGMA**2
        g[3:5] += np.array([up[1], -up[0]]) / TRUSS_LEVEL_SIGMA**2
        C = np.linalg.inv(N + 1e-6 * np.eye(6))
        move = -C @ g
        place = place[0] + move[:3], place[1] @ exp_so3(move[3:])
        model = _model(heads, truss, place)
        if np.max(np.abs(move)) < 1e-6:
            break
    return place, C, model


def _deletion(model: Model, C: Array, kept: Mask) -> Array:
    """Chi-squared (n,) of each head against the truss as all other kept heads place it."""
    V = np.linalg.inv(model.W)
    spread = V - np.where(kept, 1.0, -1.0)[:, None, None] * (model.G @ C @ model.G.swapaxes(1, 2))
    values, vectors = np.linalg.eigh(spread)
    along = np.einsum("nji,nj->ni", vectors, model.r)
    return np.asarray(np.sum(np.where(values > NO_CHECK, along**2 / np.maximum(values, NO_CHECK), 0.0), axis=1))


def _settle(
    heads: HeadBatch, truss: CarriedTruss, place: tuple[Array, Array], sighted: Mask, limit: Array
) -> tuple[tuple[Array, Array], Array, Mask, Array, Model]:
    """Fit, let the worst head go or take one back, fit again, until all kept heads agree and no other does."""
    model = _model(heads, truss, place)
    rough = np.einsum("ni,nij,nj->n", model.r, model.W, model.r)
    kept = (rough < max(WILD, float(np.median(rough[sighted])) * 4)) | ~sighted
    tried = ~sighted  # heads that were taken back once
    while True:
        place, C, model = _fit(heads, truss, place, kept)
        chi2 = np.where(sighted, _deletion(model, C, kept), 0.0)
        over = np.where(kept, chi2 / limit, 0.0)
        back = np.where(~kept & ~tried & (chi2 <= limit), chi2, np.inf)
        if np.max(over) > 1:
            kept = kept & (np.arange(len(kept)) != np.argmax(over))
        elif np.min(back) < np.inf:
            one = np.arange(len(kept)) == np.argmin(back)
            kept, tried = kept | one, tried | one
        else:
            break
    return place, chi2, kept, C, model


def _another_would_do(
    heads: HeadBatch, truss: CarriedTruss, place: tuple[Array, Array], seen: Rows, kept: Mask, limit: Array
) -> bool:
    """Whether some other head let go instead of the one that was would make the rest agree as well."""
    gone = np.flatnonzero((seen > 0) & ~kept)
    if len(gone) > 1:
        return False
    for other in np.flatnonzero((seen > 0) & kept):
        trial = np.ones(len(kept), dtype=bool)
        trial[other] = False
        _, C, model = _fit(heads, truss, place, trial)
        if np.all((_deletion(model, C, trial) <= limit)[trial & (seen > 0)]):
            return True
    return False
