"""Which line of a table is its heading line, and which column holds what."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from bridge.errors import FileRefused
from bridge.exchange.table_headings import (
    AXES,
    DEPENDS,
    IGNORE,
    KEYS,
    LENGTHS,
    UNITS,
    Heading,
    fold,
    heading_of,
    is_heading,
    unit_of,
)
from bridge.exchange.table_rows import LOOKED_AT, Row
from bridge.exchange.table_said import Said, brief
from bridge.show.problems import nearest

LONGEST_HEADING = 80
NAMED = 12  # so many headings in one message
_SMALL = re.compile(r"[0-9]{1,3}")
_TURN = re.compile(r"(?:rot|rotation|rotate|drehung) ?([xyz])(?: deg)?|([xyz]) ?(?:rot|rotation|drehung)(?: deg)?")
_TURNS = {"x": "hang.roll", "y": "hang.pitch", "z": "hang.yaw"}


@dataclass(frozen=True)
class Column:
    """`index` in a row, the heading as written, the key, and the unit of it ("" where nothing gives one)."""

    index: int
    heading: str
    key: str
    unit: str = ""
    mapped: bool = False


@dataclass(frozen=True)
class Layout:
    """The heading line's place (0-based), the columns by key, and where the heads begin."""

    heading_row: int
    columns: Mapping[str, Column]
    first: int

    def cell(self, row: Row, key: str) -> str:
        """What a row has for a key, "" where it has none."""
        column = self.columns.get(key)
        return row[column.index] if column is not None and column.index < len(row) else ""


def score(row: Sequence[str], maps: Mapping[str, Heading]) -> int:
    """How many different things that paperwork says a row names: the heading line has most."""
    found = set()
    for cell in row:
        if not cell or len(cell) > LONGEST_HEADING:
            continue
        heading = maps.get(fold(cell) or cell) or heading_of(cell)
        if heading is not None:
            found.add(heading.key)
        elif is_heading(cell):
            found.add(fold(cell))
    return len(found)


def find_layout(rows: list[Row], maps: Mapping[str, Heading], what: str, said: Said) -> Layout:
    """The heading line and its columns. Raises FileRefused where there is none, or a mapped heading is not in it."""
    at = _heading_row(rows, maps, what)
    headings, body = rows[at], rows[at + 1 :]
    _check_maps(headings, maps, what)
    found: dict[str, Column] = {}
    unread: list[str] = []
    for index, column in _columns(headings, body, maps):
        if column is None:
            unread.append(headings[index])
        elif column.key != IGNORE:
            _take(column, found, said)
    if unread:
        more = f" and {len(unread) - NAMED} more" if len(unread) > NAMED else ""
        said.note(f"not read: {', '.join(brief(heading) for heading in unread[:NAMED])}{more}")
        _ask_turns(unread, said)
    units = _units_line(body, found)
    if units:
        found = {key: replace(c, unit=c.unit or units.get(key, "")) for key, c in found.items()}
    _ask_missing(found, unread, said)
    return Layout(at, found, at + (2 if units else 1))


def _heading_row(rows: list[Row], maps: Mapping[str, Heading], what: str) -> int:
    """The line that names most, the first of equals; else the first of words alone, over a row of cells."""
    scores = [score(row, maps) for row in rows[:LOOKED_AT]]
    best = max(scores, default=0)
    if best >= 2 or (best and maps):
        return scores.index(best)
    for at, row in enumerate(rows[: min(LOOKED_AT, len(rows) - 1)]):
        words = [cell for cell in row if cell]
        if len(words) >= 2 and not any(any(char.isdigit() for char in cell) for cell in words):
            if sum(1 for cell in rows[at + 1] if cell) >= 2:
                return at
            break
    first = next((row for row in rows if any(row)), [])
    found = ", ".join(brief(cell) for cell in first[:NAMED] if cell)
    raise FileRefused(
        f"{what}: expected a heading line with words such as name, channel, universe, address, x, y, z; found none in"
        f" {min(len(rows), LOOKED_AT)} rows, the first being {found}"
    )


def _check_maps(headings: Row, maps: Mapping[str, Heading], what: str) -> None:
    there = {fold(heading) or heading: heading for heading in headings if heading}
    for wanted in maps:
        if wanted not in there:
            near = nearest(wanted, there)
            hint = f" (nearest is {brief(there[near])})" if near else ""
            names = ", ".join(brief(heading) for heading in list(there.values())[:NAMED])
            raise FileRefused(f"{what}: no heading {brief(wanted)} to map{hint}; found {names}")


def _columns(headings: Row, body: list[Row], maps: Mapping[str, Heading]) -> list[tuple[int, Column | None]]:
    named = {known.key for heading in headings if (known := maps.get(fold(heading)) or heading_of(heading))}
    out: list[tuple[int, Column | None]] = []
    for index, text in enumerate(headings):
        if not text:
            continue
        heading = maps.get(fold(text) or text) or heading_of(text)
        if heading is None and fold(text) in DEPENDS:
            key = _by_values(fold(text), [row[index] for row in body if index < len(row) and row[index]], named)
            heading = Heading(key) if key else None
        out.append((index, heading and Column(index, text, heading.key, heading.unit, heading.mapped)))
    return sorted(out, key=lambda each: each[1] is None or not each[1].mapped)


def _by_values(word: str, cells: list[str], named: set[str]) -> str:
    """`Unit` over 1 to 6 is a place on a truss, over A-1043 a serial number; `Fixture` may be number, name or type."""
    numbers = bool(cells) and all(_SMALL.fullmatch(cell) for cell in cells)
    if word == "unit":
        return "unit" if not numbers else "" if named & {"name", "number"} else "number"
    if numbers:
        return "number"
    return "profile" if len(set(cells)) < len(cells) or "name" in named else "name"


def _take(column: Column, found: dict[str, Column], said: Said) -> None:
    """The first column of a key holds; what a map says comes first of all."""
    if column.key not in found:
        found[column.key] = column
        return
    said.note(
        f"not read: {brief(column.heading)}, since {brief(found[column.key].heading)} is taken as {column.key} (else:"
        f' --map "{column.heading}=KEY")'
    )


def _units_line(body: list[Row], found: Mapping[str, Column]) -> dict[str, str]:
    """Units in a line of their own below the headings, by key; none where that line holds anything else."""
    line = next(iter(body), [])
    cells = [cell for cell in line if cell]
    kinds = [kind for kind in UNITS.values() if kind is not UNITS["address"] and kind is not UNITS["universe"]]
    if not cells or not all(any(unit_of(cell, kind) for kind in kinds) for cell in cells):
        return {}
    given = {}
    for key, column in found.items():
        text = line[column.index] if column.index < len(line) else ""
        unit = unit_of(text, UNITS.get(key, {})) if text else None
        if unit:
            given[key] = unit
    return given if any(key in given for key in AXES) or all(unit_of(cell, LENGTHS) for cell in cells) else {}


def _ask_turns(unread: list[str], said: Said) -> None:
    turns = [(heading, turn) for heading in unread if (turn := _TURNS.get(_TURN.sub(r"\1\2", fold(heading)), ""))]
    if turns:
        maps = " ".join(f'--map "{heading}={turn}"' for heading, turn in turns)
        said.question(
            f"{', '.join(brief(heading) for heading, _ in turns)}: which axis turns first differs between programs, so"
            f" they are not read and the heads hang straight. Where each head turns about one axis alone: {maps}"
        )


def _ask_missing(found: Mapping[str, Column], unread: list[str], said: Said) -> None:
    missing = [] if "name" in found or "number" in found else ["name or number"]
    missing += [] if "address" in found else ["address"]
    if not missing:
        return
    text = f"no heading says which column is the {' and which the '.join(missing)}"
    said.question(f'{text}: --map "HEADING=KEY"')
    taken = [found["number"].heading] if "number" in found and "address" in missing else []
    for heading in [*unread[:NAMED], *taken]:
        said.ask(heading, f"{text}: what is {brief(heading)}?", KEYS)
