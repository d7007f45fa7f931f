"""The wheels of a GDTF file: which slot of a colour or pattern wheel lets plain light through."""

from __future__ import annotations

from bridge.exchange.gdtf_active import Span
from bridge.exchange.gdtf_words import says_open
from bridge.exchange.xml_tree import Element, finite

_WHITE = (0.3127, 0.3290)
_NEAR_WHITE, _FULL_Y = 0.004, 98.0


class Wheels:
    """By wheel and slot from 1: whether it is open."""

    def __init__(self, fixture_type: Element) -> None:
        self._slots = {wheel.get("Name"): list(wheel.all("Slot")) for wheel in fixture_type.below("Wheels", "Wheel")}

    def says_open(self, family: str, span: Span) -> int | None:
        """A rank as `gdtf_words.says_open` has it, by the wheel's slot of a set; None where the wheel says nothing."""
        slots = self._slots.get(span.function.wheel, [])
        number = span.set.slot if span.set is not None else None
        if number is None or number > len(slots) or family not in ("colour wheel", "pattern wheel"):
            return None
        slot = slots[number - 1]
        rank = says_open(family, slot.get("Name")[:80])
        if rank is not None:
            return 2 + rank
        if family == "colour wheel":
            return 4 if _white(slot) and not all(map(_white, slots)) else None
        pictured = [bool(each.get("MediaFileName")) for each in slots]
        return 4 if not slot.get("MediaFileName") and any(pictured) and not list(slot.all("Facet")) else None


def _white(slot: Element) -> bool:
    numbers = [finite(part) for part in slot.get("Color").split(",")]
    if slot.get("Filter") not in ("", "None") or len(numbers) != 3:
        return False
    x, y, luminance = numbers
    if x is None or y is None or luminance is None:
        return False
    return abs(x - _WHITE[0]) < _NEAR_WHITE and abs(y - _WHITE[1]) < _NEAR_WHITE and luminance >= _FULL_Y
