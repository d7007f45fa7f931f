"""Saves changes of stage.yaml: all of them or none, only onto the file that was read, and only if the show then loads.

A page reads the file with `read_stage_file`, shows its data, and gives the changes (see `changes`) with the digest of
what it has read to `save_stage`. Every problem comes back as data, with a path such as `marks.A.at`, to be shown there.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.errors import InputError, ShowError
from bridge.show.changes import ENDS, change_of
from bridge.show.editing import edited
from bridge.show.field_problems import FieldProblem, field_problem, named_path, of_bad, under
from bridge.show.folder import decode, read_bytes, read_tree
from bridge.show.load import SIGHTINGS, STAGE, load
from bridge.show.problems import Bad, listed
from bridge.show.sightings import read_sightings
from bridge.show.spans import Layout, Span
from bridge.show.store import atomic_write

_BYTE_ORDER_MARK = "\ufeff"


class StageRefused(InputError):
    """Nothing was written: `problems` says all that is wrong."""

    def __init__(self, problems: Iterable[FieldProblem]) -> None:
        self.problems = tuple(dict.fromkeys(problems))
        super().__init__("\n".join(self.lines))

    @property
    def lines(self) -> list[str]:
        return [f"{p.file}:{p.line}: {p.path}{': ' if p.path else ''}{p.text}" for p in self.problems]


class StageChanged(InputError):
    """Nothing was written: stage.yaml is not the one that was read. `digest` is that of the file as it is now."""

    def __init__(self, digest: str) -> None:
        super().__init__(
            f"{STAGE} was changed by somebody else since it was read here, so nothing is saved and nothing is lost: "
            "read it again, then make the changes again"
        )
        self.digest = digest


@dataclass(frozen=True)
class StageFile:
    """stage.yaml as it is: its text, the digest that `save_stage` asks for, and its plain data as written."""

    text: str
    digest: str
    data: Any


def read_stage_file(folder: str | os.PathLike[str]) -> StageFile:
    """Raises StageRefused where the file cannot be read, or is not YAML."""
    try:
        text, digest = _read(Path(folder))
        return StageFile(text, digest, Layout(text.removeprefix(_BYTE_ORDER_MARK)).root.plain())
    except Bad as error:
        raise StageRefused(of_bad(error)) from None


def save_stage(folder: str | os.PathLike[str], changes: Iterable[Any], expected_digest: str) -> str:
    """Makes the changes in stage.yaml and gives its new digest; the version before is kept as stage.previous.yaml.

    A mark that is renamed is renamed in tapes and datum too. Raises StageChanged where the file is not the expected
    one, StageRefused with everything that is wrong, InputError where it cannot be written; the file then stays.
    """
    folder = Path(folder)
    try:
        text, digest = _read(folder)
        if digest != expected_digest:
            raise StageChanged(digest)
        changed = _Changed(text, list(changes))
    except Bad as error:
        raise StageRefused(of_bad(error)) from None
    problems = [*changed.problems, *_in_use(folder, changed), *_loading(folder, changed)]
    if problems:
        raise StageRefused(problems)
    if (now := _read(folder)[1]) != expected_digest:  # loading takes its time
        raise StageChanged(now)
    atomic_write(folder / STAGE, changed.text)
    return _digest(changed.text.encode())


def _read(folder: Path) -> tuple[str, str]:
    data = read_bytes(folder / STAGE)
    text = decode(data)
    return (_BYTE_ORDER_MARK if data.startswith(_BYTE_ORDER_MARK.encode()) else "") + text, _digest(data)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


class _Changed:
    """The text with those changes in it that could be made, the problems of the others, and which marks went."""

    def __init__(self, text: str, changes: list[Any]) -> None:
        self.text = text
        self.problems: list[FieldProblem] = []
        self.old = self.layout()
        self.before = self.old.root
        self.renamed: dict[str, str] = {}
        self.left: list[str] = []  # marks that went, also where another has their name now: sightings were not of that
        for change in changes:
            try:
                self._make(change)
            except Bad as error:
                self.problems += of_bad(error)
        self.after = self.layout().root
        self.gone = [name for name in _marks(self.before) if name not in _marks(self.after)]

    def layout(self) -> Layout:
        return Layout(self.text.removeprefix(_BYTE_ORDER_MARK))

    def _make(self, raw: Any) -> None:
        change = change_of(raw)
        on_marks = change.path[0] == "marks"
        marks = _marks(self.layout().root) if on_marks else []
        self.text = edited(self.text, [raw])
        if on_marks:
            left = _marks(self.layout().root)
            self.left += [name for name in marks if name not in left]
        if change.do == "rename" and len(change.path) == 2 and change.path[0] == "marks":
            self.text = edited(self.text, [
                {"do": "set", "path": path, "value": change.to} for path in _uses(self.layout().root, change.path[1])
            ])  # fmt: skip
            self.renamed[change.path[1]] = change.to


def _marks(root: Span) -> list[str]:
    marks = under(root, "marks")
    return marks.names if marks is not None and marks.kind == "map" else []


def _place_of(root: Span, mark: str) -> int:
    marks = under(root, "marks")
    return marks.keys[marks.names.index(mark)].start if marks is not None and mark in marks.names else 0


def _uses(root: Span, mark: str) -> list[tuple[str, ...]]:
    """Where in the stage file a mark is named: paths in `tapes` (by numbers) and `datum`."""
    datum, tapes = under(root, "datum"), under(root, ENDS)
    found: list[tuple[str, ...]] = []
    for key in ("origin", "along_x"):
        end = under(datum, key) if datum is not None else None
        if end is not None and end.text == mark:
            found.append(("datum", key))
    for number, tape in enumerate(tapes.items if tapes is not None and tapes.kind == "list" else [], 1):
        between = under(tape.real(), "between")
        ends = between.items if between is not None and between.kind == "list" else []
        found += [(ENDS, str(number), "between", str(n)) for n, end in enumerate(ends, 1) if end.real().text == mark]
    return found


def _in_use(folder: Path, changed: _Changed) -> list[FieldProblem]:
    """Marks that went but are still named by tapes, the datum or sightings."""
    sighted = _sighted(folder)
    marks = _marks(changed.before)
    problems = []
    for mark in dict.fromkeys(changed.left):
        heads = sighted.get(mark, []) if mark in marks else []
        uses = [] if mark in _marks(changed.after) else _uses(changed.after, mark)
        words = [named_path(changed.after, path[:2]) for path in uses]
        words += [f"sightings by {listed(heads)}"] if heads else []
        if not words:
            continue
        found = f"the mark '{mark}' in use: {', '.join(dict.fromkeys(words))}"
        allowed = "a mark that nothing names: remove its tapes, and forget its sightings (/sight/HEAD/forget), first"
        if mark in changed.renamed:
            found = f"a new name for '{mark}', of which there are sightings by {listed(heads)}"
            allowed = "to rename a mark without sightings: forget them (/sight/HEAD/forget) first, or add a second mark"
        line = changed.old.line(_place_of(changed.before, mark))
        problems.append(
            FieldProblem(STAGE, line, f"marks.{mark}", f"found {found}, allowed is {allowed}", found, allowed)
        )
    return problems


def _sighted(folder: Path) -> dict[str, list[str]]:
    """Mark -> heads that have sightings of it; what cannot be read of the file is said by the loading."""
    if not os.path.lexists(folder / SIGHTINGS):
        return {}
    try:
        entries, _ = read_sightings(read_tree(folder / SIGHTINGS)[0], SIGHTINGS)
    except Bad:
        return {}
    found: dict[str, list[str]] = {}
    for entry in entries:
        heads = found.setdefault(entry.sighting.mark, [])
        if entry.sighting.fixture not in heads:
            heads.append(entry.sighting.fixture)
    return found


def _loading(folder: Path, changed: _Changed) -> list[FieldProblem]:
    """What the whole show says of the new text; marks that went are left out, they have their own sentence."""
    try:
        load(folder, instead={STAGE: changed.text})
    except ShowError as error:
        missing = [f"found unknown {what} '{mark}'" for mark in changed.gone for what in ("mark", "mark or fixture")]
        lines = [line for line in error.lines if not any(one in line for one in missing)]
        return [field_problem(line, changed.after) for line in lines]
    return []
