"""Which poses are verified: no mistake in one measurement could hide in them and spoil the aim; and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bridge.geometry.frames import pan_tilt_of
from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array, Rows
from bridge.solve.fit import Fit
from bridge.solve.heads import HeadBatch, PoseBatch, normal
from bridge.solve.places import on_floor, performance_points, plan_grid
from bridge.solve.reliability import Reliability, reliability
from bridge.solve.result import SolvedFixture
from bridge.solve.words import some

MOST_HEADS = 24  # as many tell what is missing as a thousand
MOST_MORE = 3  # marks proposed at most
ENOUGH = 0.9  # share of the heads that a proposal must verify
ON_TRUSS = 4  # marks that verify a head on a truss
APART = 1.0  # metres between a proposed mark and one that was sighted
A_LEVEL = np.radians(0.2)  # what a good digital level on the base tells, 1 sigma


def fit_reliability(fit: Fit, points: Array, faces: Rows) -> Reliability:
    """Reliability of every head as it was solved, over `points` (P, 3) on `faces` (F, K)."""
    heads = fit.on_marks
    return reliability(heads, fit.poses, points, faces, prior=_truss_roots(fit, heads))


def _truss_roots(fit: Fit, heads: HeadBatch) -> Array:
    """Root (F, 6, 6) of what the truss alone says of each head that it carries: what all say, less its own."""
    root = np.zeros((len(heads), 6, 6))
    rows = np.array(sorted(fit.carried), dtype=int)
    if len(rows):
        _, H, *_ = normal(heads.take(rows), fit.poses.take(rows))
        values, vectors = np.linalg.eigh(np.linalg.inv(fit.cov[rows, :6, :6]) - H[:, :6, :6])
        root[rows] = np.sqrt(np.maximum(values, 1e-6))[..., None] * vectors.swapaxes(1, 2)
    return root


def verify_advice(fit: Fit, stage: Stage, unverified: Sequence[SolvedFixture]) -> list[str]:
    """What would verify these heads, in a sentence for all that sighted the same marks, or hang on the same truss."""
    number = {name: row for row, name in enumerate(fit.case.names)}
    groups: dict[tuple[str, ...], list[int]] = {}
    on_truss: dict[tuple[str, int, bool], list[str]] = {}
    for f in unverified:
        marks = tuple(sorted({s.mark for s in fit.case.sightings[number[f.name]]}))
        if f.carried_over:
            on_truss.setdefault((f.carried_over, len(marks), f.trusted), []).append(f.name)
        else:
            groups.setdefault(marks, []).append(number[f.name])
    out = [_of_truss(*key, some(names)) for key, names in on_truss.items()]
    return out + [_of_group(fit, stage, marks, rows) for marks, rows in groups.items()]


def _of_truss(truss: str, marks: int, trusted: bool, who: str) -> str:
    if not trusted:
        return (
            f"{who}: with {'one sighting' if marks else 'no sighting'} each, a head that was moved or turned on truss"
            f" {truss} would not show, so these are not trusted; sight a second mark with each of its heads"
        )
    if not marks:
        return f"{who}: not sighted, taken from truss {truss}; sight two marks with each, or do a check walk (`/walk`)"
    more = max(ON_TRUSS - marks, 1)
    return (
        f"{who}: too few sightings to show by themselves that each hangs on truss {truss} as it did; {more} more"
        f" mark{'s' if more > 1 else ''} each would verify them, or a check walk (`/walk`)"
    )


def _of_group(fit: Fit, stage: Stage, marks: tuple[str, ...], rows: list[int]) -> str:
    who = some([fit.case.names[r] for r in rows])
    more, level = _missing(fit, stage, np.array(rows))
    told = " and ".join(f"({x:g}, {y:g})" for x, y, _ in more)
    what = f"another mark at {told}" if len(more) == 1 else f"{len(more)} more marks at {told}"
    also = "a base measured level to 0.2 deg (hang.sigma), or " if level else ""
    begin = (
        "nothing is left over to check these with" if len(marks) < 3 else "a mistake in one measurement could hide in"
    )
    begin = f"{begin}{':' if len(marks) < 3 else ''} {who}"
    return f"{begin}; {what}, sighted by each, would verify them; so would {also}a check walk (`/walk`)"


def _missing(fit: Fit, stage: Stage, rows: Rows) -> tuple[list[tuple[float, float, float]], bool]:
    """Places of the fewest marks, chosen one by one, that verify (nearly) all of these heads; and whether a measured
    level alone would."""
    rows = rows[:: max(1, len(rows) // MOST_HEADS)]
    heads = fit.on_marks.take(rows)
    poses, points = fit.poses.take(rows), performance_points(stage, 5, 4)
    among = len(fit.solved)

    def worst(batch: HeadBatch, at: PoseBatch) -> Array:
        return reliability(batch, at, points, np.ones((len(batch), 1), dtype=int), among).worst

    levelled = replace(heads, level_weight=np.where(heads.level_weight > 0, 1 / A_LEVEL, 0.0))
    level = bool(np.mean(worst(levelled, poses) <= stage.accept) >= ENOUGH)
    places = on_floor(stage, plan_grid(stage, 5, 4))
    taken = fit.points[np.unique(fit.case.index[rows][fit.case.used[rows]])]
    chosen: list[tuple[float, float, float]] = []
    for _ in range(MOST_MORE):
        far = np.min(np.linalg.norm(places[:, None] - taken[None], axis=-1), axis=1) > APART
        places = places[far]
        if not len(places):
            break
        each = np.repeat(np.arange(len(rows)), len(places))
        batch = _with_mark(heads.take(each), poses.take(each), np.tile(places, (len(rows), 1)), fit.case.aim_sigma)
        left = np.maximum(worst(batch, poses.take(each)).reshape(len(rows), len(places)), stage.accept)
        best = int(np.argmin(np.mean(np.minimum(left, 10.0), axis=0)))
        x, y, z = places[best]
        chosen.append((round(float(x), 1), round(float(y), 1), float(z)))
        heads = _with_mark(heads, poses, np.tile(places[best], (len(rows), 1)), fit.case.aim_sigma)
        taken = np.vstack([taken, places[best]])
        if np.mean(left[:, best] <= stage.accept) >= ENOUGH:
            break
    return chosen, level


def _with_mark(heads: HeadBatch, poses: PoseBatch, place: Array, aim_sigma: float) -> HeadBatch:
    """The heads with one more sighting each, of a mark at `place` (F, 3), of the beam's axis."""
    pan, tilt = pan_tilt_of(np.einsum("fji,fj->fi", poses.R, place - poses.p))
    weight = np.full(len(heads), 1 / np.hypot(aim_sigma, 0.01))
    sight = heads.sight
    if sight is not None:
        none = np.zeros(len(heads))
        sight = replace(
            sight,
            half=np.column_stack([sight.half, none]),
            share=np.column_stack([sight.share, none]),
            free=np.column_stack([sight.free, none > 0]),
            reach=np.column_stack([sight.reach, np.linalg.norm(place - poses.p, axis=1)]),
        )
    return replace(
        heads,
        pan=np.column_stack([heads.pan, pan]),
        tilt=np.column_stack([heads.tilt, tilt]),
        mark=np.concatenate([heads.mark, place[:, None]], axis=1),
        weight=np.column_stack([heads.weight, weight]),
        sight=sight,
    )
