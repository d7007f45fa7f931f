"""Solved places into a copy of somebody's MVR: the matrices of this show's heads, and nothing else in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from bridge.errors import FileRefused
from bridge.exchange.archive import MOST_XML, Archive
from bridge.exchange.matching import Match, match_heads
from bridge.exchange.mvr import SCENE
from bridge.exchange.mvr_axes import Axes, drawn_axes, use_of
from bridge.exchange.mvr_fields import IDENTITY, matrix_of
from bridge.exchange.mvr_scene import UNREAD, Place, Scene
from bridge.exchange.placed import SOLVED, Placed, placed_heads
from bridge.exchange.writing import MM, matrix_text
from bridge.exchange.xml_edit import Edit, Editor
from bridge.exchange.xml_tree import Element, parse_xml
from bridge.exchange.zip_edit import with_member
from bridge.geometry.frames import Array
from bridge.rig.fixture import Fixture
from bridge.show.model import Show

MOST_OCTETS = 2_000_000_000
_OFF_MM, _OFF_TURN = 1e-4, 1e-8  # what reading back may be off: more, and the matrices above lose the place


@dataclass(frozen=True)
class Changed:
    """A head whose matrix is a new one. `by`: how it was found, `drawn`: its name there, `where`: in which layer.

    `moved`: m, from where the file had it; None where the file did not say. `added`: it had no Matrix before.
    `doubt`: as in `Placed`.
    """

    by: str
    drawn: str
    where: str
    moved: float | None
    added: bool
    doubt: str = ""


@dataclass
class Report:
    """By the show's names: what changed, and why the other heads' matrices are as they were."""

    changed: dict[str, Changed] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)


def into_mvr(
    show: Show, old: Path | bytes, ids: Mapping[str, str] | None = None, what: str = ""
) -> tuple[bytes, Report]:
    """The archive anew, and what is new in it. Only heads that are solved; of all others the file knows better.

    `ids`: id -> fixture, as kept by the import. Raises FileRefused where the file is none that can be read or edited.
    """
    what = what or (old.name if isinstance(old, Path) else "the file")
    octets = old if isinstance(old, bytes) else _read(old, what)
    archive = Archive(octets, what)
    member = archive.find(SCENE)
    if member is None:
        raise FileRefused(f"{what}: is no MVR: there is no {SCENE} in it")
    data = archive.read(member, MOST_XML)
    root = parse_xml(data, f"{what}: {member}", UNREAD)
    new, report = _edited(show, Editor(data, what), root, ids or {}, archive)
    archive.close()
    if new == data:
        return octets, report
    parse_xml(new, f"{what}: {member}, as it would be written", UNREAD)
    return with_member(octets, member, new, what), report


def _read(path: Path, what: str) -> bytes:
    try:
        if path.stat().st_size > MOST_OCTETS:
            raise FileRefused(f"{what}: is larger than {MOST_OCTETS} octets: not read")
        return path.read_bytes()
    except OSError as error:
        raise FileRefused(f"{what}: cannot be read: {error.strerror or error}") from None


def _edited(
    show: Show, editor: Editor, root: Element, ids: Mapping[str, str], archive: Archive
) -> tuple[bytes, Report]:
    matches, why = match_heads(show, [drawn for drawn in Scene(root).objects() if drawn.kind == "fixture"], ids)
    axes = drawn_axes(archive, (match.drawn for match in matches.values()))
    placed, nowhere = placed_heads(show)
    report, edits = Report(), []
    for fixture in show.fixtures:
        name = fixture.name
        match, where = matches.get(name), placed.get(name)
        if match is None:
            report.kept[name] = why[name]
        elif where is None or where.source != SOLVED:
            doubt = where.doubt if where else nowhere[name]
            report.kept[name] = f"{doubt or 'it is not solved'}: the file's own place stays"
        else:
            drawn_so = _as_drawn(where, fixture, axes.get(use_of(match.drawn)))
            edit, said = _edit(editor, drawn_so, where.doubt, match)
            if edit is None:
                report.kept[name] = str(said)
            elif isinstance(said, Changed):
                edits.append(edit)
                report.changed[name] = said
    return editor.done(edits), report


def _as_drawn(placed: Placed, fixture: Fixture, axes: Axes | None) -> tuple[Array, Array]:
    """(rotation (3, 3), origin (3,) mm) as the drawing has a head, by its own file of the type where there is one."""
    if axes is None:
        return placed.rotation, placed.origin(fixture) * MM
    turn_rad = math.radians(axes.turn_deg(fixture.profile.pan))  # our pan 0 is the drawing's pan `turn`
    rotation = placed.rotation @ Rotation.from_rotvec([0.0, 0.0, -turn_rad]).as_matrix() @ axes.base.T
    return rotation, (placed.at - rotation @ axes.at) * MM


def _edit(editor: Editor, drawn_so: tuple[Array, Array], doubt: str, match: Match) -> tuple[Edit | None, Changed | str]:
    """The change of one head's matrix; or None, and why it cannot be changed."""
    element, drawn = match.drawn.element, match.drawn
    above = drawn.place.parent or Place()
    if any(name.rpartition(":")[2].casefold() == "matrix" for name in element.attributes):
        return None, f"the file has its matrix as an attribute (line {element.line}), where no standard has it"
    if above.world is None:
        return None, f"the matrix of {above.lost or 'what is'} above it cannot be read"
    rotation, origin_mm = drawn_so
    text = _local(above.world, rotation, origin_mm)
    if text is None:
        return None, f"the matrices above it ({above.where}) are flat or too large to be undone"
    before = drawn.place.world
    moved = None if before is None else float(np.linalg.norm(before[:3, 3] - origin_mm)) / MM
    inner = next((child for child in element.children if child.tag.casefold() == "matrix"), None)
    said = Changed(match.by, drawn.said.get("name", ""), drawn.place.where, moved, inner is None, doubt)
    edit = editor.first_child(element, "Matrix", text) if inner is None else editor.text(inner, text)
    return edit, said


def _local(above: Array, rotation: Array, origin_mm: Array) -> str | None:
    """The matrix under `above` (4, 4, mm) that puts a head there: None where none does to a ten-thousandth of a mm."""
    world = np.array(IDENTITY)
    world[:3, :3], world[:3, 3] = rotation, origin_mm
    with np.errstate(all="ignore"):
        try:
            local = np.linalg.solve(above, world)
        except np.linalg.LinAlgError:
            return None
        if not np.isfinite(local).all():
            return None
        text = matrix_text(local[:3, :3], local[:3, 3])
        again = matrix_of(text)
        off = np.abs((above @ again if again is not None else np.full((4, 4), np.inf)) - world)
    good = off[:3, 3].max() <= _OFF_MM and off[:3, :3].max() <= _OFF_TURN
    return text if good else None
