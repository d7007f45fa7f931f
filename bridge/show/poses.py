"""Schema of `poses.yaml`. Position and rotation alone, written by hand or by another program, are good input."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bridge.geometry.stage import Point3
from bridge.rig.fixture import Mechanics, Pose
from bridge.show.folder import versioned
from bridge.show.keys import KeyReader
from bridge.show.names import by_name, each, entries, named
from bridge.show.poses_of import PosesOf, read_of
from bridge.show.problems import Bad, Problem
from bridge.show.profile import FocusRow, ZoomRow, focus_rows, zoom_rows
from bridge.show.values import Parse, bad, length, list_of, name, number, point3, switch, text, vector3, whole
from bridge.show.yaml12 import Node

# What the solver may write for people and for itself, which is not read here: the one place to add to.
EXTRA_TOP_KEYS = ("solved_at", "advice", "notes", "carried_from", "seed")
EXTRA_FIXTURE_KEYS = ("carried_over", "notes", "face_note", "covariance", "rests_on", "profile")
_OFF_UNIT = 1e-2  # a quaternion rounded to a few digits is normalised, one further off is a mistake
_error = length(0)


@dataclass(frozen=True)
class PoseEntry:
    """A pose, what the sightings taught about the fixture's optics, and where the file says it."""

    name: str
    pose: Pose
    zoom_table: tuple[ZoomRow, ...] | None
    focus_table: tuple[FocusRow, ...] | None
    node: Node
    line: int


@dataclass(frozen=True)
class PosesFile:
    """What could be read of `poses.yaml`. `mark_lines` are for messages."""

    entries: tuple[PoseEntry, ...]
    marks: dict[str, Point3]
    mark_lines: dict[str, int]
    of: PosesOf | None = None


def read_poses(node: Node) -> tuple[PosesFile, list[Problem]]:
    """What could be read of the poses, and everything that is wrong in the file."""
    kept: list[PoseEntry] = []
    marks: dict[str, Point3] = {}
    of: PosesOf | None = None
    try:
        top = versioned(node)
        trusted = top.optional("trusted", switch, True)
        solved_from = top.optional("solved_from", text, None)

        def every(fixtures: Node) -> None:
            def one(key: str, child: Node) -> None:
                m = KeyReader(child, "a mapping with position and rotation")
                kept.append(_entry(key, m, fixtures.line_of(key), trusted, solved_from))
                m.done()

            each(named(fixtures, "a mapping of fixture names to poses"), one)

        marks = top.optional("marks", by_name(lambda _, at: point3(at), "a mapping of mark names to [x, y, z]"), {})
        top.optional("fixtures", every, None)
        of = top.optional("of", read_of, None)
        top.optional("checked", list_of(_checked, what="a list of {mark, at}, a list"), [])
        top.ignore(EXTRA_TOP_KEYS)
        top.done()
    except Bad as error:
        return PosesFile(tuple(kept), marks, {}), error.problems
    marks_node = node.get("marks")
    return PosesFile(tuple(kept), marks, dict(marks_node.key_lines) if marks_node else {}, of), []


def _checked(node: Node) -> None:
    m = KeyReader(node, "a mapping with mark and at")
    m.required("mark", name, "?")
    m.optional("at", text, "")
    m.ignore(["fixtures", "notes"])
    m.done()


def _entry(key: str, m: KeyReader, line: int, trusted: bool, solved_from: str | None) -> PoseEntry:
    rms, p95 = m.optional("aim_error", _aim_error, (None, None))
    position_sigma, rotation_sigma = m.optional("sigma", _sigma, (None, None))
    pose = Pose(
        position=m.required("position", point3, (0.0, 0.0, 0.0)),
        rotation=m.required("rotation", quaternion, (0.0, 0.0, 0.0, 1.0)),
        faces=m.optional("faces", _faces, (1, 2)),
        mechanics=m.optional("mechanics", _mechanics, Mechanics()),
        trusted=m.optional("trusted", switch, trusted),
        verified=m.optional("verified", switch, True),
        aim_error_rms=rms,
        aim_error_p95=p95,
        position_sigma=position_sigma,
        rotation_sigma=rotation_sigma,
        residuals=m.optional("residuals", _residuals, {}),
        solved_from=m.optional("solved_from", text, solved_from),
        unit=m.optional("unit", text, None),
        accepted=m.optional("accepted", text, ""),
    )
    zoom, focus = m.optional("optics", _optics, (None, None))
    m.ignore(EXTRA_FIXTURE_KEYS)
    return PoseEntry(key, pose, zoom, focus, m.node, line)


def quaternion(node: Node) -> tuple[float, float, float, float]:
    """A unit quaternion [x, y, z, w]. Rounding is normalised away, anything further from unit is refused."""
    x, y, z, w = list_of(number(), 4, 4, "a unit quaternion [x, y, z, w], a list")(node)
    norm = math.sqrt(sum(part * part for part in (x, y, z, w))) if max(map(abs, (x, y, z, w))) < 1e6 else math.inf
    if abs(norm - 1) > _OFF_UNIT:
        raise bad(node, f"a unit quaternion [x, y, z, w], of length 1 (this has length {norm:.4g})")
    return x / norm, y / norm, z / norm, w / norm


def _faces(node: Node) -> tuple[int, ...]:
    if not isinstance(node.value, list):
        return (whole(1, 2)(node),)
    faces = tuple(sorted(list_of(whole(1, 2), 1, 2, "[1], [2] or [1, 2], a list")(node)))
    if len(set(faces)) < len(faces):
        raise bad(node, "[1], [2] or [1, 2]")
    return faces


def mechanics_of(m: KeyReader, turn: Parse[float], lens: Parse[float], scale: Parse[float]) -> Mechanics:
    """Mechanical terms, none of them required, within the bounds of the file that they stand in."""
    mechanics = Mechanics(
        tilt_zero=m.optional("tilt_zero", turn, 0.0),
        squareness=m.optional("squareness", turn, 0.0),
        collimation=m.optional("collimation", turn, 0.0),
        lens_x=m.optional("lens_x", lens, 0.0),
        lens_y=m.optional("lens_y", lens, 0.0),
        pan_scale=m.optional("pan_scale", scale, 0.0),
    )
    m.done()
    return mechanics


def _mechanics(node: Node) -> Mechanics:
    return mechanics_of(KeyReader(node), number(-45, 45, unit="degrees"), length(-10, 10), number(-0.5, 0.5))


Three = tuple[float, float, float] | None


def _sigma(node: Node) -> tuple[Three, Three]:
    m = KeyReader(node, "a mapping with position and rotation")
    position = m.optional("position", vector3(_error, "[x, y, z] in metres, a list"), None)
    rotation = m.optional("rotation", vector3(number(0), "three angles in degrees, a list"), None)
    m.done()
    return position, rotation


def _aim_error(node: Node) -> tuple[float | None, float | None]:
    m = KeyReader(node, "a mapping with rms and p95")
    rms, p95 = m.optional("rms", _error, None), m.optional("p95", _error, None)
    m.ignore(["worst", "worst_p95", "worst_at"])
    m.done()
    return rms, p95


def _residuals(node: Node) -> dict[str, float]:
    out: dict[str, float] = {}

    def one(key: str, child: Node) -> None:
        out[key] = _error(child)

    each(entries(node, "a mapping of MARK or MARK/2 to metres"), one)
    return out


def _optics(node: Node) -> tuple[tuple[ZoomRow, ...] | None, tuple[FocusRow, ...] | None]:
    m = KeyReader(node, "a mapping with zoom and focus")
    zoom, focus = m.optional("zoom", zoom_rows, None), m.optional("focus", focus_rows, None)
    m.done()
    return zoom, focus
