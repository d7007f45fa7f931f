"""Mistakes that all heads share: marks exchanged, or the whole set taken from the opposite corner."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, permutations

import numpy as np

from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.fit import Fit
from bridge.solve.result import Reordered, Suspect
from bridge.solve.start import solve_alone

MOST_HEADS = 6  # enough to tell, and it keeps all orders of five marks in one small batch
AS_WELL = 11.0  # score
SYMMETRIC = 0.35  # metres: layouts that look the same after a turn to within this cannot tell where they started


def rig_relabelled(fit: Fit, testable: Mask) -> list[Suspect]:
    """The exchange of marks that makes (nearly) all heads fit, if there is one."""
    rows = np.flatnonzero(testable)
    rows = rows[np.argsort(-fit.dof[rows], kind="stable")][:MOST_HEADS]
    seen = sorted({int(i) for r in rows for i in fit.case.index[r][fit.case.used[r]]})
    if len(seen) < 3 or not len(rows):
        return []
    orders = [tuple(seen), *_orders(seen)]
    points = np.where(fit.known_points[:, None], fit.case.border.point_at, fit.points)  # as surveyed
    sigma = np.minimum(fit.mark_sigma, 1.0)
    heads = fit.case.alone(points, sigma)
    batch = heads.take(np.tile(rows, len(orders)))
    maps = np.tile(np.arange(len(points)), (len(orders), 1))
    for k, order in enumerate(orders):
        maps[k, seen] = order
    index = np.take_along_axis(
        np.repeat(maps, len(rows), axis=0), np.tile(fit.case.index[rows], (len(orders), 1)), axis=1
    )
    batch = replace(batch, mark=points[index])
    hang, hints = (
        np.tile(fit.case.hang[rows], (len(orders), 1, 1)),
        np.tile(fit.case.hints[rows], (len(orders), 1)),
    )
    _, chi2 = solve_alone(batch, hang, hints, np.full(len(batch), np.inf), unstarted_only=True, steps=20)
    chi2 = chi2.reshape(len(orders), len(rows))
    fits = np.mean(chi2 <= np.maximum(fit.limit[rows], 1.0), axis=1)
    moved = np.array([sum(a != b for a, b in zip(seen, order, strict=True)) for order in orders])
    score = np.where(fits >= 0.8, np.sum(np.minimum(chi2, 1e3), axis=1) + 4.0 * moved, np.inf)
    if not np.isfinite(np.min(score)) or score[0] < np.min(score) + AS_WELL:
        return []  # on the marks as surveyed they fit as they are: what is wrong is something else
    suspects = _exchanged(fit, seen, orders[int(np.argmin(score))])
    if not _reversed_pans_fit(fit, rows, points, sigma):
        return suspects
    suspects = [replace(s, sure=False) for s in suspects]
    return [replace(suspects[0], mark=None, kind="profile", instead=None, detail=None), *suspects]


def _reversed_pans_fit(fit: Fit, rows: Rows, points: Array, sigma: Array) -> bool:
    heads = fit.case.alone(points, sigma).take(rows)
    heads = replace(heads, pan=-heads.pan)
    limit = np.full(len(rows), np.inf)
    _, chi2 = solve_alone(heads, fit.case.hang[rows], fit.case.hints[rows], limit, unstarted_only=True)
    return bool(np.mean(chi2 <= np.maximum(fit.limit[rows], 1.0)) >= 0.8)


def _orders(seen: list[int]) -> list[tuple[int, ...]]:
    """Other orders of the marks: all of up to five, else all single exchanges and the reversal of corners."""
    if len(seen) <= 5:
        return [o for o in permutations(seen) if list(o) != seen]
    out = []
    for i, j in combinations(range(len(seen)), 2):
        order = list(seen)
        order[i], order[j] = order[j], order[i]
        out.append(tuple(order))
    return out


def _exchanged(fit: Fit, seen: list[int], order: tuple[int, ...]) -> list[Suspect]:
    """One suspect for each mark that is really another; a single exchange is told once."""
    names = fit.case.marks
    pairs = [(a, b) for a, b in zip(seen, order, strict=True) if a != b]
    turned = len(pairs) > 2 and tuple(seen.index(i) for i in order) in symmetric_orders(fit.points[seen])
    detail = Reordered(tuple((names[a], names[b]) for a, b in pairs), turned)
    out = []
    for a, b in pairs[:1] if len(pairs) == 2 else pairs:
        off = float(np.linalg.norm(fit.points[a] - fit.points[b]))
        out.append(Suspect(None, names[a], "corner" if turned else "swap", off, names[b], detail=detail))
    return out


def symmetric_orders(places: Array, tolerance: float = SYMMETRIC) -> list[tuple[int, ...]]:
    """Turns in plan (half, third, quarter ... of a circle) that put the marks (M, 3) onto each other, as orders."""
    middle = places.mean(axis=0)
    plan = places[:, :2] - middle[:2]
    out = []
    for parts in (2, 3, 4, 5, 6):
        for step in range(1, parts):
            angle = 2 * np.pi * step / parts
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            gap = np.linalg.norm((plan @ turn.T)[:, None] - plan[None], axis=-1)
            order = tuple(int(i) for i in np.argmin(gap, axis=1))
            if np.max(np.min(gap, axis=1)) < tolerance and len(set(order)) == len(places) and order not in out:
                out.append(order)
    return out


def sighted(fit: Fit) -> list[int]:
    """Point numbers of the marks that anyone sighted."""
    return sorted({int(i) for r in np.flatnonzero(fit.solved) for i in fit.case.index[r][fit.case.used[r]]})


def corner_suspect(fit: Fit) -> list[Suspect]:
    """A symmetric layout and hints of where heads hang: would they be much nearer, had the crew begun elsewhere?"""
    seen = sighted(fit)
    if len(seen) < 2:
        return []
    places = fit.points[seen]
    hinted = np.flatnonzero(fit.solved & np.all(np.isfinite(fit.case.hints), axis=1))
    if not len(hinted):
        return []
    middle = places.mean(axis=0)
    hints, p = fit.case.hints[hinted], fit.poses.p[hinted]
    now = float(np.sqrt(np.mean(np.sum((p - hints) ** 2, axis=1))))
    for order in symmetric_orders(places, tolerance=0.15):
        a, b = places[:, :2] - middle[:2], places[list(order), :2] - middle[:2]
        angle = np.angle(np.sum(np.conj(a[:, 0] + 1j * a[:, 1]) * (b[:, 0] + 1j * b[:, 1])))
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
        then = float(np.sqrt(np.mean(np.sum(((p - middle) @ turn.T + middle - hints) ** 2, axis=1))))
        if then < 0.5 * now and now > 1.5:
            return [_from_another_corner(fit, seen, order, now, then)]
    return []


def _from_another_corner(fit: Fit, seen: list[int], order: tuple[int, ...], now: float, then: float) -> Suspect:
    names = fit.case.marks
    pairs = tuple((names[seen[i]], names[seen[j]]) for i, j in enumerate(order) if i != j)
    detail = Reordered(pairs, turned=True, turned_off=then)
    return Suspect(None, names[seen[0]], "corner", now, names[seen[order[0]]], detail=detail)
