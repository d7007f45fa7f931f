"""Schema of `desk: controls` in network.yaml: slots of the desk that operate an OSC address."""

from __future__ import annotations

import re
from typing import Any

from bridge.show.addresses import allowed_instead, form_of, takes_names
from bridge.show.keys import KeyReader
from bridge.show.names import each, entries
from bridge.show.problems import Bad, Problem, shown
from bridge.show.scalars import resolve
from bridge.show.values import MOST_UNIVERSE, Parse, bad, list_of, number, switch, text, whole
from bridge.show.yaml12 import Node
from bridge.wire.settings import Control, Slot

_SLOT = re.compile(r"([0-9]{1,5})\.([0-9]{1,3})")
_KINDS = "one of: from and until (a value), above (a switch), choose (a choice)"
_BACK_8, _BACK_16 = 10, 2621  # how far a switch goes back before it is off: 4 % of full
Choices = tuple[tuple[int, tuple[float | str, ...]], ...]


def read_control(node: Node) -> Control:
    """One control. Raises Bad with everything that is wrong in it."""
    m = KeyReader(node, "a mapping with slots, to, and what of them is sent")
    slots: list[Slot] = m.required("slots", list_of(slot, 1, what="a list of slots such as [60.1], a list"), [])
    to = m.required("to", _address, "")
    bits = m.optional("bits", _bits, 8)
    ends = list_of(number(), 1, what="one number for each slot, a list")
    first, last = m.optional("from", ends, []), m.optional("until", ends, [])
    full = 256 ** (bits // 8) - 1
    above, below = m.optional("above", whole(0, 65_535), None), m.optional("below", whole(1, 65_535), None)
    choices = m.optional("choose", _choices(takes_names(to)), ())
    alive = m.optional("alive", switch, False)
    if bits == 16:
        _check_fine(m, slots)
    _check_kind(m, len(slots))
    _check_values(m, len(slots), first, last)
    _check_switch(m, above, below, full)
    if choices and choices[-1][0] > full:
        m.fail("choose", f"found the value {choices[-1][0]}, allowed is 0 to {full}, what {bits} bits hold")
    m.done()
    if above is not None and below is None:
        below = max(1, above - (_BACK_8 if bits == 8 else _BACK_16))
    return Control(tuple(slots), to, bits, tuple(first), tuple(last), above, below, choices, alive)


def slot(node: Node) -> Slot:
    """UNIVERSE.ADDRESS as it is written: 60.10 is address 10, though YAML takes it for the number 60.1."""
    found = None if isinstance(node.value, list | dict) else _SLOT.fullmatch(node.text)
    universe, address = (int(found[1]), int(found[2])) if found else (0, 0)
    if not 1 <= universe <= MOST_UNIVERSE or not 1 <= address <= 512:
        written = shown(node.text) if node.text else str(node)
        allowed = f"UNIVERSE.ADDRESS such as 60.1, a universe from 1 to {MOST_UNIVERSE} and an address from 1 to 512"
        raise Bad([Problem(node.line, f"found {written}, allowed is {allowed}")])
    return universe, address


def _bits(node: Node) -> int:
    if not isinstance(node.value, int) or node.value not in (8, 16):
        raise bad(node, "8 or 16")
    return node.value


def _address(node: Node) -> str:
    address = text(node)
    if form_of(address) is None:
        raise bad(node, allowed_instead(address))
    return address


def _choices(names: bool) -> Parse[Choices]:
    """Lowest values and the arguments that are sent from there on, rising; `names`: arguments stay as written."""

    def argument(node: Node) -> float | str:
        if isinstance(node.value, bool | list | dict) or node.value is None or not node.text.isprintable():
            raise bad(node, "a name or a number")
        return number()(node) if isinstance(node.value, int | float) and not names else node.text

    def parse(node: Node) -> Choices:
        out: dict[int, tuple[float | str, ...]] = {}

        def one(key: str, child: Node) -> None:
            value = resolve(key)
            if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 65_535 or value in out:
                wrong = f"found the value '{shown(key)}', allowed is each of 0 to 65535, once"
                raise Bad([Problem(child.line, wrong)])
            out[value] = tuple(list_of(argument, what="what is sent from this value on, a list")(child))

        found = entries(node, "a mapping of lowest values to what is sent, such as {10: [foh-1], 128: [foh-2]}")
        if not found:
            raise bad(node, "at least one value and what is sent from there on")
        each(found, one)
        return tuple(sorted(out.items()))

    return parse


def _check_fine(m: KeyReader, slots: list[Slot]) -> None:
    """With 16 bits the next address holds the fine byte."""
    for universe, address in slots:
        if address == 512:
            m.fail(
                "slots", f"found {universe}.512 with bits 16, allowed is an address up to 511: the fine byte is next"
            )


def _check_kind(m: KeyReader, count: int) -> None:
    kinds = [kind for kind, keys in (("from", ("from", "until")), ("above", ("above",)), ("choose", ("choose",)))
             if any(key in m for key in keys)]  # fmt: skip
    if len(kinds) != 1:
        found = " and ".join(kinds) if kinds else "none of them"
        m.problem(Problem(m.node.line, f"found {found}, allowed is exactly {_KINDS}"))
    elif kinds[0] != "from" and m.good("slots") and count != 1:
        m.fail("slots", f"found {count} slots with {kinds[0]}, allowed is one slot: only from and until take several")
    if "below" in m and "above" not in m and len(kinds) == 1:
        m.fail(
            "below", "found below without above, allowed is both or above alone: on above the one, off below the other"
        )


def _check_values(m: KeyReader, count: int, first: list[float], last: list[float]) -> None:
    for key, other in (("from", "until"), ("until", "from")):
        if key in m and other not in m:
            m.fail(key, f"found {key} without {other}, allowed is both: what is sent at 0 and at full")
    for key, ends in (("from", first), ("until", last)):
        if key in m and m.good(key, "slots") and len(ends) != count:
            m.fail(key, f"found {len(ends)} numbers for {count} slots, allowed is one number for each slot")


def _check_switch(m: KeyReader, above: Any, below: Any, full: int) -> None:
    if above is not None and above >= full:
        m.fail("above", f"found {above}, allowed is 0 to {full - 1}: no value of the slot lies above it")
    if above is not None and below is not None and below > above + 1:
        m.fail("below", f"found {below} with above {above}, allowed is 1 to {above + 1}: else it is on and off at once")
