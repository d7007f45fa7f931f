"""Numbers, lengths and angles as paperwork has them: decimal commas, thousands, units, feet and inches."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from bridge.exchange.table_headings import ANGLES, LENGTHS, TIMES, fold, unit_of
from bridge.show.units import metres_from_text

UNSURE = "?"
"""In place of a decimal mark: the table does not tell whether 1,250 is above a thousand or a little above one."""
LONGEST = 40
FAR_M = 200.0  # no stage is so large: a plain number above it is no metres
_NUMBER = re.compile(r"([-+]?)\s*((?:[0-9][0-9.,'\u00a0\u202f ]*)|(?:[.,][0-9]+))\s*([^\W\d_][\w ]*\.?|°)?")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2032": "'", "\u2019": "'", "\u2033": '"', "\u201d": '"'})
_METRES = {"m": 1.0, "cm": 100.0, "mm": 1000.0}
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:[.,'\u00a0\u202f ][0-9]{3})+")


def decimal_mark(cells: Iterable[str]) -> str:
    """What stands before decimals in a table: "." or ",", "both" where cells disagree, or UNSURE.

    One program wrote the table, so a cell that can only be read one way speaks for those that can be read two ways.
    """
    digits = [_digits(cell) for cell in cells]
    votes = {vote for each in digits if (vote := _vote(each))}
    if len(votes) == 1:
        return votes.pop()
    if votes:
        return "both"
    return UNSURE if any(_is_open(each) for each in digits) else "."


def is_open(cell: str) -> bool:
    """Whether a cell by itself can be read two ways: `1,250`, `1.250`."""
    return _is_open(_digits(cell))


def _digits(cell: str) -> str:
    match = _NUMBER.fullmatch(cell[:LONGEST].translate(_MINUS))
    return match.group(2).strip() if match else ""


def _is_open(digits: str) -> bool:
    return ("," in digits or "." in digits) and not _vote(digits) and bool(_THOUSANDS.fullmatch(digits))


def _vote(digits: str) -> str:
    """The decimal mark of a number that can be read only one way, else "" (`1,250`, `1.250`, `12`)."""
    marks = [char for char in digits if char in ".,"]
    if not marks:
        return ""
    if len(set(marks)) == 2:
        whole = digits.rpartition(marks[-1])[0]
        return marks[-1] if marks.count(marks[-1]) == 1 and _THOUSANDS.fullmatch(whole) else ""
    grouped = _THOUSANDS.fullmatch(digits)
    if len(marks) > 1:
        return ("." if marks[0] == "," else ",") if grouped else ""
    return "" if grouped else marks[0]


def number(text: str, mark: str, thousands: bool | None = None) -> tuple[float, str]:
    """(value, unit as written) of one cell. Raises ValueError for what is no number, or may be read two ways.

    `thousands`: how a cell is meant that can be read two ways in a table that does not tell, None where nobody knows.
    """
    match = _NUMBER.fullmatch(text[:LONGEST].translate(_MINUS)) if len(text) <= LONGEST else None
    if match is None:
        raise ValueError("is no number")
    sign, digits, unit = match.groups()
    value = float(_plain(digits.strip(), mark, thousands))
    return (-value if sign == "-" else value), unit or ""


def _plain(digits: str, mark: str, thousands: bool | None) -> str:
    decimal = _vote(digits) or (mark if mark in (".", ",") else _decimal(digits, mark, thousands))
    whole, point, part = digits.rpartition(decimal) if decimal and digits.count(decimal) == 1 else (digits, "", "")
    apart = "".join(char for char in whole if char not in ".,'\u00a0\u202f ")
    if whole != apart and not _THOUSANDS.fullmatch(whole):
        raise ValueError("is no number")
    if not re.fullmatch(r"[0-9]*", part) or not (apart or part):
        raise ValueError("is no number")
    return f"{apart or '0'}{point and '.'}{part}"


def _decimal(digits: str, mark: str, thousands: bool | None) -> str:
    """The decimal mark of a cell where the table does not tell it; "" for none."""
    if not _is_open(digits):
        return "."
    if thousands is None and not (mark == UNSURE and "." in digits):
        raise ValueError("may be thousands or decimals")
    return "" if thousands else "," if "," in digits else "."


def length_m(text: str, mark: str, unit: str) -> tuple[float, bool]:
    """(metres, whether the cell itself has a unit). `unit` is that of the column, "" for metres. Raises ValueError.

    Where the table does not tell, 4,500 is thousands in mm and cm, and decimals in m and ft: else it were far away, or
    finer than anybody measures.
    """
    try:
        own = _own_unit(text)
        kind = unit_of(own, LENGTHS) if own else unit or "m"
        value = number(text, mark, {"mm": True, "cm": True, "m": False, "ft": False}.get(str(kind) if own else unit))[0]
    except ValueError as error:
        return _feet(text, str(error)), True
    if kind is None:
        return _feet(text, "is no length"), True
    metres = value / _METRES[kind] if kind in _METRES else metres_from_text(f"{value:.9f} {kind}")
    if not math.isfinite(metres) or abs(metres) > 1000:
        raise ValueError("is further than 1000 m away")
    if abs(metres) > FAR_M and abs(value) >= 1000 and _THOUSANDS.fullmatch(_digits(text)):
        raise ValueError(f"is {metres:.12g} m if its mark is of thousands: is it one of decimals?")
    return metres, bool(own)


def _own_unit(text: str) -> str:
    match = _NUMBER.fullmatch(text[:LONGEST].translate(_MINUS))
    return (match.group(3) or "") if match else ""


def _feet(text: str, why: str) -> float:
    """`10'-6 1/2"`, `10ft 6in`, `10 feet 6 inches`: also with what people put between feet and inches."""
    plain = re.sub(r"\b(?:feet|foot)\b", "ft", text[:LONGEST].translate(_MINUS).lower())
    plain = re.sub(r"\b(?:inches|inch)\b", "in", plain)
    plain = re.sub(r"('(?!')|ft)\.?\s*-\s*(?=[0-9.])", r"\1 ", plain).rstrip(".")
    try:
        metres = metres_from_text(plain)
    except (ValueError, OverflowError):
        raise ValueError(why.replace("number", "length")) from None
    if abs(metres) > 1000:
        raise ValueError("is further than 1000 m away")
    return metres


def angle_deg(text: str, mark: str, unit: str) -> float:
    """Degrees in -360 .. 360. Raises ValueError."""
    value, own = number(text, mark, thousands=False)
    kind = unit_of(own, ANGLES) if own else unit or "deg"
    if kind is None:
        raise ValueError("is no angle")
    degrees = math.degrees(value) if kind == "rad" else value
    if abs(degrees) > 360:
        raise ValueError("is more than a whole turn")
    return degrees


def seconds(text: str, mark: str, unit: str) -> float:
    """Seconds, from 0. Raises ValueError."""
    value, own = number(text, mark, thousands=False)
    kind = unit_of(own, TIMES) if own else unit or "s"
    if kind is None or value < 0:
        raise ValueError("is no time")
    return value / 1000 if kind == "ms" else value


_HANGING = {"hang", "hanging", "hung", "overhead", "base up", "suspended", "flown", "hangend", "haengend", "suspendu",
            "suspendue", "colgado", "appeso"}  # fmt: skip
_STANDING = {"standing", "stand", "floor", "base down", "upright", "on floor", "on the floor", "ground",
             "floor mounted",
             "stehend", "boden", "au sol", "sol", "suelo", "piso", "terra", "a terra", "staand", "vloer"}  # fmt: skip


def roll_of(text: str) -> float:
    """Degrees of roll that a word for a head's base means. Raises ValueError for a word that is not known."""
    word = fold(text)
    if word in _HANGING:
        return 0.0
    if word in _STANDING:
        return 180.0
    raise ValueError("is not known as hanging or standing")
