"""Universe and address out of the ways in which paperwork writes them; what may be read two ways is asked.

Nothing but common practice says how: `1/23`, `1.23`, `1.023`, `1:23`, `U1 A23`, a column for each, or one absolute
number, (universe - 1)·512 + address.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from bridge.exchange.table_said import Said, brief
from bridge.show.values import MOST_UNIVERSE

SLOTS = 512
_PLAIN = re.compile(r"(?:dmx|addr|address|adr|ch)?[ #]*([0-9]{1,8})", re.IGNORECASE)
_PAIR = re.compile(
    r"(u|uni|univ|universe)?[ .#]*([0-9]{1,6})(?:\s*([/.:,\\-])\s*|\s+|(?=a))"
    r"(a|addr|address|adr|ch)?[ .#]*([0-9]{1,6})",
    re.IGNORECASE,
)
_UNIVERSE = re.compile(r"(?:u|uni|univ|universe|universum|line|dmx)?[ .#]*([0-9]{1,6})(?:[.,]0+)?", re.IGNORECASE)
_NOWHERE = {"", "-", "--", "---", "—", "–", "n/a", "na", "none", "no", "unpatched", "not patched", "?", "0/0", "0.0",
            "tbc", "tba"}  # fmt: skip


class Patch(NamedTuple):
    """A place in the patch, or what of it is known. `why`: why the row is skipped, "" for a row that is not."""

    universe: int | None = None
    address: int | None = None
    why: str = ""


class _Form(NamedTuple):
    """How a cell is written: nowhere, plain (second), pair, dotted, dash (first, second), or bad."""

    kind: str
    first: int = 0
    second: str = ""

    @property
    def number(self) -> int:
        return int(self.second)


NOT_PATCHED = "not patched"


class PatchColumns(NamedTuple):
    """The two columns: their cells (None for a column that there is not), headings, and what a map said of them."""

    addresses: Sequence[str]
    universes: Sequence[str] | None
    heading: str
    how: str = ""
    universe_heading: str = ""
    from_zero: bool = False


def read_patches(columns: PatchColumns, places: Sequence[str], said: Said) -> list[Patch]:
    """One Patch a row; `places` are the rows in words. What had to be decided is said, what cannot be is asked."""
    forms = [_form(cell) for cell in columns.addresses]
    if columns.universes is not None:
        return _with_universes(columns, forms, places, said)
    forms = _floats(forms)
    dots = _dotted(forms, columns, said)
    forms = _ranges(forms, columns, said)
    plain = [form.number for form in forms if form.kind == "plain" and form.number]
    if plain:
        _say_absolute(max(plain), columns, said)
    return [_placed(form, cell, dots) for form, cell in zip(forms, columns.addresses, strict=True)]


def _form(cell: str) -> _Form:
    text = cell.strip()
    if text.casefold() in _NOWHERE:
        return _Form("nowhere")
    if match := _PLAIN.fullmatch(text):
        return _Form("plain", 0, match.group(1)) if int(match.group(1)) else _Form("nowhere")
    match = _PAIR.fullmatch(text)
    if match is None:
        return _Form("bad")
    word, first, mark, other, second = match.groups()
    kind = "pair" if word or other else {".": "dotted", ",": "dotted", "-": "dash"}.get(mark or "/", "pair")
    return _Form(kind, int(first), second)


def _floats(forms: list[_Form]) -> list[_Form]:
    """A spreadsheet's 1.0, 17.0, 33.0 are whole numbers where all are written so."""
    dotted = [form for form in forms if form.kind == "dotted"]
    if not dotted or any(form.second.strip("0") for form in dotted):
        return forms
    return [_Form("plain", 0, str(f.first)) if f.kind == "dotted" and f.first else f for f in forms]


def _dotted(forms: list[_Form], columns: PatchColumns, said: Said) -> str:
    """How 1.2 is meant in this column: plain (1/2), padded (1/200), or "" where nobody can tell."""
    parts = [form.second for form in forms if form.kind == "dotted"]
    short = [part for part in parts if len(part) < 3]
    if columns.how in ("plain", "padded"):
        return columns.how
    if not short:
        return "plain"
    lead, trail = any(part[0] == "0" for part in parts), any(part[-1] == "0" for part in parts)
    over = any(int(part.ljust(3, "0")) > SLOTS for part in short)
    if (trail or over) and not lead:
        return "plain"
    if lead and not trail and not over and len(short) < len(parts):
        said.question(
            f"{brief(columns.heading)}: addresses such as 1.023 have three digits, so 1.2 is read as universe 1,"
            f' address 200 (a spreadsheet takes off the last zeros); if not: --map "{columns.heading}=address plain"'
        )
        return "padded"
    if lead:
        text = (
            f"{brief(columns.heading)}: is 1.02 universe 1, address 2 or 20 (a spreadsheet makes 1.02 of 1.020)?"
            " Addresses with fewer than three digits behind the point are not read"
        )
        said.question(text)
        said.ask(columns.heading, text, ("address plain", "address padded"))
        return ""
    said.question(
        f"{brief(columns.heading)}: 1.2 is read as universe 1, address 2; where a spreadsheet made it of 1.200, it is"
        f' address 200: --map "{columns.heading}=address padded"'
    )
    return "plain"


def _ranges(forms: list[_Form], columns: PatchColumns, said: Said) -> list[_Form]:
    """`17-32` is a range of channels where the next begins at 33, else universe 17, address 32: said, either way."""
    dashes = [form for form in forms if form.kind == "dash"]
    if not dashes:
        return forms
    ends = {form.number + 1 for form in dashes}
    widths = {form.number - form.first for form in dashes}
    ranges = len(dashes) > 1 and (any(f.first in ends for f in dashes) or (len(widths) == 1 and widths.pop() > 0))
    if ranges:
        said.question(f"{brief(columns.heading)}: entries such as 1-16 are read as from 1 to 16: the first is taken")
        return [_Form("plain", 0, str(f.first)) if f.kind == "dash" else f for f in forms]
    said.question(f"{brief(columns.heading)}: entries such as 1-23 are read as universe 1, address 23")
    return [_Form("pair", f.first, f.second) if f.kind == "dash" else f for f in forms]


def _say_absolute(highest: int, columns: PatchColumns, said: Said) -> None:
    if highest > SLOTS:
        said.note(
            f"{brief(columns.heading)}: numbers above {SLOTS} and no universe: absolute addresses,"
            f" (universe - 1)·{SLOTS} + address"
        )
    else:
        said.question(
            f"{brief(columns.heading)}: no universe anywhere, and no address above {SLOTS}: universe 1 is taken"
            " for all; is that so?"
        )


def _placed(form: _Form, cell: str, dots: str) -> Patch:
    if form.kind == "nowhere":
        return Patch(why=NOT_PATCHED)
    if form.kind == "bad":
        return Patch(why=f"address {brief(cell)} is not understood: expected 1/23, 1.23 or 535")
    if form.kind == "plain":
        return _checked((form.number - 1) // SLOTS + 1, (form.number - 1) % SLOTS + 1, cell)
    if form.kind == "dotted" and len(form.second) < 3:
        if not dots:
            return Patch(universe=form.first if 1 <= form.first <= MOST_UNIVERSE else None)
        return _checked(form.first, int(form.second.ljust(3, "0") if dots == "padded" else form.second), cell)
    return _checked(form.first, form.number, cell)


def _checked(universe: int, address: int, cell: str) -> Patch:
    if address == 0:
        return Patch(why=NOT_PATCHED)
    if not 1 <= address <= SLOTS:
        return Patch(why=f"address {brief(cell)}: found {address}, allowed is 1 to {SLOTS}")
    if not 1 <= universe <= MOST_UNIVERSE:
        return Patch(why=f"address {brief(cell)}: found universe {universe}, allowed is 1 to {MOST_UNIVERSE}")
    return Patch(universe, address)


def _with_universes(columns: PatchColumns, forms: list[_Form], places: Sequence[str], said: Said) -> list[Patch]:
    cells = columns.universes or ()
    numbers = [int(m.group(1)) if (m := _UNIVERSE.fullmatch(cell.strip())) else None for cell in cells]
    patched = [n for n, form in zip(numbers, forms, strict=True) if form.kind not in ("nowhere", "bad")]
    if columns.from_zero:
        numbers = [None if n is None else n + 1 for n in numbers]
    elif 0 in patched:
        text = (
            f"{brief(columns.universe_heading)} has a universe 0, and they count from 1 here: are all of them one less"
            " than they should be? No universe is read"
        )
        said.question(text)
        said.ask(columns.universe_heading, text, ("universe from 0",))
        return [Patch(why=NOT_PATCHED) if form.kind == "nowhere" else Patch() for form in forms]
    forms = _floats(forms)
    dots = _dotted(forms, columns, said)
    return [
        _in_universe(number, cells[i], forms[i], columns.addresses[i], places[i], dots, said)
        for i, number in enumerate(numbers)
    ]


def _in_universe(number: int | None, written: str, form: _Form, cell: str, place: str, dots: str, said: Said) -> Patch:
    if form.kind == "nowhere":
        return Patch(why=NOT_PATCHED)
    if form.kind == "dash":
        said.note(f"addresses such as {brief(cell)} are ranges: the first is taken")
        form = _Form("plain", 0, str(form.first))
    if number is None:
        if written.strip():
            return Patch(
                why=f"universe {brief(written)} is not understood: expected a number from 1 to {MOST_UNIVERSE}"
            )
        if form.kind in ("pair", "dotted"):
            return _placed(form, cell, dots)
        said.question("no universe beside the address: which is it? Not patched until it is known", place)
        return Patch(address=form.number if form.kind == "plain" and form.number <= SLOTS else None)
    if form.kind == "plain" and form.number > SLOTS and (form.number - 1) // SLOTS + 1 == number:
        said.note(f"addresses above {SLOTS} agree with the universe beside them: read as absolute")
        return _checked(number, (form.number - 1) % SLOTS + 1, cell)
    if form.kind in ("plain", "bad"):
        return _placed(form, cell, "") if form.kind == "bad" else _checked(number, form.number, cell)
    if form.first != number:
        return Patch(why=f"address {brief(cell)} does not agree with universe {brief(written)} beside it")
    return _placed(form, cell, dots)
