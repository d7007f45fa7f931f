"""First places for marks that were never surveyed.

Every head sees the marks in plan up to a similarity (start.py), so all heads together fix the marks' shape: linear
least squares over complex numbers, m_i = p_h + a_h tau_hi. Turn and place come from the datum or from what was
surveyed, scale from the surveyed places, the tapes, or the fixtures' positions from the plot.
"""

from __future__ import annotations

import numpy as np

from bridge.errors import UnsolvableError
from bridge.geometry.frames import beam_in_fixture
from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array
from bridge.solve.case import Case

MOST_HEADS = 30  # the start needs no more, and the linear system stays small


def first_marks(case: Case, stage: Stage) -> Array:
    """Start (P, 3) for all points; surveyed marks stay where they are. Raises UnsolvableError without any length."""
    points = case.border.point.copy()
    count = len(case.marks)
    unknown = [i for i in range(count) if not case.known[i]]
    if not unknown:
        return points
    plan, head_xy, head_z, rows, fixed = _shape(case, stage)
    known = [i for i in range(count) if case.known[i] and np.isfinite(plan[i])]
    at = [(plan[i], complex(points[i, 0], points[i, 1])) for i in known]
    at += [
        (head_xy[k], complex(case.hints[f, 0], case.hints[f, 1]))
        for k, f in enumerate(rows)
        if np.any(case.heads.at_weight[f, :2])
    ]
    scale = _scale_from_tapes(case, plan, head_xy, head_z, rows, points[:count, 2])
    turn, shift = 1 + 0j, 0j
    if not fixed and stage.datum:
        turn, shift = scale or _scale_from_heights(case, head_z, rows), 0j
    elif not fixed:
        turn, shift = _similarity(at, scale)
    for i in unknown:
        if np.isfinite(plan[i]):
            placed = plan[i] * turn + shift
            points[i, :2] = placed.real, placed.imag
    for head, point in case.border.ties:
        if head in rows:
            k = rows.index(head)
            placed = head_xy[k] * turn + shift
            points[point] = placed.real, placed.imag, head_z[k] * abs(turn)
    return points


def _shape(case: Case, stage: Stage) -> tuple[Array, Array, Array, list[int], bool]:
    """Marks (M,) and heads (H,) in plan as complex numbers, heights (H,) above the marks, the heads' numbers, and
    whether the frame is already the stage's: it is if two of the sighted marks are known; else the datum's (or the
    first two) marks are put at 0 and 1."""
    count = len(case.marks)
    seen = np.count_nonzero(case.used, axis=1)
    order = sorted((int(f) for f in np.flatnonzero(seen >= 2)), key=lambda f: -seen[f])[:MOST_HEADS]
    d = beam_in_fixture(case.heads.pan, case.heads.tilt) @ case.hang.transpose(0, 2, 1)
    known = {i: complex(*case.border.point[i, :2]) for i in range(count) if case.known[i]}
    known = {i: z for i, z in known.items() if i in case.index[order][case.used[order]]}
    gauged = len(known) >= 2
    if not gauged:
        known = dict(zip(_gauge_pair(case, stage, order), (0j, 1 + 0j), strict=True))
    equations, right = [], []
    for k, f in enumerate(order):
        for n in np.flatnonzero(case.used[f]):
            z = min(d[f, n, 2], -0.08)
            row = np.zeros(count + 2 * len(order), dtype=complex)
            weight = z * z
            m = case.index[f, n]
            row[count + 2 * k], row[count + 2 * k + 1] = weight, -weight * (d[f, n, 0] + 1j * d[f, n, 1]) / z
            if m in known:
                right.append(weight * known[m])
            else:
                row[m] = -weight
                right.append(0j)
            equations.append(row)
    solution = np.linalg.lstsq(np.array(equations), np.array(right), rcond=None)[0]
    plan = np.full(count, np.nan + 0j)
    sighted = set(case.index[order][case.used[order]].tolist())
    for m in sighted:
        plan[m] = known.get(m, solution[m])
    for m, place in known.items():
        plan[m] = place
    heads = solution[count:].reshape(-1, 2)
    return plan, heads[:, 0], np.abs(heads[:, 1]), order, gauged


def _gauge_pair(case: Case, stage: Stage, order: list[int]) -> tuple[int, int]:
    sighted = sorted(set(case.index[order][case.used[order]].tolist())) if order else []
    if stage.datum:
        pair = [case.marks.index(stage.datum.origin), case.marks.index(stage.datum.along_x)]
        missing = [case.marks[i] for i in pair if i not in sighted]
        if missing:
            raise UnsolvableError(
                f"the datum mark {' and '.join(missing)} was not sighted by any fixture that sighted a second mark;"
                " sight it, or name two sighted marks as datum"
            )
        return pair[0], pair[1]
    if len(sighted) < 2:
        raise UnsolvableError(
            "fewer than two marks were sighted by one fixture: sight at least two marks, better five, with each fixture"
        )
    return sighted[0], sighted[1]


def _scale_from_tapes(
    case: Case, plan: Array, head_xy: Array, head_z: Array, rows: list[int], heights: Array
) -> float | None:
    """Metres per unit of the shape, least squares over the tapes that can be used; None if there are none."""
    twins = {int(point): rows.index(head) for head, point in case.border.ties if head in rows}
    top = bottom = 0.0
    for (i, j), metres in zip(case.border.tape_ends, case.border.tape_metres, strict=True):
        ends = []
        for end in (i, j):
            if end < len(case.marks):
                ends.append((plan[end], 0.0, heights[end]))
            elif end in twins:
                ends.append((head_xy[twins[end]], head_z[twins[end]], 0.0))
        if len(ends) == 2 and np.isfinite(ends[0][0]) and np.isfinite(ends[1][0]):
            flat = np.sqrt(max(metres**2 - (ends[0][2] - ends[1][2]) ** 2, 1e-6))
            length = np.hypot(abs(ends[0][0] - ends[1][0]), ends[0][1] - ends[1][1])
            top, bottom = top + flat * length, bottom + length**2
    return top / bottom if bottom > 1e-12 else None


def _scale_from_heights(case: Case, head_z: Array, rows: list[int]) -> float:
    ratios = [case.hints[f, 2] / head_z[k] for k, f in enumerate(rows) if case.heads.at_weight[f, 2] > 0]
    if not ratios:
        raise UnsolvableError(NO_LENGTH)
    return float(np.median(ratios))


NO_LENGTH = (
    "nothing measured gives a length: no mark is surveyed, no tape was measured and no fixture has a position with"
    " at_sigma; measure one tape between two marks (`tapes` in stage.yaml), better three"
)
NO_FRAME = (
    "nothing says where the stage is: fewer than two places are known; survey two marks, or name a `datum` in"
    " stage.yaml (one mark as origin, one along x) when all marks are unknown"
)


def _similarity(pairs: list[tuple[complex, complex]], scale: float | None) -> tuple[complex, complex]:
    """turn and shift so that turn · z + shift lies on the known places."""
    if len(pairs) < 2:
        raise UnsolvableError(NO_FRAME)
    z, w = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    z_mid, w_mid = np.mean(z), np.mean(w)
    spread = float(np.sum(np.abs(z - z_mid) ** 2))
    if spread < 1e-12:
        raise UnsolvableError(NO_FRAME)
    turn = complex(np.sum(np.conj(z - z_mid) * (w - w_mid)) / spread)
    if scale is not None and abs(turn) > 0:
        turn = turn / abs(turn) * scale
    return turn, complex(w_mid - turn * z_mid)
