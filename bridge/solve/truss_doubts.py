"""What is said of trusses that were carried over: heads that hang on them no longer, trusses of another shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.solve.arrays import Array, Mask
from bridge.solve.carry import CarriedTruss
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, PoseBatch, exp_so3, sightings
from bridge.solve.judge import miss_on_floor
from bridge.solve.result import OffTruss, OtherTruss, Suspect
from bridge.solve.truss_check import TrussCheck, check_truss
from bridge.solve.truss_hidden import hidden_moves, moves

ALONG = np.arange(-6.0, 6.01, 0.05)  # metres that a head may have been moved along its truss
TURNED = np.radians(np.arange(-179.5, 180.1, 0.5))  # and turned about the vertical


def hidden_on_trusses(fit: Fit, moments: Array) -> Array:
    """Rms aim error (F,) that a moved or turned head on a truss could hide (truss_check.py); 0 for all others.
    `moments` (F, D, D): aim_moments."""
    out = np.zeros(len(fit.solved))
    for check in fit.checks:
        on = check.kept & (not check.doubted)
        out[check.rows[on]] = hidden_moves(check, moments[check.rows][:, :6, :6])[on]
    return out


def truss_suspects(fit: Fit, verified: Mask) -> list[Suspect]:
    """Heads that do not fit their truss, unless their own sightings prove where they are, and trusses that none of
    their heads can be told to fit."""
    out: list[Suspect] = []
    for check in fit.checks:
        unproven = [int(r) for r in check.let_go if not verified[r]]
        if check.doubted:
            out += [_other_shape(fit, check, unproven)] if unproven else []
            continue
        crossed = _crossed(fit, check)
        out += [s for s in crossed if number_in(fit, s.fixture) in unproven or number_in(fit, s.also) in unproven]
        named = {name for s in crossed for name in (s.fixture, s.also)}
        out += [_off_truss(fit, check, row) for row in unproven if fit.case.names[row] not in named]
    return sorted(out, key=lambda s: -s.misfit)


def surveyed_by_heads(fit: Fit) -> Mask:
    """Marks (M,) whose survey the sightings can be held against: with trusses carried over, those that two heads with a
    second mark sighted. A head with one sighting that does not fit was moved more likely than its mark."""
    count = len(fit.case.marks)
    if not fit.checks:
        return np.ones(count, dtype=bool)
    several = fit.case.used & (fit.case.distinct_marks() >= 2)[:, None]
    return np.bincount(fit.case.index[several], minlength=count)[:count] >= 2


def number_in(fit: Fit, name: str | None) -> int:
    """The row of a fixture, -1 where it has none."""
    return fit.case.names.index(name) if name in fit.case.names else -1


def _worst(fit: Fit, check: TrussCheck, row: int) -> tuple[str, float]:
    """The mark that a head misses most where its truss has it, and by how much on the floor."""
    k = int(np.flatnonzero(check.rows == row)[0])
    pose = check.poses.take(np.array([k]))
    one = fit.on_marks.take(np.array([row])).in_metres()
    r, _ = sightings(one, pose, derive=False)
    slots = range(len(fit.case.sightings[row]))
    misses = [(miss_on_floor(pose, 0, r[0, s], one.mark[0, s]), fit.case.sightings[row][s].mark) for s in slots]
    miss, mark = max(misses)
    return mark, miss


def _off_truss(fit: Fit, check: TrussCheck, row: int) -> Suspect:
    k = int(np.flatnonzero(check.rows == row)[0])
    mark, miss = _worst(fit, check, row)
    along = _best(fit, check, k, ALONG, 0)
    turned = _best(fit, check, k, TURNED, 1)
    detail = OffTruss(check.truss.name, along, None if turned is None else float(np.degrees(turned)))
    return Suspect(fit.case.names[row], mark, "truss", miss, _meant(fit, check, k), detail=detail)


def _best(fit: Fit, check: TrussCheck, k: int, amounts: Array, move: int) -> float | None:
    """By how much head `k` must have been moved (a column of truss_check.moves) to fit; None where no amount fits."""
    step = amounts[:, None] * moves(check)[k, :, move]
    pose = check.poses.take(np.full(len(amounts), k))
    poses = PoseBatch(pose.p + step[:, :3], pose.R @ exp_so3(step[:, 3:]), pose.terms)
    chi2 = _against(check, k, fit.on_marks.take(np.full(len(amounts), check.rows[k])), poses)
    best = int(np.argmin(chi2))
    return float(amounts[best]) if chi2[best] <= check.limit[k] else None


def _meant(fit: Fit, check: TrussCheck, k: int) -> str | None:
    """The mark that the one sighting of head `k` would fit, where it hangs as before."""
    row = int(check.rows[k])
    if len(fit.case.sightings[row]) != 1:
        return None
    count = len(fit.case.marks)
    one = fit.on_marks.take(np.full(count, row))
    mark = one.mark.copy()
    mark[:, 0] = fit.points[:count]
    chi2 = _against(check, k, replace(one, mark=mark), check.poses.take(np.full(count, k)))
    best = int(np.argmin(chi2))
    return fit.case.marks[best] if chi2[best] <= check.limit[k] else None


def _against(check: TrussCheck, k: int, heads: HeadBatch, poses: PoseBatch) -> Array:
    """Chi-squared of sightings at each of some poses of head `k`, within what its place on the truss leaves open."""
    r, _ = sightings(heads, PoseBatch(poses.p, poses.R, heads.terms_prior), derive=False)
    flat = r.reshape(len(r), -1)
    G = check.model.G[k]
    V = np.linalg.inv(np.linalg.inv(check.model.W[k]) + G @ check.C @ G.T)
    return np.asarray(np.einsum("fi,ij,fj->f", flat, V, flat))


def _crossed(fit: Fit, check: TrussCheck) -> list[Suspect]:
    """Two heads of one type that fit each other's place, one of which does not fit its own."""
    gone = [int(k) for k in np.flatnonzero(~check.kept & (check.dof > 0))]
    others = gone + [int(k) for k in np.flatnonzero(check.kept & (check.dof > 0))]  # one may fit both by chance
    out: list[Suspect] = []
    told: set[int] = set()
    for a in gone:
        for b in others:
            alike = fit.case.fixtures[check.rows[a]].profile.name == fit.case.fixtures[check.rows[b]].profile.name
            if a == b or told & {a, b} or not alike or not (_fits_at(fit, check, a, b) and _fits_at(fit, check, b, a)):
                continue
            told |= {a, b}
            names = [fit.case.names[check.rows[k]] for k in sorted((a, b))]
            off = float(np.linalg.norm(check.poses.p[a] - check.poses.p[b]))
            out.append(Suspect(names[0], None, "patch", off, also=names[1]))
    return out


def _fits_at(fit: Fit, check: TrussCheck, k: int, place: int) -> bool:
    heads = fit.on_marks.take(check.rows[[k]])
    return bool(_against(check, place, heads, check.poses.take(np.array([place])))[0] <= check.limit[k])


def _other_shape(fit: Fit, check: TrussCheck, rows: list[int]) -> Suspect:
    """A truss that does not fit as a whole: numbered from the other end, hung as in a mirror, or simply another."""
    sighted = [int(r) for r, dof in zip(check.rows, check.dof, strict=True) if dof > 0]
    name, mark, miss = max(((r, *_worst(fit, check, r)) for r in sighted), key=lambda item: item[2])
    variant = next((word for word, truss in _variants(check.truss) if _would_do(fit, truss)), None)
    gone = int(np.sum(~check.kept))
    heads = tuple(fit.case.names[r] for r in rows)
    detail = OtherTruss(check.truss.name, heads, gone, len(sighted), fit.case.names[name], variant)
    return Suspect(None, mark, "truss", miss, sure=variant is not None, detail=detail)


def _variants(truss: CarriedTruss) -> list[tuple[str, CarriedTruss]]:
    middle = truss.p.mean(axis=0)
    axis = np.linalg.svd(truss.p - middle)[2][0]
    order = np.argsort((truss.p - middle) @ axis)
    place = np.empty(len(order), dtype=int)
    place[order] = order[::-1]
    ends = replace(truss, p=truss.p[place], R=truss.R[place], root=truss.root[place])
    mirrored = replace(truss, p=truss.p - 2 * ((truss.p - middle) @ axis)[:, None] * axis)
    return [("other end", ends), ("mirror", mirrored)]


def _would_do(fit: Fit, truss: CarriedTruss) -> bool:
    check = check_truss(fit.case, truss, fit.points, fit.mark_sigma)
    return check is not None and not check.doubted and bool(np.sum(~check.kept) <= 1)
