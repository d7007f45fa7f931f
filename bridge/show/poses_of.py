"""What poses are of: kept in poses.yaml as `of`, so that poses of another hang, or of other marks, are known as such.

A digest stands for each head and each mark, so that a message can name those that changed. Numbers are compared as the
files mean them (`9`, `9.0` and `900 cm` are one), and what does not move a pose (address, speed, a sigma) is left out.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bridge.geometry.stage import Mark, Stage
from bridge.rig.fixture import Fixture
from bridge.show.keys import KeyReader
from bridge.show.names import by_name
from bridge.show.problems import shown
from bridge.show.values import text
from bridge.show.yaml12 import Node
from bridge.solve.measurements import Sighting

if TYPE_CHECKING:
    from bridge.show.model import Show

DIGITS = 8
NAMED = 8  # so many names in one line
_digests = by_name(lambda _, node: text(node), "a mapping of names to digests")


@dataclass(frozen=True)
class PosesOf:
    """`date` of the solve (UTC, ISO 8601), `name` of the rig, and digests: of each head, of each mark, of tapes and
    datum, of all sightings. What the file does not say is empty."""

    date: str = ""
    name: str = ""
    rig: Mapping[str, str] | None = None
    marks: Mapping[str, str] | None = None
    tapes: str = ""
    sightings: str = ""


def poses_of(show: Show, date: str) -> PosesOf:
    """What poses that are solved now from this show are of."""
    stage = show.stage
    return PosesOf(
        date,
        _rig_name(show),
        {fixture.name: _of_head(fixture) for fixture in show.fixtures},
        {mark.name: _of_mark(mark) for mark in stage.marks.values()},
        _of_tapes(stage),
        _digest([[s.fixture, s.mark, s.pan, s.tilt, s.zoom, s.sighted_by] for s in sorted(show.sightings, key=_place)]),
    )


def document_of(show: Show, solved: Mapping[str, Any], date: str) -> dict[str, Any]:
    """The key `of` of poses.yaml: `solved` are the heads with a new pose; the others stay of what they were of."""
    now, before = poses_of(show, date), show.poses_of or PosesOf()
    old = before.rig or {}
    kept = {name: old[name] for name in show.poses if name in old}
    new = {name: digest for name, digest in (now.rig or {}).items() if name in solved}
    heads = {name: digest for name, digest in {**kept, **new}.items() if name in (now.rig or {})}
    said = {"date": date, "name": now.name, "tapes": now.tapes, "sightings": now.sightings}
    return {
        **{key: value for key, value in said.items() if value},  # a rig that is called as its folder has no name here
        "marks": dict(now.marks or {}),
        "rig": heads,
    }


def read_of(node: Node) -> PosesOf:
    """The key `of`. Raises Bad; every part of it may be missing."""
    m = KeyReader(node, "a mapping with date, name, rig, marks, tapes and sightings")
    found = PosesOf(
        m.optional("date", text, ""),
        m.optional("name", text, ""),
        m.optional("rig", _digests, None),
        m.optional("marks", _digests, None),
        m.optional("tapes", text, ""),
        m.optional("sightings", text, ""),
    )
    m.done()
    return found


def words(show: Show) -> Iterator[tuple[str, str]]:
    """(level, text): what the poses of a show are of, and what has changed since. Level is info or warning.

    `run` and `check` say the same. Nothing where there are no poses.
    """
    if not show.poses:
        return
    of = show.poses_of
    if of is None:
        yield "info", "poses.yaml does not say what it is of (made by hand?): whether rig or marks changed is not known"
        return
    yield "info", f"poses of {shown(of.name) or 'a rig without a name'}, solved {_day(of.date)}"
    now = poses_of(show, of.date)
    if of.name and now.name and of.name != now.name:
        yield "warning", _another_rig(of, now)
    if heads := [name for name in _changed(of.rig, now.rig) if name in show.poses]:
        yield "warning", _rig_words(heads)
    if marks := _changed(of.marks, now.marks, gone=True):
        yield "warning", _marks_words(marks)
    if of.tapes and of.tapes != now.tapes:
        yield "warning", "THE TAPES OR THE DATUM HAVE CHANGED since the poses were solved: solve again"
    if of.sightings and of.sightings != now.sightings:
        yield "info", "the sightings have changed since the poses were solved: solve again to use them"


def _rig_name(show: Show) -> str:
    """As rig.yaml says it; not the folder's, which a copy changes."""
    return "" if show.name == show.path.resolve().name else show.name


def _day(date: str) -> str:
    """2026-11-26T08:12:00+00:00 as 2026-11-26 08:12 UTC."""
    return f"{date[:10]} {date[11:16]} UTC" if date.endswith("+00:00") else shown(date) or "at an unknown time"


def _another_rig(of: PosesOf, now: PosesOf) -> str:
    return (
        f"THE POSES ARE OF ANOTHER RIG: of {shown(of.name)}, and this is {shown(now.name)}: "
        "if only the name is new, solve again; else sight this rig and solve"
    )


def _rig_words(heads: list[str]) -> str:
    return (
        f"THE RIG HAS CHANGED since the poses were solved: {_some(heads)} (hang, at, truss, unit or travel): "
        "what these poses say of them is of the hang before. Sight them again and solve, or put rig.yaml back"
    )


def _marks_words(marks: list[str]) -> str:
    return (
        f"THE MARKS HAVE CHANGED since the poses were solved: {_some(marks)}: all poses stand on the marks. Where only "
        "stage.yaml was mended, solve again; where tape on the floor was moved, sight these marks again, then solve"
    )


def _changed(before: Mapping[str, str] | None, now: Mapping[str, str] | None, gone: bool = False) -> list[str]:
    """Names whose digest is another one now; with `gone`, also those that are not there any more."""
    before, now = before or {}, now or {}
    return [name for name, digest in before.items() if (name in now or gone) and now.get(name) != digest]


def _place(sighting: Sighting) -> tuple[str, str, int]:
    """One sighting per fixture, mark and face."""
    return sighting.fixture, sighting.mark, sighting.face


def _of_head(fixture: Fixture) -> str:
    hang, pan, tilt = fixture.hang, fixture.profile.pan, fixture.profile.tilt
    turn = (hang.yaw, hang.pitch, hang.roll)
    travel = (pan.from_deg, pan.to_deg, tilt.from_deg, tilt.to_deg)
    return _digest([turn, fixture.at, fixture.truss, fixture.unit, travel])


def _of_mark(mark: Mark) -> str:
    return _digest([mark.at, mark.height])


def _of_tapes(stage: Stage) -> str:
    tapes = sorted((sorted(tape.between), tape.metres) for tape in stage.tapes)
    datum = stage.datum
    return _digest([tapes, (datum.origin, datum.along_x) if datum else None])


def _digest(parts: Any) -> str:
    """Letters a to p, so that no digest can be taken for a number."""
    found = hashlib.sha256(repr(_plain(parts)).encode()).hexdigest()[:DIGITS]
    return "".join(chr(ord("a") + int(digit, 16)) for digit in found)


def _plain(value: Any) -> Any:
    """Numbers to a micrometre or a microdegree, whole or not; sequences as lists."""
    if isinstance(value, int | float):
        return round(float(value), 6) + 0.0
    return [_plain(part) for part in value] if isinstance(value, list | tuple) else value


def _some(names: list[str]) -> str:
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")
