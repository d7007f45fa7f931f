"""`imported.yaml`: what the last import of each file gave, and what it left open.

The next import compares with it, so that what a person has changed since is kept, and `check` reads what nobody has
seen yet. Whoever deletes it loses that memory only. So it is a file of the tool that never stops a show: what is
damaged counts as not there, and `Imported.damaged` says so.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bridge.show.emit import DECIMALS, to_yaml
from bridge.show.folder import VERSION, read_tree
from bridge.show.problems import Bad, shown
from bridge.show.yaml12 import Node

IMPORTED = "imported.yaml"
CONFIRM = ("pan", "tilt", "focus", "zoom", "candela")
_SMALL = 1e-3  # as in `emit`: below it digits are kept, not decimals
_HEAD = (
    "# Written by `tetherlight import`: what the last import gave, so that the next one keeps what you have changed\n"
    "# since, and what nobody has confirmed yet. Deleting it loses that memory and nothing else.\n"
)


@dataclass(frozen=True)
class ImportedProfile:
    """A profile file as the import gave it: `given` in the form of `normal`; `confirm` are words of CONFIRM."""

    source: str = ""
    mode: str = ""
    given: Mapping[str, Any] = field(default_factory=dict)
    confirm: tuple[str, ...] = ()


@dataclass(frozen=True)
class ImportedFixture:
    """A head as the import gave it: `id` is what the other program knows it by for ever, "" where it has none."""

    id: str = ""
    given: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Imported:
    """All of the file: profiles by file (`profiles/x.yaml`), fixtures by name; `damaged`: what was not readable."""

    profiles: Mapping[str, ImportedProfile] = field(default_factory=dict)
    fixtures: Mapping[str, ImportedFixture] = field(default_factory=dict)
    damaged: str = ""


def read_imported(folder: str | os.PathLike[str]) -> Imported:
    """What the folder's imported.yaml says; empty where there is none. Never raises: see `Imported.damaged`."""
    path = Path(folder) / IMPORTED
    if not os.path.lexists(path):
        return Imported()
    try:
        node, problems = read_tree(path)
    except (Bad, OSError, ValueError) as error:
        first = error.problems[0] if isinstance(error, Bad) and error.problems else None
        return Imported(damaged=f"{IMPORTED}:{first.line if first else 1}: {first or shown(str(error))}")
    wrong = [f"{IMPORTED}:{problem.line}: {problem}" for problem in problems]
    version = node.get("version")
    if not isinstance(node.value, dict) or version is None or version.value != VERSION:
        return Imported(
            damaged=f"{IMPORTED}:1: found another file, allowed is a mapping that begins 'version: {VERSION}'"
        )
    profiles = {name: _profile(entry) for name, entry in _entries(node, "profiles", wrong)}
    fixtures = {name: _fixture(entry) for name, entry in _entries(node, "fixtures", wrong)}
    return Imported(profiles, fixtures, wrong[0] if wrong else "")


def imported_document(imported: Imported) -> dict[str, Any]:
    """Plain data of the whole file, as `read_imported` reads it."""
    return {
        "version": VERSION,
        "profiles": {
            name: {"source": one.source, "mode": one.mode, "confirm": list(one.confirm), "given": normal(one.given)}
            for name, one in imported.profiles.items()
        },
        "fixtures": {name: {"id": one.id, "given": normal(one.given)} for name, one in imported.fixtures.items()},
    }


def imported_text(imported: Imported) -> str:
    """The text of the file. Raises ValueError or TypeError on what has no plain form (a number that is not finite)."""
    return _HEAD + to_yaml(imported_document(imported))


def normal(value: Any) -> Any:
    """Plain data in the one form in which it is compared: as it is read again after it was written.

    Keys are text (`"7"`), sequences lists, floats rounded to what is written. So `normal(new) == imported.given` says
    whether anything has changed.
    """
    if isinstance(value, Mapping):
        return {str(key): normal(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [normal(item) for item in value]
    if isinstance(value, float) and math.isfinite(value):
        return round(value, DECIMALS) if abs(value) >= _SMALL else float(f"{value:.{DECIMALS}g}")
    return value


def _entries(top: Node, key: str, wrong: list[str]) -> list[tuple[str, Node]]:
    """(name, entry) below `profiles` or `fixtures`; those that are no mappings are left out and said."""
    node = top.get(key)
    if node is None or node.value is None:
        return []
    if not isinstance(node.value, dict):
        wrong.append(f"{IMPORTED}:{node.line}: {key}: found {node}, allowed is a mapping")
        return []
    good = {name: entry for name, entry in node.value.items() if isinstance(entry.value, dict)}
    wrong += [
        f"{IMPORTED}:{entry.line}: {key}.{shown(name)}: found {entry}, allowed is a mapping"
        for name, entry in node.value.items()
        if name not in good
    ]
    return list(good.items())


def _profile(entry: Node) -> ImportedProfile:
    confirm = entry.get("confirm")
    words = [item.text for item in confirm.value] if confirm is not None and isinstance(confirm.value, list) else []
    known = tuple(word for word in CONFIRM if word in words)
    return ImportedProfile(_text(entry, "source"), _text(entry, "mode"), _given(entry), known)


def _fixture(entry: Node) -> ImportedFixture:
    return ImportedFixture(_text(entry, "id"), _given(entry))


def _given(entry: Node) -> dict[str, Any]:
    given = entry.get("given")
    plain = given.plain() if given is not None else None
    return plain if isinstance(plain, dict) else {}


def _text(entry: Node, key: str) -> str:
    node = entry.get(key)
    return node.text if node is not None and not isinstance(node.value, list | dict | None) else ""
