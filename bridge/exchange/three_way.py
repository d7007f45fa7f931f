"""A file's values and a show's: what changes, what a person's hand has made of it since, and what both have changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from bridge.exchange.found import Document
from bridge.show.changes import same

Path = tuple[str, ...]
ABSENT: Any = None
"""Plain data of ours has no null: what is not there."""


class Step(NamedTuple):
    """One value: where, what stands in the show (None: nothing), and what the file says."""

    path: Path
    ours: Any
    theirs: Any


@dataclass
class Merged:
    """`document` is ours with `changed` in it. `kept`: changed by hand since the last import, the file says the same
    as then. `torn`: changed by hand, and the file says something else now; ours is kept."""

    document: Document
    changed: list[Step] = field(default_factory=list)
    kept: list[Step] = field(default_factory=list)
    torn: list[Step] = field(default_factory=list)


def merged(ours: Document, theirs: Document, base: Document | None, hand_first: bool = False) -> Merged:
    """Take over what the file says, except where a person has changed it since `base`, what the last import gave.

    Where the last import gave nothing, nobody knows who wrote ours: `hand_first` keeps it (torn), else the file's word
    counts. What the file says nothing of stays.
    """
    out = Merged(_copy(ours))
    for path, new in leaves(theirs):
        old, was = at(ours, path), at(base or {}, path)
        step = Step(path, old, new)
        if _alike(old, new):
            continue
        if was is ABSENT:
            _decide(out, step, take=not hand_first or old is ABSENT)
        elif _alike(was, new):
            out.kept.append(step)
        else:
            _decide(out, step, take=_alike(was, old))
    return out


def _decide(out: Merged, step: Step, take: bool) -> None:
    if not take or not _put(out.document, step.path, step.theirs):
        out.torn.append(step)
    else:
        out.changed.append(step)


def applied(document: Document, steps: Iterable[Step]) -> Document:
    """The document with these steps made, and nothing else."""
    out = _copy(document)
    for step in steps:
        _put(out, step.path, step.theirs)
    return out


def leaves(document: Document, above: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Every value that is no mapping, with its path; keys as text, as YAML has them."""
    for key, value in document.items():
        path = (*above, str(key))
        if isinstance(value, dict):
            yield from leaves(value, path)
        else:
            yield path, value


def at(document: Document, path: Path) -> Any:
    """The value at a path; ABSENT where there is none."""
    value: Any = document
    for step in path:
        if not isinstance(value, dict):
            return ABSENT
        value = value.get(step, value.get(int(step)) if step.isdecimal() else ABSENT)
    return value


def _put(document: Document, path: Path, value: Any) -> bool:
    """False where something else than a mapping stands on the way."""
    for step in path[:-1]:
        document = document.setdefault(step, {})
        if not isinstance(document, dict):
            return False
    document[path[-1]] = value
    return True


def _alike(old: Any, new: Any) -> bool:
    """The same value, as far as files write it: `320 cm` and 3.2, "101" and 101, 90 and 90.0000001."""
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(_alike, old, new))
    if isinstance(new, str) and isinstance(old, int | float) and not isinstance(old, bool):
        return new == str(old)
    if isinstance(new, int | float) and isinstance(old, int | float) and not isinstance(old, bool):
        return abs(old - new) <= 1e-6
    return old is not ABSENT and new is not ABSENT and same(old, new)


def _copy(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _copy(item) for key, item in value.items()}
    return [*map(_copy, value)] if isinstance(value, list) else value
