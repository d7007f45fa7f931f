"""What to do next: where another sighting helps most, where first marks go, and everything worth a word."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Point3, Stage
from bridge.solve.arrays import Array
from bridge.solve.fit import Fit
from bridge.solve.judge import in_line
from bridge.solve.places import on_floor, performance_points, plan_grid
from bridge.solve.predict import AimError, sensitivity
from bridge.solve.relabel import sighted, symmetric_orders
from bridge.solve.result import NextMark, SolvedFixture, Suspect

PROPOSALS = 3
WORTH = 0.002  # metres of rms that another sighting must bring to be advised
FAR_OUTSIDE = 15.0


def next_marks(
    fit: Fit, stage: Stage, good: Array, error: AimError, faces: Sequence[tuple[int, ...]]
) -> tuple[NextMark, ...]:
    """Up to three places for the next marks, best first, each chosen as if the earlier ones had been taken.

    The gain is that of one more sighting by every solved head (A-optimal: least mean square aim error).
    """
    rows = np.flatnonzero(good & ~np.isin(np.arange(len(good)), list(fit.carried)))
    rows = rows if len(rows) else np.flatnonzero(good)
    rows = rows[:: max(1, len(rows) // 100)]  # a hundred heads tell as much about places as a thousand
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


def good_first_marks(stage: Stage, count: int = 5) -> list[Point3]:
    """Places for the first marks on an empty stage: a diagonal as far out as performers go, then the other corners and
    one off the middle, moved so that no turn of the layout looks like another."""
    plan = plan_grid(stage, 13, 9)
    gap = np.linalg.norm(plan[:, None] - plan[None], axis=-1)
    first, second = np.unravel_index(int(np.argmax(gap)), gap.shape)
    chosen = [int(first), int(second)]
    while len(chosen) < min(4, count, len(plan)):
        base = gap[:, chosen]
        chosen.append(int(np.argmax(np.min(base, axis=1) + 0.5 * np.sum(base, axis=1))))
    places = plan[chosen].copy()
    middle = plan.mean(axis=0)
    if count >= 5:
        places = np.vstack([places, middle + 0.15 * (places[0] - middle)])
    polygon = Polygon(stage.polygon.area.corners)
    if len(places) >= 3 and symmetric_orders(on_floor(stage, places), 0.5):
        moved = places[2] + 0.15 * (middle - places[2])
        places[2] = moved if polygon.contains(moved) else places[2]
    return [(round(float(x), 1), round(float(y), 1), round(float(z), 2)) for x, y, z in on_floor(stage, places)]


def first_marks_advice(stage: Stage) -> str:
    """One sentence for a show without sightings."""
    marks = good_first_marks(stage)
    told = ", ".join(f"({x:g}, {y:g})" for x, y, _ in marks)
    return f"good places for the first marks, in this order (two are enough to begin with): {told}"


def advise(
    fit: Fit,
    stage: Stage,
    solved: Mapping[str, SolvedFixture],
    unsolved: Mapping[str, str],
    suspects: Sequence[Suspect],
    proposals: Sequence[NextMark],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Advice (what to do, most urgent first) and notes (what was assumed or carried over)."""
    advice = [s.text for s in suspects]
    advice += list(unsolved.values())
    advice += _far_marks(fit, stage) + _symmetry(fit)
    unverified = [f.name for f in solved.values() if not f.verified]
    if unverified:
        advice.append(
            f"nothing is left over to check these with: {_some(unverified)}; confirm them with a check walk (`/walk`),"
            " or sight a third mark off the line of the others, better five in all"
        )
    lined = [f.name for r, f in enumerate(fit.case.fixtures) if f.name in solved and _on_a_line(fit, r)]
    if lined:
        advice.append(
            f"the marks that {_some(lined)} sighted lie on one line, so only hang.sigma holds their tilt about it:"
            " sight a mark well off that line"
        )
    three = [case.name for case, n in zip(fit.case.fixtures, fit.case.distinct_marks(), strict=True) if n == 3]
    if three and len(three) * 2 >= len(solved):
        advice.append("three marks can only tell that something is wrong, not what; five also tell which sighting")
    if proposals and proposals[0].before - proposals[0].after > WORTH:
        best = proposals[0]
        advice.append(
            f"the next mark helps most at ({best.at[0]:g}, {best.at[1]:g}): one sighting there by every fixture takes"
            f" the predicted aim error from {best.before * 100:.1f} to {best.after * 100:.1f} cm rms;"
            f" {best.fixture} needs it most"
        )
    return tuple(dict.fromkeys(advice)), tuple(_notes(fit, stage))


def _on_a_line(fit: Fit, row: int) -> bool:
    return int(fit.case.distinct_marks()[row]) >= 3 and row not in fit.carried and in_line(fit.case, fit.points, row)


def _far_marks(fit: Fit, stage: Stage) -> list[str]:
    polygon = Polygon(stage.polygon.area.corners)
    out = []
    for i in sighted(fit):
        off = float(polygon.outside_by(fit.points[i, :2]))
        if off > FAR_OUTSIDE:
            x, y = fit.points[i, :2]
            out.append(
                f"mark {fit.case.marks[i]} at ({x:.1f}, {y:.1f}) is {off:.0f} m outside the performance polygon; is its"
                " place in stage.yaml right, in metres?"
            )
    return out


def _symmetry(fit: Fit) -> list[str]:
    seen = sighted(fit)
    if len(seen) < 2 or np.any(fit.case.heads.at_weight) or np.any(np.isfinite(fit.case.hints)):
        return []
    if not symmetric_orders(fit.points[seen], tolerance=0.15):
        return []
    return [
        "the layout of the marks looks the same from the opposite side: had all been taken from there, nothing would"
        " show it; give the rough position of one fixture (`at`), or sight one mark that breaks the symmetry"
    ]


def _notes(fit: Fit, stage: Stage) -> list[str]:
    out = []
    for row, text in fit.mounts.items():
        name = fit.case.fixtures[row].name
        out.append(f"{name}: does not fit its `hang`, and fits when taken as {text}; correct hang in rig.yaml")
    for name in fit.case.marks:
        mark = stage.marks[name]
        if mark.at is None and mark.height is None:
            out.append(f"mark {name}: no height given; taken as 0 within 0.5 m and solved")
    carried: dict[str, list[str]] = {}
    for row, truss in fit.carried.items():
        carried.setdefault(truss, []).append(fit.case.fixtures[row].name)
    for truss, names in carried.items():
        out.append(
            f"truss {truss}: its shape was carried over from earlier poses ({_some(names)}), to 1 cm and 0.3 deg"
        )
    for row, truss in fit.slipped.items():
        out.append(
            f"{fit.case.fixtures[row].name}: no longer where it was on truss {truss}; solved from its own sightings"
        )
    return out


def _some(names: Sequence[str], most: int = 8) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
