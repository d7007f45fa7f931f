"""What an import does, as data for people and programs: each change, and values in few words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from bridge.exchange.three_way import Step
from bridge.show.problems import shown
from bridge.show.rows import row

LISTED = 6


class Change(NamedTuple):
    """One thing that becomes another: `path` as `foh-1.at`, `was` and `now` as plain data (None: nothing)."""

    file: str
    path: str
    was: Any
    now: Any
    text: str


def changes_of(file: str, inside: str, steps: Iterable[Step]) -> list[Change]:
    """The steps of one head or profile as changes."""
    return [_change(file, ".".join([*([inside] if inside else []), *step.path]), step) for step in steps]


def _change(file: str, path: str, step: Step) -> Change:
    was = "nothing" if step.ours is None else value(step.ours)
    where = path if "/" not in file else f"{file}: {path}"
    return Change(file, path, step.ours, step.theirs, f"{where}: {was} -> {value(step.theirs)}")


def value(data: Any) -> str:
    """A value in one short line."""
    try:
        return shown(row(data), 100)
    except (ValueError, TypeError):
        return shown(str(data), 100)


def steps_said(steps: Iterable[Step]) -> str:
    """`address 21 (the file: 45), at [..] (..)`."""
    each = [f"{'.'.join(step.path)} {value(step.ours)} (the file: {value(step.theirs)})" for step in steps]
    return listed(each)


def listed(words: list[str]) -> str:
    """A list cut short where it is long."""
    return ", ".join(words[:LISTED]) + (f" and {len(words) - LISTED} more" if len(words) > LISTED else "")


def sentence(text: str) -> str:
    """Words of a reader as people read them; a name in front stays as it is."""
    first = text.partition(" ")[0]
    return text[:1].upper() + text[1:] if first.isalpha() and first.islower() else text
