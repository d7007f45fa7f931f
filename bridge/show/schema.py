"""Every key of every file, asked of the readers themselves: what they read is what there is.

A reader is given an empty mapping and watched; what it asks for are its keys, and each key's own reader is asked in
turn. What is allowed is what it says when it refuses, so that nothing about a key is written down a second time.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.rig.profile import Axis, Profile
from bridge.show.folder import profile_file
from bridge.show.frames import read_frames
from bridge.show.keys import ANY_MAPPING, Asked, watched
from bridge.show.network import read_network
from bridge.show.poses import read_poses
from bridge.show.problems import Bad
from bridge.show.profile import read_profile
from bridge.show.rig import read_rig
from bridge.show.sightings import read_sightings
from bridge.show.stage import read_stage
from bridge.show.values import Parse
from bridge.show.yaml12 import Node

NAME, ITEM = ".NAME", "[]"  # in a path: a free name, and each item of a list
_NOWHERE = Path("a show folder")
_ANY_TURN = Axis(-math.inf, math.inf)
_AFTER_RANGE = re.compile(
    r"a (?:finite )?number(?: of at least \S+| from \S+ to \S+| above \S+(?: and up to \S+)?)?+(?: of)? ([^\s(]+)"
)


def _any_profile(node: Node) -> Profile:
    """The profile of a fixture that is asked about: named as profiles are, and able to turn anywhere."""
    profile_file(_NOWHERE, node)
    return Profile("?", 1, {}, _ANY_TURN, _ANY_TURN)


READERS: dict[str, Callable[[Node], object]] = {
    "rig.yaml": lambda node: read_rig(node, _any_profile),
    "profiles/*.yaml": read_profile,
    "stage.yaml": read_stage,
    "network.yaml": lambda node: read_network(node, _NOWHERE),
    "sightings.yaml": lambda node: read_sightings(node, "sightings.yaml"),
    "poses.yaml": read_poses,
    "frames.yaml": read_frames,
}


@dataclass(frozen=True)
class Key:
    """One key: `path` inside `file`, e.g. `fixtures[].hang.yaw` or `marks.NAME.sigma`; `inside` is its parent's path.

    `allowed` are the readers' own words. `parse` is None where the key is allowed but never read; then, and where it
    is `required`, `default` means nothing.
    """

    file: str
    path: str
    inside: str
    parse: Parse[Any] | None
    required: bool
    default: Any
    allowed: tuple[str, ...]

    @property
    def name(self) -> str:
        """The key itself, as it stands in the file."""
        return self.path.rpartition(".")[2]

    @property
    def unit(self) -> str:
        """Unit of its numbers, "" where they have none."""
        for text in self.allowed:
            if "metres" in text or text.endswith(" m"):
                return "m"
            if found := _AFTER_RANGE.match(text):
                return found[1]
        return "degrees" if any("in degrees" in text for text in self.allowed) else ""


@functools.cache
def keys() -> tuple[Key, ...]:
    """All keys, file by file, each before those inside it, in the order in which they are read."""
    return tuple(key for file, read in READERS.items() for key in keys_read_by(file, read))


def keys_read_by(file: str, read: Parse[Any], path: str = "") -> Iterator[Key]:
    """The keys that one reader reads; those of a part of a file where it reads what stands at `path`."""
    shape, asked = _asked_inside(read)
    for one in {one.key: one for one in asked}.values():  # a key may be asked for twice: the last one counts
        below = f"{path}{shape}.{one.key}".lstrip(".")
        allowed = allowed_by(one.parse) if one.parse else ()
        yield Key(file, below, path, one.parse, one.required, one.default, allowed)
        if one.parse:
            yield from keys_read_by(file, one.parse, below)


def _asked_inside(read: Parse[Any]) -> tuple[str, list[Asked]]:
    """What a reader asks a mapping for, and where that mapping stands: the value itself, an item, or under a name."""
    for shape in ("", ITEM, NAME):
        mapping = Node(1, {})
        value = {"": mapping, ITEM: Node(1, [mapping]), NAME: Node(1, {"name": mapping})}[shape]
        with watched() as asked:
            _said_by(read, value)
        found = [one for one in asked if one.node is mapping]
        if found:
            return shape, found
    return "", []


def allowed_by(read: Parse[Any]) -> tuple[str, ...]:
    """What a reader says is allowed, of the value and then of what is in it, when it is given what cannot be."""
    strange = [Node(1, ".", "."), Node(1, "x" * 999, "x" * 999)]
    if not _asked_inside(read)[1]:
        values = (Node(1, {}), Node(1, [Node(1, {})] * 3))
        strange += [values[0], *_lists(values[0])]
        strange += [Node(1, {key: value}) for key in ("name", "1") for value in values]
    said = dict.fromkeys(text for value in strange for text in _said_by(read, value))
    return tuple(text for text in said if text != ANY_MAPPING)


def _lists(item: Node) -> Iterator[Node]:
    """Lists of one to five items, and lists of such lists."""
    for count in range(1, 6):
        yield Node(1, [item] * count)
    for outer in range(1, 4):
        for inner in range(1, 5):
            yield Node(1, [Node(1, [item] * inner)] * outer)


def _said_by(read: Parse[Any], value: Node) -> list[str]:
    try:
        read(value)
    except Bad as error:
        return [text for problem in error.problems if (text := _after_allowed(problem.text))]
    return []


def _after_allowed(text: str) -> str:
    """`found X, allowed is Y` -> Y, without what only fits X."""
    found = re.search(r"allowed(?: is| are|:) (.*)", text)
    return re.sub(r" \((?:nearest|this) is .*?\)$", "", found[1]) if found else ""


def written(value: Any) -> str | None:
    """A default as it would stand in a file; None where it has no such form (nothing, or a whole group of keys)."""
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, int | float):
        return f"{value:g}" if math.isfinite(value) else None
    if isinstance(value, str):
        return value or None
    if isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], str) and isinstance(value[1], int):
        return f"{value[0]}:{value[1]}"
    if isinstance(value, list | tuple) and value:
        parts = [written(part) for part in value]
        return None if None in parts else "[" + ", ".join(part for part in parts if part) + "]"
    return None
