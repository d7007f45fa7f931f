"""Names of other programs as names of ours: letters, digits, - and _."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

LONGEST = 60
_APART = {
    "ß": "ss",
    "æ": "ae",
    "ø": "o",
    "đ": "d",
    "ł": "l",
    "Æ": "Ae",
    "Ø": "O",
    "Đ": "D",
    "Ł": "L",
    "&": "-and-",
    "+": "-plus-",
}


def slug(text: str, otherwise: str = "head") -> str:
    """`FOH Truß 3 (left)` -> `FOH-Truss-3-left`; `otherwise` where nothing is left."""
    plain = "".join(_APART.get(char, char) for char in text)
    plain = unicodedata.normalize("NFKD", plain).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9_]+", "-", plain).strip("-")[:LONGEST].strip("-") or otherwise


def unlike(wanted: str, taken: Iterable[str]) -> str:
    """The name itself, or with the first number behind it that makes it unlike all that are taken (case apart)."""
    used = {name.casefold() for name in taken}
    if wanted.casefold() not in used:
        return wanted
    number = 2
    while f"{wanted}-{number}".casefold() in used:
        number += 1
    return f"{wanted}-{number}"
