"""What each key means, in words: the one thing about a key that its reader cannot say (`meanings/*.txt`).

A table begins with `FILE: what it holds`. A key is then two lines, `path = example` and, indented, what it means; an
indented `without:` says what holds where the key is absent and the reader has no default that could be shown.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass, field
from importlib import resources

from bridge.show.schema import Key, keys

_TABLES = ("rig", "profiles", "stage", "network", "sightings", "poses", "frames")
_WITHOUT = "without:"


@dataclass
class Meaning:
    """Sentences, the first of which can stand alone; an example as it stands in a file."""

    example: str
    says: str = ""
    without: str = ""

    @property
    def short(self) -> str:
        """The first sentence."""
        return re.split(r"(?<=\.)\s", self.says, maxsplit=1)[0]


@dataclass
class Table:
    """What one file holds, and the meanings of its keys by path, in the order in which they are told."""

    file: str
    about: str
    meanings: dict[str, Meaning] = field(default_factory=dict)


@functools.cache
def tables() -> dict[str, Table]:
    """All tables by file, e.g. `rig.yaml`."""
    folder = resources.files("bridge") / "show" / "meanings"
    found = [_table((folder / f"{name}.txt").read_text("utf-8")) for name in _TABLES]
    return {table.file: table for table in found}


def _table(text: str) -> Table:
    first, *lines = text.splitlines()
    file, _, about = first.partition(": ")
    table, last = Table(file, about), Meaning("")
    for line in lines:
        words = line.strip()
        if not line.startswith(" "):
            path, _, example = line.partition(" = ")
            last = table.meanings[path] = Meaning(example)
        elif words.startswith(_WITHOUT):
            last.without = words.removeprefix(_WITHOUT).strip()
        else:
            last.says = f"{last.says} {words}".strip()
    return table


@functools.cache
def explained() -> tuple[tuple[Key, Meaning], ...]:
    """Every key that is read, with its meaning, file by file in the order of the tables."""
    found = []
    for file, table in tables().items():
        order = list(table.meanings)
        ours = [(key, table.meanings[key.path]) for key in keys() if key.file == file and key.path in table.meanings]
        found += sorted(ours, key=lambda pair: order.index(pair[0].path))
    return tuple(found)
