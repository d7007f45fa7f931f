"""From the rig, the place and the sightings to the arrays that the solver works on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.errors import ShowError
from bridge.geometry.frames import rotation_from_hang
from bridge.geometry.stage import Mark, Stage
from bridge.rig.fixture import Fixture
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.heads import TERM_SIGMA, HeadBatch, PoseBatch
from bridge.solve.joint import Border
from bridge.solve.measurements import Sighting
from bridge.solve.noise import SHARE_SIGMA, how_sighted

FIXED = 1e-5  # sigma in metres of what the datum sets to zero
NO_HEIGHT_SIGMA = 0.5  # a mark of unknown height: somewhere near the stage level, metres
LEAST_SIGMA = 1e-4
FARTHEST = 100.0  # metres: no head is further from a mark
ROUGH_SIGMA = 0.02  # what an unsurveyed mark is trusted to while each head is solved by itself


@dataclass(frozen=True)
class Case:
    """F fixtures with their sightings in slots (F, N), and P points: the marks, then twins of taped fixtures.

    `index` (F, N) is the point of each slot, `hang` (F, 3, 3) the nominal stage_from_fixture at yaw 0, `hints`
    (F, 3) positions from the plot or NaN, `known` (P,) whether a mark was surveyed.
    """

    fixtures: tuple[Fixture, ...]
    sightings: tuple[tuple[Sighting, ...], ...]
    heads: HeadBatch
    index: Rows
    hang: Array
    hints: Array
    marks: tuple[str, ...]
    known: Mask
    border: Border
    aim_sigma: float

    @property
    def names(self) -> list[str]:
        """Fixture names in order."""
        return [fixture.name for fixture in self.fixtures]

    @property
    def used(self) -> Mask:
        """Which slots hold a sighting (F, N)."""
        return np.asarray(self.heads.weight > 0)

    def alone(self, points: Array, mark_sigma: Array) -> HeadBatch:
        """The heads with marks held at `points` (P, 3), each known to `mark_sigma` (P,) metres."""
        sigma = np.hypot(self.aim_sigma, mark_sigma)[self.index]
        return replace(self.heads, mark=points[self.index], weight=self.used / sigma)

    def with_share(self, share: float) -> Case:
        """The case with this share of the pool's offset wherever nobody said what the hands centred (noise.py)."""
        assert self.heads.sight is not None
        return replace(self, heads=replace(self.heads, sight=self.heads.sight.with_share(share)))

    def at_reach(self, poses: PoseBatch, points: Array) -> Case:
        """The case with the noise of axes counted at the distances from `poses` (F) to `points` (P, 3)."""
        assert self.heads.sight is not None
        far = np.linalg.norm(points[self.index] - poses.p[:, None], axis=-1) if len(points) else self.heads.sight.reach
        sight = replace(self.heads.sight, reach=np.clip(far, 1.0, FARTHEST))
        return replace(self, heads=replace(self.heads, sight=sight))

    @property
    def faces(self) -> list[tuple[int, ...]]:
        """The faces that each fixture was sighted on, 1 where it was not."""
        return [tuple(sorted({s.face for s in row})) or (1,) for row in self.sightings]

    def face_pairs(self) -> Rows:
        """Face of each prediction (F, K): the sighted one, and both in turn where any head has both."""
        pairs = np.array([(f[0], f[-1]) for f in self.faces], dtype=int).reshape(-1, 2)
        return pairs if np.any(self.heads.terms_on) else pairs[:, :1]

    def distinct_marks(self) -> Rows:
        """How many different marks each fixture sighted (F,)."""
        return np.array([len({s.mark for s in row}) for row in self.sightings], dtype=int)


def build_case(
    fixtures: Sequence[Fixture], stage: Stage, sightings: Sequence[Sighting], also: Sequence[str] = ()
) -> Case:
    """Arrays for the fixtures that were sighted, and for those named in `also` (carried by a truss).

    Raises ShowError, all problems at once, on unknown names, doubled sightings and values that are not finite.
    """
    _refuse_bad(fixtures, stage, sightings)
    rows: dict[str, list[Sighting]] = {}
    for sighting in sightings:
        rows.setdefault(sighting.fixture, []).append(sighting)
    chosen = tuple(f for f in fixtures if f.name in rows or f.name in also)
    per_head = tuple(tuple(rows.get(f.name, ())) for f in chosen)
    taped = {end for tape in stage.tapes for end in tape.between}
    seen = {s.mark for s in sightings}
    datum = {stage.datum.origin, stage.datum.along_x} if stage.datum else set()
    marks = tuple(n for n, m in stage.marks.items() if m.at is not None or n in seen | taped | datum)
    border = _border(chosen, stage, marks)
    number = {name: i for i, name in enumerate(marks)}
    hang = rotation_from_hang(
        np.zeros(len(chosen)),
        np.radians([f.hang.pitch for f in chosen]),
        np.radians([f.hang.roll for f in chosen]),
    ).reshape(-1, 3, 3)
    heads, index = _heads(chosen, per_head, hang, stage, border.point, number)
    hints = np.array([f.at if f.at is not None else (np.nan,) * 3 for f in chosen], dtype=float).reshape(-1, 3)
    known = np.array([stage.marks[n].at is not None for n in marks], dtype=bool)
    aim = max(stage.aim_sigma, LEAST_SIGMA)
    if heads.sight is not None and heads.sight.undecided:
        border = replace(border, share_weight=1 / SHARE_SIGMA)
    return Case(chosen, per_head, heads, index, hang, hints, marks, known, border, aim)


def _refuse_bad(fixtures: Sequence[Fixture], stage: Stage, sightings: Sequence[Sighting]) -> None:
    """Raise ShowError with every bad sighting: unknown names, not finite, outside the range, doubled."""
    by_name = {f.name: f for f in fixtures}
    problems: list[str] = []
    first: dict[tuple[str, str, int], str] = {}
    for s in sightings:
        at = f"{s.where}: " if s.where else ""
        what = f"{at}sighting of {s.fixture} at {s.mark}"
        if s.fixture not in by_name:
            problems.append(f"{what}: there is no fixture {s.fixture!r} in the rig")
            continue
        if s.mark not in stage.marks:
            problems.append(f"{what}: there is no mark {s.mark!r} in stage.yaml")
        for axis, angle, motor in (
            ("pan", s.pan, by_name[s.fixture].profile.pan),
            ("tilt", s.tilt, by_name[s.fixture].profile.tilt),
        ):
            low, high = sorted((motor.from_deg, motor.to_deg))
            if not np.isfinite(angle):
                problems.append(f"{what}: {axis} is {angle}, expected a number of degrees")
            elif not low - 0.01 <= angle <= high + 0.01:
                problems.append(
                    f"{what}: {axis} {angle:g} is outside the profile's range {low:g} .. {high:g} degrees;"
                    " angles are degrees as sent, so the profile's from and to may be wrong"
                )
        key = (s.fixture, s.mark, s.face)
        if key in first:
            problems.append(f"{what}: there is one already on face {s.face}{first[key]}; keep one of them")
        first.setdefault(key, f" ({s.where})" if s.where else "")
    if problems:
        raise ShowError(problems)


def _heads(
    fixtures: Sequence[Fixture],
    rows: Sequence[Sequence[Sighting]],
    hang: Array,
    stage: Stage,
    points: Array,
    number: Mapping[str, int],
) -> tuple[HeadBatch, Rows]:
    count, slots = len(fixtures), max([1, *(len(row) for row in rows)])
    pan, tilt, used = np.zeros((3, count, slots))
    index = np.zeros((count, slots), dtype=int)
    for i, row in enumerate(rows):
        n = len(row)
        pan[i, :n], tilt[i, :n], used[i, :n] = [s.pan for s in row], [s.tilt for s in row], 1.0
        index[i, :n] = [number[s.mark] for s in row]
        # empty slots repeat the first mark, at weight 0
        index[i, n:] = index[i, 0]
    both = np.array([len({s.face for s in row}) == 2 for row in rows], dtype=bool)
    level = 1 / np.radians(np.maximum([f.hang.sigma for f in fixtures], 0.01))
    at = np.array([f.at if f.at is not None else (0.0,) * 3 for f in fixtures], dtype=float).reshape(-1, 3)
    sigma = np.array(
        [f.at_sigma if f.at is not None and f.at_sigma is not None else (np.inf,) * 3 for f in fixtures],
        dtype=float,
    ).reshape(-1, 3)
    weight = used / max(stage.aim_sigma, LEAST_SIGMA)
    return HeadBatch(
        np.radians(pan), np.radians(tilt), points[index] if len(points) else np.zeros((count, slots, 3)), weight,
        np.tile([0.0, 0.0, 1.0], (count, 1)), hang[:, 2, :].copy(), level, at,
        1 / np.maximum(sigma, LEAST_SIGMA), both, np.zeros((count, 6)), np.tile(1 / TERM_SIGMA, (count, 1)),
        how_sighted(fixtures, rows, slots, stage.sighted_by),
    ), index  # fmt: skip


def _border(fixtures: Sequence[Fixture], stage: Stage, marks: Sequence[str]) -> Border:
    """Marks with what is known of each, tapes, and twins of the fixtures that tapes end at."""
    at, weight = np.zeros((len(marks), 3)), np.zeros((len(marks), 3))
    for i, name in enumerate(marks):
        at[i], weight[i] = _mark_prior(stage.marks[name], stage)
    number = {name: i for i, name in enumerate(marks)}
    head = {f.name: i for i, f in enumerate(fixtures)}
    ends, metres, tape_weight, ties = [], [], [], []
    twins: list[tuple[float, float, float]] = []
    for tape in stage.tapes:
        pair = []
        for end in tape.between:
            if end not in number and end in head:
                number[end] = len(marks) + len(twins)
                ties.append((head[end], number[end]))
                twins.append(fixtures[head[end]].at or (0.0, 0.0, 5.0))
            pair.append(number.get(end))
        if None not in pair:
            ends.append(pair)
            metres.append(tape.metres)
            tape_weight.append(1 / max(tape.sigma, LEAST_SIGMA))
    twin = np.array(twins, dtype=float).reshape(-1, 3)
    point_at = np.concatenate([at, twin])
    return Border(
        point_at.copy(), point_at, np.concatenate([weight, np.zeros_like(twin)]),
        np.array(ends, dtype=int).reshape(-1, 2), np.array(metres, dtype=float), np.array(tape_weight, dtype=float),
        np.array(ties, dtype=int).reshape(-1, 2),
    )  # fmt: skip


def _mark_prior(mark: Mark, stage: Stage) -> tuple[Array, Array]:
    if mark.at is not None:
        return np.array(mark.at, dtype=float), np.full(3, 1 / max(mark.sigma, LEAST_SIGMA))
    known = mark.height is not None
    at = np.array([0.0, 0.0, mark.height if mark.height is not None else 0.0])
    weight = np.array([0.0, 0.0, 1 / max(mark.height_sigma, LEAST_SIGMA) if known else 1 / NO_HEIGHT_SIGMA])
    if stage.datum and mark.name == stage.datum.origin:
        weight[:2] = 1 / FIXED
    if stage.datum and mark.name == stage.datum.along_x:
        weight[1] = 1 / FIXED
    return at, weight
