"""Checks across files: names that must exist, addresses that must not overlap, angles that a head must reach."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from bridge.rig.profile import Profile
from bridge.show.poses import PoseEntry, PosesFile
from bridge.show.problems import Problems, shown, unknown
from bridge.show.profile import raw_problems
from bridge.show.rig import RigEntry, RigFile, axis_range
from bridge.show.sightings import SightingEntry
from bridge.show.yaml12 import Node

_ROUNDING = 1e-3  # degrees: a sighting at the very end of a range, rounded when it was written


@dataclass(frozen=True)
class Names:
    """Every name that a file says, also of things with problems; None where the file could not be read at all."""

    fixtures: Collection[str] | None = None
    marks: Collection[str] | None = None
    targets: Collection[str] | None = None
    fixture_nodes: list[tuple[str, Node]] = field(default_factory=list)


def check_rig(rig: RigFile, names: Names, problems: Problems) -> None:
    """Doubled names, overlapping addresses, targets that nobody defined."""
    first: dict[str, int] = {}
    for name, node in names.fixture_nodes:
        if name in first:
            text = f"found the name '{shown(name)}' a second time (first in line {first[name]}), allowed is once"
            problems.add("rig.yaml", node.line, f"fixtures: {text}")
        first.setdefault(name, node.line)
    _check_addresses(rig.entries, problems)
    for entry in rig.entries:
        target = entry.fixture.follows
        if target is not None and names.targets is not None and target not in names.targets:
            text = f"fixtures.{entry.written_name}.follows: {unknown('target', target, names.targets)}"
            problems.add("rig.yaml", entry.node.line_of("follows"), text)


def _check_addresses(entries: Iterable[RigEntry], problems: Problems) -> None:
    """Each fixture against the one that reaches furthest among those that start before it in its universe."""
    last_entry: dict[int, RigEntry] = {}
    placed = [entry for entry in entries if entry.good("universe", "address", "profile")]
    for entry in sorted(placed, key=lambda item: (item.fixture.universe, item.fixture.address)):
        fixture = entry.fixture
        other = last_entry.get(fixture.universe)
        if other is not None and _end(other) >= fixture.address:
            text = (
                f"fixtures.{entry.written_name}.address: found {_span(entry)}, which overlaps {other.written_name} at "
                f"{_span(other)} (universe {fixture.universe}, rig.yaml:{other.node.line_of('address')}); "
                f"allowed are addresses of its own, the next free one after it is {_end(other) + 1}"
            )
            problems.add("rig.yaml", entry.node.line_of("address"), text)
        if other is None or _end(entry) > _end(other):
            last_entry[fixture.universe] = entry


def _end(entry: RigEntry) -> int:
    return entry.fixture.address + entry.fixture.profile.footprint - 1


def _span(entry: RigEntry) -> str:
    return f"{entry.fixture.address}-{_end(entry)}"


def check_stage(node: Node, names: Names, problems: Problems) -> None:
    """Names in datum and tapes. Works on the tree, so that it also speaks where the stage has other problems."""
    marks, fixtures = names.marks or (), names.fixtures
    datum = node.get("datum")
    for key in ("origin", "along_x"):
        found = datum.get(key) if datum else None
        if found is not None and isinstance(found.value, str | int) and found.text not in marks:
            problems.add("stage.yaml", found.line, f"datum.{key}: {unknown('mark', found.text, marks)}")
    tapes = node.get("tapes")
    for index, tape in enumerate(tapes.value if tapes and isinstance(tapes.value, list) else [], 1):
        between = tape.get("between")
        for end in between.value if between and isinstance(between.value, list) else []:
            if isinstance(end.value, str | int) and fixtures is not None:
                _check_end(f"tapes.{index}.between", end, marks, fixtures, problems)


def _check_end(where: str, end: Node, marks: Collection[str], fixtures: Collection[str], problems: Problems) -> None:
    if end.text in marks and end.text in fixtures:
        text = f"found '{end.text}', which is a mark and a fixture; allowed is a name that only one of them has"
        problems.add("stage.yaml", end.line, f"{where}: {text}")
    elif end.text not in marks and end.text not in fixtures:
        text = unknown("mark or fixture", end.text, [*marks, *fixtures])
        problems.add("stage.yaml", end.line, f"{where}: {text}")


def check_sightings(entries: list[SightingEntry], rig: RigFile, names: Names, file: str, problems: Problems) -> None:
    """Unknown fixtures and marks, sightings made twice, angles and raw values that the head does not have."""
    profiles = _profiles(rig)
    first: dict[tuple[str, str, int], int] = {}
    for entry in entries:
        sighting, node = entry.sighting, entry.node
        for key, found, allowed in (
            ("fixture", sighting.fixture, names.fixtures),
            ("mark", sighting.mark, names.marks),
        ):
            if entry.good(key) and allowed is not None and found not in allowed:
                problems.add(file, node.line_of(key), f"sightings.{key}: {unknown(key, found, allowed)}")
        if sighting.fixture in profiles:
            _check_reach(entry, profiles[sighting.fixture], file, problems)
        if not entry.good("fixture", "mark", "tilt"):
            continue
        key_of = (sighting.fixture, sighting.mark, sighting.face)
        if key_of in first:
            text = (
                f"sightings: found a second sighting of {sighting.fixture} on {sighting.mark}, face {sighting.face} "
                f"(first in line {first[key_of]}); allowed is one per fixture, mark and face"
            )
            problems.add(file, node.line, text)
        first.setdefault(key_of, node.line)


def _profiles(rig: RigFile) -> dict[str, Profile]:
    """By fixture; those that could not be read are said where they stand."""
    return {entry.fixture.name: entry.fixture.profile for entry in rig.entries if entry.good("name", "profile")}


def _check_reach(entry: SightingEntry, profile: Profile, file: str, problems: Problems) -> None:
    sighting = entry.sighting
    where = f"sightings.{sighting.fixture} on {sighting.mark}"
    for key, axis, angle in (("pan", profile.pan, sighting.pan), ("tilt", profile.tilt, sighting.tilt)):
        low, high = axis_range(axis)
        if entry.good(key) and not low - _ROUNDING <= angle <= high + _ROUNDING:
            text = f"found {angle:g}, allowed is {low:g} to {high:g} degrees, the range of {profile.name}"
            problems.add(file, entry.node.line_of(key), f"{where}, {key}: {text}")
    for key, raw in (("zoom", sighting.zoom), ("focus", sighting.focus)):
        if raw is None:
            continue
        if key not in profile.channels:
            text = f"found {raw}, allowed is no {key}: {profile.name} has no such channel"
            problems.add(file, entry.node.line_of(key), f"{where}, {key}: {text}")
        for text in raw_problems(profile, key, [raw]):
            problems.add(file, entry.node.line_of(key), f"{where}, {key}: {text}")


def check_poses(
    poses: PosesFile, rig: RigFile, names: Names, file: str, problems: Problems, warnings: Problems
) -> None:
    """Optics beyond the channel; poses and marks of what is not there any more are only warned of."""
    profiles = _profiles(rig)
    for entry in poses.entries:
        if names.fixtures is not None and entry.name not in names.fixtures:
            text = f"fixtures: {unknown('fixture', entry.name, names.fixtures)}; this pose is not used"
            warnings.add(file, entry.line, text)
        if entry.name in profiles:
            _check_optics(entry, profiles[entry.name], file, problems)
    for mark in poses.marks:
        if names.marks is not None and mark not in names.marks:
            text = f"marks: {unknown('mark', mark, names.marks)}; it is not used"
            warnings.add(file, poses.mark_lines.get(mark, 1), text)


def _check_optics(entry: PoseEntry, profile: Profile, file: str, problems: Problems) -> None:
    raws = {
        "zoom": [row[0] for row in entry.zoom_table or ()],
        "focus": [row[1] for row in entry.focus_table or ()],
    }
    for channel, values in raws.items():
        for text in raw_problems(profile, channel, values):
            problems.add(file, entry.node.line_of("optics"), f"fixtures.{entry.name}.optics.{channel}: {text}")
