"""What sightings teach about zoom and focus: the values at which a person found the spot sharp and tight.

A focus value recorded at a mark is a row (distance from lens to mark, raw) of that fixture's own table; the bridge
keeps one in a sighting only where a hand has set it. Rows are merged into the profile's table only where the result
stays monotone and the values lie near what the profile says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bridge.rig.fixture import Fixture
from bridge.solve.arrays import Array
from bridge.solve.measurements import Sighting
from bridge.solve.result import Calibration

OpticsTables = dict[str, list[list[float]]]  # what poses.yaml holds under `optics`: rows by channel
LEAST_ROWS = 2
CLOSE = 0.5  # metres: two sightings nearer than this in distance are averaged
FAR_OFF = 0.25  # share of full scale: a focus further than this from the profile's table is a slip of the hand


def learned_optics(
    fixtures: Sequence[Fixture], sightings: Sequence[Sighting], calibration: Calibration
) -> Mapping[str, OpticsTables]:
    """Per fixture the `optics` entry of poses.yaml: {"focus": [[distance m, raw], ...]}, rising in distance.

    Zoom values say how wide the spot was set, not how wide it was, so they change no table.
    """
    out: dict[str, OpticsTables] = {}
    for fixture in fixtures:
        solved = calibration.fixtures.get(fixture.name)
        if solved is None or "focus" not in fixture.profile.channels:
            continue
        rows = [
            (float(np.linalg.norm(np.subtract(calibration.marks[s.mark], solved.position))), float(s.focus))
            for s in sightings
            if s.fixture == fixture.name and s.focus is not None and s.mark in calibration.marks
        ]
        table = focus_table(_found(rows), fixture.profile.focus or (), fixture.profile.full_scale("focus"))
        if table is not None:
            out[fixture.name] = {"focus": [[round(d, 3), round(raw)] for d, raw in table]}
    return out


def _found(rows: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Rows without those of one value at several distances: it was set at one of them, and nobody can tell which."""
    reach: dict[float, list[float]] = {}
    for distance, raw in rows:
        reach.setdefault(raw, []).append(distance)
    return [(d, raw) for d, raw in rows if max(reach[raw]) - min(reach[raw]) < CLOSE]


def focus_table(
    rows: Sequence[tuple[float, float]], table: Sequence[tuple[float, float]], full: int
) -> list[tuple[float, float]] | None:
    """The profile's table corrected by what was seen; None where that would not be sane or not monotone.

    With a profile table the seen differences are fitted by a straight line in 1/distance and added to it, so that the
    ends, which nobody saw, move along. Without one the seen rows are the table.
    """
    seen = _merged(rows)
    if len(seen) < LEAST_ROWS:
        return None
    near, raw = np.array([1 / d for d, _ in seen]), np.array([r for _, r in seen])
    if len(table) < 2:
        return seen if _monotone(raw) else None
    knots = np.array(sorted((1 / d, r) for d, r in table))
    off = raw - np.interp(near, knots[:, 0], knots[:, 1])
    if np.max(np.abs(off)) > FAR_OFF * full:
        return None
    slope = np.polyfit(near, off, 1) if np.ptp(near) > 0.2 * np.ptp(knots[:, 0]) else np.array([0.0, np.mean(off)])
    corrected = np.clip(knots[:, 1] + np.polyval(slope, knots[:, 0]), 0, full)
    ordered = sorted((1 / n, float(r)) for n, r in zip(knots[:, 0], corrected, strict=True))
    return ordered if _monotone(np.array([r for _, r in ordered])) else None


def _merged(rows: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Rows by rising distance, near ones averaged."""
    groups: list[list[tuple[float, float]]] = []
    for row in sorted(rows):
        if groups and row[0] - groups[-1][0][0] < CLOSE:
            groups[-1].append(row)
        else:
            groups.append([row])
    return [(float(np.mean([d for d, _ in g])), float(np.mean([r for _, r in g]))) for g in groups]


def _monotone(raw: Array) -> bool:
    steps = np.diff(raw)
    return bool(np.all(steps > 0) or np.all(steps < 0))
