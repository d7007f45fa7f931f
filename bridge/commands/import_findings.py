"""What an import left open, until a sighting or a person has answered it. All of it notes: nothing here is wrong."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from bridge.commands.findings import Finding, names_of
from bridge.rig.fixture import Fixture
from bridge.show.folder import read_tree
from bridge.show.imported import IMPORTED, ImportedProfile, read_imported
from bridge.show.load import RIG
from bridge.show.model import Show
from bridge.show.problems import Bad

_STRIKE = f"or strike it from `confirm` in {IMPORTED}"


def import_findings(show: Show) -> Iterator[Finding]:
    """A note for each open point of each imported profile that heads of the rig have."""
    imported = read_imported(show.path)
    if imported.damaged:
        text = "is damaged: the next `import` cannot tell what you have changed since the last one; mend or delete it"
        yield Finding("warning", IMPORTED, f"{text} ({imported.damaged})")
    if not any(profile.confirm for profile in imported.profiles.values()):
        return
    heads = _heads_by_file(show)
    for file, profile in imported.profiles.items():
        if profile.confirm and heads.get(file):
            yield from (Finding("note", file, text) for text in _open_points(show, file, profile, heads[file]))


def _open_points(show: Show, file: str, profile: ImportedProfile, heads: list[Fixture]) -> Iterator[str]:
    names = names_of([head.name for head in heads])
    signs = [word for word in ("pan", "tilt") if word in profile.confirm]
    if signs and not any(_is_proven(show, head) for head in heads):
        turn = f"{' and '.join(signs)} turn{'s' * (len(signs) == 1)}"
        few = "two marks" if any(head.at for head in heads) else "three marks (two where rig.yaml has its `at`)"
        yield (
            f"which way {turn} is as {profile.source or 'its file'} has it, and was seen on no head ({names}): "
            f"sight one on {few}, and `solve` tells. First light low and nobody near: heads move without warning"
        )
    here = _document(show.path / file)
    if "focus" in profile.confirm and not _answered("focus", profile, here, heads):
        yield (
            f"no file says which focus value is sharp at which distance ({names}): set it sharp at each mark while "
            f"sighting, and `solve` learns it; or write a table under `focus`, {_STRIKE}"
        )
    if "zoom" in profile.confirm and not _answered("zoom", profile, here, heads):
        yield (
            f"the zoom's angles were measured on no head ({names}): measure the pool's width at two or three values "
            f"and correct the table under `zoom`, {_STRIKE}"
        )
    if "candela" in profile.confirm and _light_counts(show) and not _has_own_candela(profile, here, heads):
        yield (
            f"candela are not known, or the file's estimate ({names}), and `light:` in stage.yaml counts with them: "
            "put measured ones, or the maker's, into the third column of the zoom table"
        )


def _is_proven(show: Show, head: Fixture) -> bool:
    """Whether the head has a trusted pose from sightings that a pan of the other sign could not have.

    That would be the same head seen in a mirror: in the upright plane through two marks, where only the plot shows it.
    """
    pose = show.poses.get(head.name)
    if pose is None or not pose.trusted:
        return False
    marks = {mark.partition("/")[0] for mark in pose.residuals}
    return len(marks) >= 3 or (len(marks) == 2 and head.at is not None)


def _answered(key: str, profile: ImportedProfile, here: Mapping[str, Any], heads: list[Fixture]) -> bool:
    """By a table that a head's own sightings taught, or by a hand that wrote another than the import gave."""
    taught = any((head.focus_table if key == "focus" else head.zoom_table) is not None for head in heads)
    return taught or (here.get(key) is not None and here.get(key) != profile.given.get(key))


def _light_counts(show: Show) -> bool:
    return show.stage.evenness or show.stage.at_most_lux is not None


def _has_own_candela(profile: ImportedProfile, here: Mapping[str, Any], heads: list[Fixture]) -> bool:
    """Whether all have candela, and in another table than the import gave."""
    tables = [head.zoom_table or (head.profile.zoom.rows if head.profile.zoom else ()) for head in heads]
    known = all(rows and all(candela is not None for _, _, candela in rows) for rows in tables)
    return known and _answered("zoom", profile, here, heads)


def _heads_by_file(show: Show) -> dict[str, list[Fixture]]:
    """Heads by the file that their `profile:` names; a loaded fixture does not know it."""
    fixtures = {fixture.name: fixture for fixture in show.fixtures}
    listed = _document(show.path / RIG).get("fixtures")
    out: dict[str, list[Fixture]] = {}
    for entry in listed if isinstance(listed, list) else []:
        head = fixtures.get(str(entry.get("name"))) if isinstance(entry, dict) else None
        if head is not None:
            out.setdefault(posixpath.normpath(str(entry.get("profile"))), []).append(head)
    return out


def _document(path: Path) -> dict[str, Any]:
    """A file as plain data; empty where it cannot be read (it was a moment ago)."""
    try:
        plain = read_tree(path)[0].plain()
    except (Bad, OSError):
        return {}
    return plain if isinstance(plain, dict) else {}
