"""Which address of a fixture in an MVR scene is the one of pan and tilt, and who else has it."""

from __future__ import annotations

from typing import NamedTuple

from bridge.exchange.mvr_fields import SLOTS, patch_of, patches_of
from bridge.exchange.xml_tree import Element


class Patch(NamedTuple):
    """Universe and address from 1, or (None, None) and `why`; `note`: what had to be read between the lines."""

    universe: int | None = None
    address: int | None = None
    why: str = ""
    note: str = ""


def patch_in(element: Element, breaks: int) -> Patch:
    """The address of a break of the GDTF (`breaks`, from 1); the scene counts breaks from 0, or so it should."""
    found, wanted, note = patches_of(element), breaks - 1, ""
    if not found:
        return Patch(why="not patched: it has no address")
    if 0 not in found and wanted + 1 in found:
        if wanted in found:
            known = ", ".join(map(str, sorted(found)[:8]))
            return Patch(why=f"its addresses are of breaks {known}: whether they count from 0 or from 1 is not clear")
        wanted, note = wanted + 1, "its breaks are counted from 1, the standard counts from 0"
    if wanted not in found:
        known = ", ".join(map(str, sorted(found)[:8]))
        return Patch(why=f"pan and tilt are in break {wanted}, its addresses are of breaks {known}")
    patch = patch_of(found[wanted])
    if patch is None:
        return Patch(why=f"its address '{found[wanted][:40]}' is neither a number from 1 nor universe.address")
    return Patch(*patch, note=note) if patch != (0, 0) else Patch(why="not patched: its address is 0")


class Universes:
    """Who has which slot. A slot has one head: whoever is found first."""

    def __init__(self) -> None:
        self._universes: dict[int, list[str]] = {}

    def refuse(self, patch: Patch, footprint: int, name: str) -> str:
        """Take the slots for a head; why it cannot have them, or ""."""
        assert patch.universe is not None
        assert patch.address is not None
        last, address = patch.address + footprint - 1, f"its address {patch.universe}.{patch.address}"
        if last > SLOTS:
            return f"{address} leaves {SLOTS + 1 - patch.address} slots, it needs {footprint}"
        slots = self._universes.setdefault(patch.universe, [""] * SLOTS)
        taken = slice(patch.address - 1, last)
        other = next(filter(None, slots[taken]), None)
        if other is not None:
            return f"{address} is in use by '{other}': each head needs slots of its own"
        slots[taken] = [name] * footprint
        return ""
