"""Speeds of the axes, and the angles of the zoom, from what the channel functions of a GDTF file say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from bridge.exchange.gdtf_candela import Flux, flux_of
from bridge.exchange.gdtf_geometry import Head

SPEEDS = (10.0, 2000.0)
ACCELERATIONS = (10.0, 50_000.0)
NARROWEST = 0.1
"""Degrees: no lens is narrower, and no two ends of a zoom are nearer to each other."""
STUB_RANGES = ({0.0, 1.0}, {0.0})
CANDELA_UNKNOWN = (
    "candela at the centre is in no file: without it heads are not made equally bright; measure it with a light meter "
    "(lux times the distance squared) and add it to the zoom table"
)
Row = tuple[int, float]


class Point(NamedTuple):
    """A channel set with physical values of its own: raw from and to (on the function's full scale), and those."""

    raw_from: int
    raw_to: int
    physical_from: float | None
    physical_to: float | None


class Function(NamedTuple):
    """A channel function as plain data. `raw_from` and `raw_to` lie in 0 .. `full`, all bytes of the channel.

    None is what the file leaves to the standard's defaults. `points`: only channel sets with values of their own.
    """

    name: str
    physical_from: float | None
    physical_to: float | None
    raw_from: int
    raw_to: int
    full: int
    real_fade_s: float | None = None
    real_acceleration_s: float | None = None
    points: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Motion:
    """deg/s and deg/s² of an axis; None: the file does not say. `why`: "" or whence they are."""

    speed: float | None = None
    acceleration: float | None = None
    why: str = ""
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Zoom:
    """`document`: the profile's `zoom` as plain data ({"table": [[raw, degrees, candela?], ..], "edge": ..}) or None.

    `why` of the paths "zoom" and "zoom.candela"; `confirm`: of zoom, candela.
    """

    document: Mapping[str, object] | None = None
    why: Mapping[str, str] = field(default_factory=dict)
    confirm: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read_motion(axis: str, function: Function) -> Motion:
    """Speed and acceleration of `pan` or `tilt`.

    RealFade: seconds for the whole travel; RealAcceleration: seconds from rest to full speed (DIN SPEC 15800, from
    memory; 0 and nothing written mean unknown). Travel D with equal ramps of t seconds at both ends takes
    T = D / v + t: v = D / (T - t), a = v / t. A ramp longer than half the travel leaves a triangle: a = 4 D / T².
    """
    fade, ramp = function.real_fade_s or 0.0, function.real_acceleration_s or 0.0
    if function.physical_from is None or function.physical_to is None or fade <= 0:
        return Motion()
    travel = abs(function.physical_to - function.physical_from)
    if travel <= 1.0:
        return Motion()
    told = f"{travel:g} degrees in RealFade {fade:g} s"
    if ramp > 0:
        told += f" with ramps of RealAcceleration {ramp:g} s"
    speed = travel / (fade - ramp) if 0 < 2 * ramp < fade else (2 * travel / fade if ramp > 0 else travel / fade)
    acceleration = None if ramp <= 0 else speed / min(ramp, fade / 2)
    if not SPEEDS[0] <= speed <= SPEEDS[1]:
        return Motion(questions=(_odd(axis, told, f"{speed:.3g} deg/s", SPEEDS, "deg/s"),))
    speed = round(speed, 1)
    if acceleration is None:
        return Motion(speed, None, f"{told}: {speed:g} deg/s, a mean of the travel; acceleration is not in the file")
    if not ACCELERATIONS[0] <= acceleration <= ACCELERATIONS[1]:
        odd = _odd(axis, told, f"{acceleration:.3g} deg/s²", ACCELERATIONS, "deg/s²")
        return Motion(speed, None, f"{told}: {speed:g} deg/s", (odd,))
    return Motion(speed, round(acceleration, 1), f"{told}: {speed:g} deg/s, {acceleration:.0f} deg/s²")


def _odd(axis: str, told: str, found: str, bounds: tuple[float, float], unit: str) -> str:
    return (
        f"{axis}: {told} make {found}, and {bounds[0]:g} to {bounds[1]:g} {unit} are believed: not taken, the "
        "profile's usual value stands until you set it"
    )


def read_zoom(function: Function | None, head: Head) -> Zoom:
    """The zoom table of a channel function, or of a fixed lens (None)."""
    if function is None:
        return _fixed_lens(head)
    fault = _fault(function)
    if fault:
        return Zoom(
            questions=(
                f"zoom: {fault}; no table is made of it. Measure the spot's diameter D at a distance r at both ends of "
                "the channel, and enter 2·atan(D / 2r) as zoom.table",
            ),
            confirm=("zoom",),
        )
    rows, notes = _rows(function)
    edge, why = _edge(function, head)
    ends = f"{function.physical_from:g} to {function.physical_to:g} degrees"
    told = f"'{function.name[:40]}' {ends}, taken as the full angle (what files mean in practice); {why}"
    return _with_candela(rows, edge, told, notes, head)


def _fixed_lens(head: Head) -> Zoom:
    """One row from what the Beam geometry says; nothing where it says nothing."""
    for edge, name, values in (
        ("beam", "BeamAngle", [beam.beam_angle for beam in head.beams]),
        ("field", "FieldAngle", [beam.field_angle for beam in head.beams]),
    ):
        angles = sorted({value for value in values if value is not None})
        if not angles:
            continue
        told = f"no zoom channel; {name} of the Beam geometry"
        questions = []
        if len(angles) > 1:
            questions.append(
                f"zoom: its emitters have {name} {angles[0]:g} to {angles[-1]:g} degrees; the widest is taken"
            )
        elif angles == [25.0]:
            questions.append(f"zoom: {name} 25 is also what the standard puts where nobody knows: measure the angle")
        zoom = _with_candela([(0, angles[-1])], edge, told, [], head)
        return Zoom(zoom.document, zoom.why, zoom.confirm, (*questions, *zoom.questions), zoom.notes)
    return Zoom(notes=("no zoom channel and no beam angle in the file: the size of the spot is not known",))


def _fault(function: Function) -> str:
    """Why these ends are no angles; "" where they may be."""
    start, end = function.physical_from, function.physical_to
    if start is None or end is None:
        return "the file gives its channel no physical range"
    if {start, end} in STUB_RANGES:
        return f"PhysicalFrom {start:g} and PhysicalTo {end:g} are the standard's stub and no degrees"
    if abs(start - end) < NARROWEST:
        return f"PhysicalFrom and PhysicalTo are both {start:g}"
    if not (_angle(start) and _angle(end)):
        return f"found {start:g} to {end:g}, expected angles above 0 and below 180 degrees (percent, or half angles?)"
    if not 0 <= function.raw_from < function.raw_to <= function.full:
        return f"its function runs from raw {function.raw_from} to {function.raw_to}, which is no range of the channel"
    return ""


def _angle(degrees: float) -> bool:
    return NARROWEST <= degrees <= 180 - NARROWEST


def _rows(function: Function) -> tuple[list[Row], list[str]]:
    """Raw and degrees: both ends, and points between where channel sets have values of their own that fit."""
    ends = [
        (function.raw_from, float(function.physical_from or 0)),
        (function.raw_to, float(function.physical_to or 0)),
    ]
    points = dict(ends)
    for point in function.points:
        for raw, angle in ((point.raw_from, point.physical_from), (point.raw_to, point.physical_to)):
            if angle is not None:
                points[raw] = round(float(angle), 4)
    rows = sorted(points.items())
    if _on_the_line(rows, ends):
        return ends, []
    steps = [after[1] - before[1] for before, after in pairwise(rows)]
    inside = rows[0][0] == ends[0][0] and rows[-1][0] == ends[1][0] and all(_angle(angle) for _, angle in rows)
    if inside and (all(step > 0 for step in steps) or all(step < 0 for step in steps)):
        return rows, []
    return ends, [
        "zoom: its channel sets have physical values that do not rise or fall throughout: only the ends count"
    ]


def _on_the_line(rows: list[Row], ends: list[Row]) -> bool:
    (low, start), (high, end) = ends
    return all(
        low <= raw <= high and abs(start + (end - start) * (raw - low) / (high - low) - angle) < 1e-3
        for raw, angle in rows
    )


def _edge(function: Function, head: Head) -> tuple[str, str]:
    """Whose edge the zoom's angles are: the beam's, unless only the field angle of the geometry lies in its range."""
    low, high = sorted((function.physical_from or 0.0, function.physical_to or 0.0))
    for beam in head.beams[:1]:
        if beam.beam_angle is None or beam.field_angle is None:
            continue
        low, high = low * 0.95, high * 1.05
        if not low <= beam.beam_angle <= high and low <= beam.field_angle <= high:
            return "field", (
                f"to 10 %: FieldAngle {beam.field_angle:g} lies in the range of the zoom, BeamAngle "
                f"{beam.beam_angle:g} does not"
            )
    return "beam", "to 50 % of the centre, which the file does not say"


def _with_candela(rows: list[Row], edge: str, told: str, notes: list[str], head: Head) -> Zoom:
    flux: Flux = flux_of(head.beams)
    why, confirm, questions = {"zoom": told}, ["zoom"], [*flux.questions]
    table: list[list[float]] = [[raw, round(angle, 4)] for raw, angle in rows]
    if flux.lumen is None:
        questions.append(CANDELA_UNKNOWN)
    else:
        table = [[raw, angle, flux.candela(angle, edge)] for raw, angle in table]
        why["zoom.candela"] = flux.why
        questions.append(f"candela is an {flux.why}: a light meter in the beam knows better")
    return Zoom({"table": table, "edge": edge}, why, (*confirm, "candela"), tuple(questions), tuple(notes))
