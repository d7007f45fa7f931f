"""Paperwork as CSV: from any office's list of heads to fixtures. Nothing is guessed in silence."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from bridge.exchange.found import Found, FoundFixture, Skipped
from bridge.exchange.table_columns import Column, Layout, find_layout, score
from bridge.exchange.table_headings import AXES, TURNS, fold, read_maps
from bridge.exchange.table_out import write_table
from bridge.exchange.table_patch import Patch, PatchColumns, read_patches
from bridge.exchange.table_places import Places
from bridge.exchange.table_rows import Row, read_rows
from bridge.exchange.table_said import Said, brief
from bridge.exchange.table_values import decimal_mark, number, seconds
from bridge.rig.fixture import Vector3
from bridge.show.profile import LONGEST_LAG
from bridge.show.values import is_name

__all__ = ["read_table", "write_table"]
_TOTAL = re.compile(r"(?:sub ?)?(?:grand )?(?:total|totals|sum|summe|gesamt|somme|suma|totale|totaal|count|anzahl)\b.*")
_NUMBERS = (*AXES, *TURNS, "lag", "at_sigma", "hang.sigma")
Rows = list[tuple[str, Row]]


def read_table(source: Path | bytes, what: str, maps: Mapping[str, str] | None = None) -> Found:
    """The fixtures of a text table (.csv, .tsv, .txt), as it has them; `type` is also what a column `profile` names.

    `what` is the file in messages. `maps`: heading -> key of `rig.yaml` (table_headings.KEYS), which a unit may follow
    (`at.x mm`). Raises FileRefused for what is no text table, is too large, has no heading line, or for a wrong map.
    """
    said = Said()
    mapped = read_maps(maps or {}, what)
    table = read_rows(source, what, lambda row: score(row, mapped), said)
    layout = find_layout(table.rows, mapped, what, said)
    rows = _heads(table.rows, layout, said)
    cells = [layout.cell(row, key) for _, row in rows for key in _NUMBERS if key in layout.columns]
    reader = _Reader(layout, rows, decimal_mark(cells), said)
    fixtures = reader.fixtures()
    if not fixtures and not said.skipped and not said.asks:
        said.question("no head in the table: is there a row below the headings?")
    return Found((), fixtures, said.questions, tuple(said.skipped), said.notes, tuple(said.asks))


def _heads(rows: list[Row], layout: Layout, said: Said) -> Rows:
    """(place in words, cells) of every row that may be a head; titles, totals and headings said again are left out."""
    out: Rows = []
    if not {"name", "number", "address"} & set(layout.columns):
        return out
    headings = rows[layout.heading_row]
    for at, row in enumerate(rows[layout.first :], layout.first + 1):
        cells = [cell for cell in row if cell]
        if not cells or row == headings:
            continue
        label = layout.cell(row, "name") or layout.cell(row, "number")
        place = f"row {at}" + (f", {brief(label)[1:-1]}" if label else "")
        if _TOTAL.fullmatch(fold(cells[0])) and not layout.cell(row, "address"):
            said.skipped.append(Skipped(place, "a total, no head"))
        elif not label and not layout.cell(row, "address"):
            said.skipped.append(
                Skipped(place, f"neither name, number nor address: a title or a note? {brief(cells[0])}")
            )
        else:
            out.append((place, row))
    return out


class _Reader:
    """The rows of one table as fixtures."""

    def __init__(self, layout: Layout, rows: Rows, mark: str, said: Said) -> None:
        self._layout, self._rows, self._mark, self._said = layout, rows, mark, said
        self._places = Places(layout, [row for _, row in rows], mark, said)

    def fixtures(self) -> tuple[FoundFixture, ...]:
        """Rows that are not patched are skipped, and said; what else is wrong in a row is left out of it, and said."""
        out: list[FoundFixture] = []
        taken: dict[tuple[int, int], str] = {}
        for (place, row), patch in zip(self._rows, self._patches(), strict=True):
            if patch.why:
                self._said.skipped.append(Skipped(place, patch.why))
                continue
            out.append(self._fixture(place, row, patch))
            if patch.universe and patch.address:
                other = taken.setdefault((patch.universe, patch.address), place)
                if other != place:
                    self._said.question(
                        f"the same address as {other}: a mistake, or two heads that always do the same?", place
                    )
        return tuple(out)

    def _patches(self) -> list[Patch]:
        columns = self._layout.columns
        address, universe = columns.get("address"), columns.get("universe")
        if address is None:
            return [Patch()] * len(self._rows)
        return read_patches(
            PatchColumns(
                [self._layout.cell(row, "address") for _, row in self._rows],
                None if universe is None else [self._layout.cell(row, "universe") for _, row in self._rows],
                address.heading,
                address.unit,
                universe.heading if universe else "",
                bool(universe and universe.unit),
            ),
            [place for place, _ in self._rows],
            self._said,
        )

    def _fixture(self, place: str, row: Row, patch: Patch) -> FoundFixture:
        cell = self._layout.cell
        name, count = cell(row, "name"), cell(row, "number")
        if not name and not count:
            self._said.question("neither a name nor a number: named after its type", place)
        if not name and count and fold(self._layout.columns["number"].heading).startswith("unit"):
            name = f"{cell(row, 'truss')} {count}".strip()  # a place on its truss, which every truss has
        at, hang = self._places.at(place, row), self._places.hang(place, row)
        return FoundFixture(
            name=name or count or cell(row, "profile") or "head",
            number=count,
            where=place,
            type=cell(row, "profile"),
            mode=cell(row, "mode"),
            universe=patch.universe,
            address=patch.address,
            hang=hang,
            at=at,
            truss=cell(row, "truss"),
            keys=self._keys(place, row, at, hang),
        )

    def _keys(self, place: str, row: Row, at: Vector3 | None, hang: Vector3 | None) -> dict[str, Any]:
        """Further keys of `rig.yaml`; one that would not be allowed there is left out and said."""
        keys: dict[str, Any] = {}
        for key, parse in self._parsers(at, hang).items():
            text = self._layout.cell(row, key)
            if not text:
                continue
            try:
                keys[key.partition(".")[0]] = parse(text, self._layout.columns[key])
            except ValueError as error:
                heading = self._layout.columns[key].heading
                self._said.question(f"{brief(heading)} {brief(text)} {error}: not taken over", place)
        return keys

    def _parsers(self, at: Vector3 | None, hang: Vector3 | None) -> dict[str, Callable[[str, Column], Any]]:
        parsers: dict[str, Callable[[str, Column], Any]] = {
            "unit": _text, "follows": _name, "outside": _outside, "evenness": _text, "lag": self._lag,
            "hang.sigma": lambda text, _: self._hang_sigma(text, hang),
        }  # fmt: skip
        return parsers if at is None else {**parsers, "at_sigma": self._places.sigma}

    def _lag(self, text: str, column: Column) -> float:
        lag = seconds(text, self._mark, column.unit)
        if lag > LONGEST_LAG:
            raise ValueError(f"is above {LONGEST_LAG:g} s")
        return lag

    def _hang_sigma(self, text: str, hang: Vector3 | None) -> dict[str, float]:
        sigma = number(text, self._mark)[0]
        if not 0 < sigma <= 180:
            raise ValueError("is not above 0 and up to 180 degrees")
        yaw, pitch, roll = hang or (0.0, 0.0, 0.0)
        return {"yaw": yaw, "pitch": pitch, "roll": roll, "sigma": sigma}


def _text(text: str, _: Column) -> str:
    if not text.isprintable():
        raise ValueError("is no printable text")
    return text


def _name(text: str, _: Column) -> str:
    if not is_name(text):
        raise ValueError("is no name of letters, digits, - and _")
    return text


def _outside(text: str, _: Column) -> str:
    if text.lower() not in ("dark", "stay"):
        raise ValueError("is neither dark nor stay")
    return text.lower()
