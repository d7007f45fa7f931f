"""Where heads hang and how, from the columns of a table: metres and degrees, or a question where a unit is not sure."""

from __future__ import annotations

import re

from bridge.exchange.table_columns import Column, Layout
from bridge.exchange.table_headings import AXES, TURNS
from bridge.exchange.table_rows import Row
from bridge.exchange.table_said import Said, brief
from bridge.exchange.table_values import FAR_M, UNSURE, angle_deg, is_open, length_m, roll_of
from bridge.rig.fixture import Vector3


class Places:
    """`at` and `hang` of the rows of one table. What keeps a column from being read is found once, for all rows."""

    def __init__(self, layout: Layout, rows: list[Row], mark: str, said: Said) -> None:
        self._layout, self._mark, self._said = layout, mark, said
        self._axes_are_good = self._check_axes(rows)

    def at(self, place: str, row: Row) -> Vector3 | None:
        """Metres; None where the row has no place, or not all three numbers of one can be read (said)."""
        if not self._axes_are_good:
            return None
        cells = [self._layout.cell(row, key) for key in AXES]
        if not any(cells):
            return None
        if not all(cells):
            self._said.question("not all of x, y and z are there: no place is taken over", place)
            return None
        found = []
        for key, cell in zip(AXES, cells, strict=True):
            column = self._layout.columns[key]
            try:
                found.append(length_m(cell, self._mark, column.unit)[0])
            except ValueError as error:
                self._said.question(f"{brief(column.heading)} {brief(cell)} {error}: no place is taken over", place)
                return None
        return found[0], found[1], found[2]

    def sigma(self, text: str, column: Column) -> list[float] | float:
        """One length or three, metres. Raises ValueError."""
        parts = re.split(r"[ ;/]+", text)
        found = [length_m(part, self._mark, column.unit)[0] for part in parts]
        if len(found) not in (1, 3) or not all(each > 0 for each in found):
            raise ValueError("is not one length or three, above 0")
        return found if len(found) == 3 else found[0]

    def hang(self, place: str, row: Row) -> Vector3 | None:
        """(yaw, pitch, roll), degrees; what is not there is 0. None where nothing is said of it."""
        turns: dict[str, float] = {}
        for key in TURNS:
            cell = self._layout.cell(row, key)
            if cell:
                column = self._layout.columns[key]
                try:
                    turns[key] = angle_deg(cell, self._mark, column.unit)
                except ValueError as error:
                    self._said.question(
                        f"{brief(column.heading)} {brief(cell)} {error}: how it hangs is not taken over", place
                    )
                    return None
        self._word(place, row, turns)
        return (turns.get(TURNS[0], 0.0), turns.get(TURNS[1], 0.0), turns.get(TURNS[2], 0.0)) if turns else None

    def _word(self, place: str, row: Row, turns: dict[str, float]) -> None:
        """Hanging or standing, where there is no number for it."""
        word = self._layout.cell(row, "hang")
        if not word:
            return
        try:
            roll = roll_of(word)
        except ValueError as error:
            self._said.question(f"{brief(self._layout.columns['hang'].heading)} {brief(word)} {error}", place)
            return
        turns.setdefault(TURNS[2], roll)

    def _check_axes(self, rows: list[Row]) -> bool:
        """Whether x, y and z are all there and their units are known; said where not."""
        columns = [self._layout.columns[key] for key in AXES if key in self._layout.columns]
        if len(columns) < 3:
            if columns:
                missing = ", ".join(key[-1] for key in AXES if key not in self._layout.columns)
                self._said.note(f"no places: there is no column for {missing}, only {brief(columns[0].heading)}")
            return False
        self._say_thousands([column for column in columns if column.unit in ("mm", "cm")], rows)
        bare = [column for column in columns if not column.unit and self._has_bare(column, rows)]
        if not bare:
            return True
        others = {column.unit for column in columns if column.unit} - {"m"}
        if others:
            return self._ask_unit(bare, f"has no unit, and other columns have {' and '.join(sorted(others))}")
        if any(self._highest(column, rows) > FAR_M for column in bare):
            return self._ask_unit(bare, f"has numbers above {FAR_M:g} and no unit: millimetres, centimetres?")
        self._said.note(f"{', '.join(brief(column.heading) for column in bare)}: no unit, read as metres")
        return True

    def _say_thousands(self, columns: list[Column], rows: list[Row]) -> None:
        """Of a table that does not tell whether 4,500 is thousands or decimals."""
        for column in columns if self._mark == UNSURE else ():
            cell = next((cell for row in rows if is_open(cell := self._layout.cell(row, column.key))), "")
            if cell:
                self._said.question(
                    f"{brief(column.heading)}: {brief(cell)} is read as thousands of {column.unit}: is it so?"
                )

    def _ask_unit(self, bare: list[Column], why: str) -> bool:
        for column in bare:
            text = f"{brief(column.heading)} {why}"
            self._said.question(f'{text} No place is taken over before --map "{column.heading}={column.key} mm" or so')
            self._said.ask(
                column.heading, text, tuple(f"{column.key} {unit}" for unit in ("m", "cm", "mm", "ft", "in"))
            )
        return False

    def _has_bare(self, column: Column, rows: list[Row]) -> bool:
        return any(bare for _, bare in self._lengths(column, rows))

    def _highest(self, column: Column, rows: list[Row]) -> float:
        return max((abs(value) for value, bare in self._lengths(column, rows) if bare), default=0.0)

    def _lengths(self, column: Column, rows: list[Row]) -> list[tuple[float, bool]]:
        """(the length, whether its cell has no unit); a number that is too long for metres is far."""
        out = []
        for row in rows:
            cell = self._layout.cell(row, column.key)
            try:
                value, own = length_m(cell, self._mark, "")
                out.append((value, not own))
            except ValueError as error:
                if "further" in str(error):
                    out.append((FAR_M * 10, not cell.rstrip("'\"").rstrip()[-1:].isalpha()))
        return out
