"""What single fields of an MVR scene say: matrices, patch, switches; as the standard writes them and as files do."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from bridge.exchange.xml_tree import Element, finite

Array = NDArray[np.float64]

SLOTS = 512
MOST_UNIVERSE = 63_999
IDENTITY: Array = np.eye(4)


def fields(element: Element) -> dict[str, str]:
    """Attributes and the texts of children by their names in small letters; an attribute before a child of its name."""
    found = {child.tag.casefold(): child.text.strip() for child in reversed(element.children)}
    for name, value in element.attributes.items():
        if value.strip():
            found[name.rpartition(":")[2].casefold()] = value.strip()
    return found


def matrix_of(text: str) -> Array | None:
    """`{u}{v}{w}{o}` as (4, 4): its columns u, v, w and the origin o, in mm. No text: identity. None: no matrix.

    Twelve numbers, three in each pair of braces; commas or blanks apart, or semicolons beside decimal commas.
    """
    if not text.strip():
        return IDENTITY
    groups = re.findall(r"\{([^{}]*)\}", text)
    if groups and [len(_parts(group)) for group in groups] != [3] * 4:
        return None
    values = [finite(part) for part in _parts(text)]
    if len(values) != 12 or None in values:
        return None
    matrix = np.eye(4)
    matrix[:3, :] = np.array(values, dtype=np.float64).reshape(4, 3).T
    return matrix


def _parts(text: str) -> list[str]:
    return [part for part in re.split(r"[\s;{}]+" if ";" in text else r"[\s,{}]+", text) if part]


def patch_of(text: str) -> tuple[int, int] | None:
    """(universe, address) of `(universe - 1) * 512 + address` or `U.A`; (0, 0): not patched; None: not understood."""
    plain = re.fullmatch(r"\+?(\d{1,12})", text.strip(), re.ASCII)
    if plain:
        universe, slot = divmod(int(plain[1]) - 1, SLOTS)
        return (universe + 1, slot + 1) if 0 <= universe < MOST_UNIVERSE else (0, 0) if universe < 0 else None
    pair = re.fullmatch(r"(\d{1,6})\s*[./]\s*(\d{1,6})", text.strip(), re.ASCII)
    if pair and 1 <= int(pair[1]) <= MOST_UNIVERSE and 1 <= int(pair[2]) <= SLOTS:
        return int(pair[1]), int(pair[2])
    unpatched = not text.strip() or re.fullmatch(r"-1|0[./]0", text.strip())
    return (0, 0) if unpatched else None


def patches_of(element: Element) -> dict[int, str]:
    """Break (from 0) -> the text of its address, of a fixture; a break that is named twice keeps its first."""
    found: dict[int, str] = {}
    for child in element.children:
        within = child.children if child.tag.casefold() == "addresses" else [child]
        for address in within:
            if address.tag.casefold() == "address":
                said = fields(address)
                number = finite(said.get("break", "")) or 0.0
                if number >= 0 and number == int(number):
                    found.setdefault(int(number), address.text.strip() or said.get("address", ""))
    return found


def switch_of(text: str | None) -> bool | None:
    """True or False as XML writes it; None: neither is said (empty, or another word)."""
    return {"true": True, "1": True, "false": False, "0": False}.get((text or "").casefold())
