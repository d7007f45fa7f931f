"""Where to put marks: the first ones on an empty stage, and the next ones, that help most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Point3, Stage
from bridge.solve.arrays import Array, Mask
from bridge.solve.fit import Fit
from bridge.solve.places import on_floor, performance_points, plan_grid
from bridge.solve.predict import sensitivity
from bridge.solve.relabel import symmetric_orders
from bridge.solve.result import NextMark

PROPOSALS = 3
MOST_HEADS = 100  # as many tell as much about places as a thousand


def next_marks(fit: Fit, stage: Stage, good: Mask, faces: Sequence[tuple[int, ...]]) -> tuple[NextMark, ...]:
    """Up to three places for the next marks, best first, each chosen as if the earlier ones had been taken.

    The gain is that of one more sighting by every solved head (A-optimal: least mean square aim error).
    """
    rows = np.flatnonzero(good & ~np.isin(np.arange(len(good)), list(fit.carried)))
    rows = rows if len(rows) else np.flatnonzero(good)
    rows = rows[:: max(1, len(rows) // MOST_HEADS)]
    places = on_floor(stage, plan_grid(stage, 9, 7))
    poses, cov = fit.poses.take(rows), fit.cov[rows][:, :6, :6]
    perfect = np.zeros(len(rows), dtype=bool)
    face = np.array([faces[int(r)][0] for r in rows])
    target = sensitivity(poses, performance_points(stage, 5, 4), perfect, face)
    moments = np.einsum("fpki,fpkj->fij", target, target) / target.shape[1]
    sights = sensitivity(poses, places, perfect, face)
    noise = np.hypot(fit.case.aim_sigma, 0.01) ** 2
    out = []
    for _ in range(PROPOSALS):
        before = np.maximum(np.einsum("fij,fji->f", cov, moments), 0)
        gain = _gains(cov, moments, sights, noise)
        best = int(np.argmax(np.sum(gain, axis=0)))
        after = np.maximum(before - gain[:, best], 0)
        whom = int(rows[np.argmax(np.sqrt(before) - np.sqrt(after))])
        out.append(
            NextMark(
                (round(float(places[best, 0]), 1), round(float(places[best, 1]), 1), float(places[best, 2])),
                float(np.sqrt(np.mean(before))), float(np.sqrt(np.mean(after))), fit.case.fixtures[whom].name,
            )
        )  # fmt: skip
        J = sights[:, best]
        K = cov @ J.swapaxes(1, 2) @ np.linalg.inv(J @ cov @ J.swapaxes(1, 2) + noise * np.eye(3))
        cov = cov - K @ J @ cov
    return tuple(out)


def _gains(cov: Array, moments: Array, sights: Array, noise: float) -> Array:
    """How much each candidate (P) lowers each head's mean square aim error (F, P), m^2."""
    half = sights @ cov[:, None]
    spread = half @ sights.swapaxes(2, 3) + noise * np.eye(3)
    weighted = half @ moments[:, None] @ half.swapaxes(2, 3)
    return np.asarray(np.trace(np.linalg.solve(spread, weighted), axis1=2, axis2=3))


def spread_order(gap: Array, count: int, chosen: Sequence[int] = ()) -> list[int]:
    """Up to `count` places, those of `chosen` first, then each far from all before it: of none, the two farthest apart.
    gap (P, P) are the distances between them."""
    order = list(chosen)
    if not order and len(gap) > 1:
        first, second = np.unravel_index(int(np.argmax(gap)), gap.shape)
        order = [int(first), int(second)]
    while len(order) < min(count, len(gap)):
        base = gap[:, order]
        worth = np.min(base, axis=1, initial=np.inf) + 0.5 * np.sum(base, axis=1)
        worth[order] = -1.0
        order.append(int(np.argmax(worth)))
    return order


def good_first_marks(stage: Stage, count: int = 5) -> list[Point3]:
    """Places for the first marks on an empty stage: a diagonal as far out as performers go, then the other corners and
    one off the middle, moved so that no turn of the layout looks like another."""
    plan = plan_grid(stage, 13, 9)
    gap = np.linalg.norm(plan[:, None] - plan[None], axis=-1)
    chosen = spread_order(gap, min(4, count))
    places = plan[chosen].copy()
    middle = plan.mean(axis=0)
    if count >= 5:
        places = np.vstack([places, middle + 0.15 * (places[0] - middle)])
    polygon = Polygon(stage.polygon.area.corners)
    if len(places) >= 3 and symmetric_orders(on_floor(stage, places), 0.5):
        moved = places[2] + 0.15 * (middle - places[2])
        places[2] = moved if polygon.contains(moved) else places[2]
    return [(round(float(x), 1), round(float(y), 1), round(float(z), 2)) for x, y, z in on_floor(stage, places)]
