"""The frame of a tracking input, from where it said that points were while they stood on marks.

A similarity by least squares (`umeyama`), as plain as the records allow (`frame_fit`): the scale is 1 unless asked for,
the level is kept unless a tilt is certain, the axes are found. What looks wrong is named (`frame_doubts`), in sentences
(`frame_words`). The height at which a tag was held over the marks goes into the origin's z, which only `z: tag` uses;
heights of records are taken to tell a tilt, and which axis is vertical.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from typing import NamedTuple

import numpy as np

from bridge.errors import UnsolvableError
from bridge.geometry.frames import quaternion_from_rotation
from bridge.geometry.input_frame import AXES, InputFrame, Recorded
from bridge.geometry.stage import Point3, Stage
from bridge.solve import frame_words as words
from bridge.solve.arrays import Array
from bridge.solve.frame_doubts import MARK, SWAP, Doubt, doubts, exchanged
from bridge.solve.frame_fit import LEAST, Fit, Records, best

USUAL: Mapping[str, tuple[str, str, str]] = {"psn": ("x", "z", "y")}
"""Which axes of an input are the stage's x, y and z by its protocol, where they are no others than by name; PSN's depth
is read as away from the audience. It decides only what the records leave open."""
SHARES = frozenset(("adm-osc",))
"""Protocols whose places are shares of a room: the scale is always looked for."""
SOLVED = 0.03
"""Sigma, m, of a mark that was not surveyed but solved."""
APART = 0.5
"""Marks nearer together than this, m, say nothing of a turn."""
STOOD = 0.05
"""Records whose distances are less than this share of their marks' are of a point that stood still all the time."""
ROUND = 4


class Place(NamedTuple):
    """Where a mark is, m, stage frame, and its sigma per axis."""

    at: Point3
    sigma: float


@dataclass(frozen=True)
class FrameSolution:
    """What was found. `residuals` m, horizontally, in the order of `frame.recorded`; `trusted`: no mistake stands out
    that would put places off by more than `accept`; `verified`: the records check each other. `mirrored`: the axes are
    of the other hand. `notes` and `warnings` are sentences."""

    frame: InputFrame
    residuals: tuple[float, ...]
    trusted: bool
    verified: bool
    mirrored: bool
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def places_of(stage: Stage, solved: Mapping[str, Point3]) -> dict[str, Place]:
    """Every mark that is surveyed, or else solved."""
    known = {name: Place(mark.at, mark.sigma) for name, mark in stage.marks.items() if mark.at is not None}
    return {name: Place(at, SOLVED) for name, at in solved.items()} | known


def solve_frame(
    recorded: Sequence[Recorded],
    places: Mapping[str, Place],
    corners: Array,
    protocol: str = "",
    scaled: bool = False,
    accept: float = 0.3,
) -> FrameSolution:
    """The frame from records, of which those on unknown marks are passed over. `corners` (K, 3): where it is to serve,
    stage frame. UnsolvableError says what is missing."""
    used = [record for record in recorded if record.mark in places]
    unknown = [record.mark for record in recorded if record.mark not in places]
    _check(used, unknown, places)
    scaled = scaled or protocol in SHARES
    axes = USUAL.get(protocol, AXES[:3])
    records = _records(used, places, _rows(axes), scaled)
    _check_moved(records)
    fit, rivals = best(records)
    found = doubts(fit)
    frame = replace(_frame(fit), sigma=round(max(fit.worst(corners), LEAST), ROUND), recorded=tuple(used))
    told = words.Told(frame, fit, tuple(record.mark for record in used), places)
    warnings = [told.doubt(doubt) for doubt in found]
    notes = [*told.axes(), *told.open_height(rivals), *told.tilt(), *told.left_out(unknown)]
    trusted = not any(d.misfit > accept or d.kind not in (MARK, SWAP) for d in found)
    if trusted:
        warnings += [*told.open_hand(rivals, exchanged(fit)), *told.wide(accept)]
    own_hand = [rival for rival in rivals if rival.upright[0] == fit.upright[0] and rival.upright[1]]
    verified = len(used) > 2 and not found and not own_hand
    residuals = tuple(float(d) for d in np.linalg.norm(fit.off[:, :2], axis=1))
    return FrameSolution(frame, residuals, trusted, verified, fit.mirrored, tuple(found), tuple(notes), tuple(warnings))


def _check(used: Sequence[Recorded], unknown: Sequence[str], places: Mapping[str, Place]) -> None:
    names = [record.mark for record in used]
    if len(used) < 2:
        have = f"found {len(used)}" + (f" ({names[0]})" if names else "")
        more = f"; not known where they are: {', '.join(unknown)}: survey or solve them" if unknown else ""
        raise UnsolvableError(
            f"expected records on two marks at least, {have}{more}; three that are no line are better"
        )
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise UnsolvableError(f"expected one record a mark, found more on {', '.join(twice)}")
    at = np.array([places[name].at[:2] for name in names])
    apart = _extent(at)
    if apart < APART:
        text = f"expected marks well apart, found {', '.join(names)} within {apart:.2f} m: they tell no direction"
        raise UnsolvableError(f"{text}; take marks at the edges of the stage")


def _check_moved(records: Records) -> None:
    apart, moved = _extent(records.marks), _extent(records.at)
    if moved < 1e-9 or (not records.scaled and moved < STOOD * apart and moved < APART):
        text = f"the marks are {apart:.2f} m apart, but where the input says its point was lies within {moved:.3f}"
        raise UnsolvableError(f"{text}: the point was not carried there, its system stands still, or the unit is not m")


def _extent(at: Array) -> float:
    """The largest distance between any two of (N, D)."""
    return float(np.max(np.linalg.norm(at[:, None] - at[None], axis=-1)))


def _records(used: Sequence[Recorded], places: Mapping[str, Place], usual: Array, scaled: bool) -> Records:
    at, marks = np.array([r.at for r in used]), np.array([places[r.mark].at for r in used])
    noise = np.array([r.sigma for r in used])
    if scaled:  # what an input says in shares of a room is noisy by shares of it
        noise = noise * _extent(marks) / max(_extent(at), 1e-9)
    sigma = np.array([places[r.mark].sigma for r in used])
    return Records(at, marks, np.hypot(np.hypot(noise, sigma), LEAST), usual, scaled)


def _rows(axes: Sequence[str]) -> Array:
    return InputFrame(axes=(axes[0], axes[1], axes[2])).matrix


def _plain_axes() -> list[tuple[str, str, str]]:
    signs = product(("", "-"), repeat=3)
    return [(a + x, b + y, c + z) for a, b, c in signs for x, y, z in permutations("xyz")]


_PLAIN = _plain_axes()


def _frame(fit: Fit) -> InputFrame:
    """As plain as it goes: axes and a turn; a rotation only where it is not level."""
    axes = _axes(fit.turn)
    R = fit.turn @ _rows(axes).T
    frame = InputFrame(axes, scale=float(f"{fit.scale:.7g}"))
    if fit.level:
        frame = replace(frame, turn=round(float(np.degrees(np.arctan2(R[1, 0], R[0, 0]))), ROUND) + 0.0)
    else:
        x, y, z, w = (round(float(v), 7) for v in quaternion_from_rotation(R))
        frame = replace(frame, rotation=(x, y, z, w))
    middle = fit.records.at.mean(axis=0)  # its place stays, however far the origin is and whatever was rounded
    x, y, z = fit.origin + (fit.scale * fit.turn - frame.matrix) @ middle
    return replace(frame, origin=(round(float(x), ROUND), round(float(y), ROUND), round(float(z), ROUND)))


def _axes(turn: Array) -> tuple[str, str, str]:
    """Those of the input as they are, where z is up and right-handed; else those that need the least turn."""
    proper = np.linalg.det(turn) > 0
    if proper and turn[2, 2] >= np.max(np.abs(turn[2])):
        return ("x", "y", "z")
    same = [axes for axes in _PLAIN if (np.linalg.det(_rows(axes)) > 0) == proper]
    return max(same, key=lambda axes: float(np.sum(turn * _rows(axes))))
