"""Readers of single values: each takes a node and gives a typed value, or raises Bad with what is allowed.

Units as in the files: degrees, metres, seconds. `Parse[T]` is the shape of all of them, so that they nest.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import TypeVar

from bridge.show.problems import Bad, Problem, nearest
from bridge.show.units import ALLOWED_LENGTH, metres_from_text
from bridge.show.yaml12 import Node

T = TypeVar("T")
Parse = Callable[[Node], T]
MOST_UNIVERSE = 63_999
FARTHEST = 1000.0  # metres; beyond it a number was surely meant as millimetres
ALLOWED_NAME = "a name of letters, digits, - and _"
_NAME = re.compile(r"[A-Za-z0-9_-]+")
_SWITCH = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}


def bad(node: Node, allowed: str) -> Bad:
    """`found X, allowed is Y` at the node's line."""
    return Bad([Problem(node.line, f"found {node}, allowed is {allowed}")])


def _range(low: float, high: float, above: bool) -> str:
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f" {'above' if above else 'of at least'} {low:.12g}"
    return f" above {low:.12g} and up to {high:.12g}" if above else f" from {low:.12g} to {high:.12g}"


def _finite(node: Node) -> float | None:
    if isinstance(node.value, bool) or not isinstance(node.value, int | float):
        return None
    try:
        value = float(node.value)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def number(low: float = -math.inf, high: float = math.inf, *, above: bool = False, unit: str = "") -> Parse[float]:
    """A finite number in [low, high], or in (low, high] with `above`."""
    bounds = _range(low, high, above)
    allowed = f"a number{bounds} {unit}" if bounds else f"a finite number{' of ' + unit if unit else ''}"
    allowed = allowed.rstrip()

    def parse(node: Node) -> float:
        value = _finite(node)
        if value is None or not low <= value <= high or (above and value == low):
            raise bad(node, allowed)
        return value

    return parse


def whole(low: int, high: int) -> Parse[int]:
    """A whole number in [low, high]."""

    def parse(node: Node) -> int:
        if isinstance(node.value, bool) or not isinstance(node.value, int) or not low <= node.value <= high:
            raise bad(node, f"a whole number from {low} to {high}" if low < high else f"{low}")
        return node.value

    return parse


def length(low: float = -FARTHEST, high: float = FARTHEST, *, above: bool = False) -> Parse[float]:
    """Metres, from a number or a text with a unit, in [low, high], or in (low, high] with `above`."""
    bounds = "" if (low, high) == (-FARTHEST, FARTHEST) else f",{_range(low, high, above)} m"

    def parse(node: Node) -> float:
        value = _metres(node)
        if value is None:
            raise bad(node, ALLOWED_LENGTH + bounds)
        if not low <= value <= high or (above and value == low):
            hint = " (written in mm? then say so: '5000 mm')" if abs(value) > FARTHEST else ""
            raise bad(node, f"a length{_range(low, high, above)} m{hint}")
        return value

    return parse


def _metres(node: Node) -> float | None:
    if not isinstance(node.value, str):
        return _finite(node)
    try:
        return metres_from_text(node.value)
    except ValueError:
        return None


def text(node: Node) -> str:
    """Printable text of one line. What looks like a number or a switch is taken as it is written."""
    blank = isinstance(node.value, list | dict) or node.value is None or not node.text.strip()
    if blank or not node.text.isprintable():
        raise bad(node, "text of one line")
    return node.text


def is_name(text: str) -> bool:
    """Whether a text is made of letters, digits, - and _ alone."""
    return _NAME.fullmatch(text) is not None


def name(node: Node) -> str:
    """A name: letters, digits, - and _."""
    if isinstance(node.value, list | dict) or node.value is None or not is_name(node.text):
        raise bad(node, ALLOWED_NAME)
    return node.text


def switch(node: Node) -> bool:
    """on, off, yes, no, true or false."""
    value = None if isinstance(node.value, list | dict) else _SWITCH.get(node.text.lower())
    if value is None:
        raise bad(node, "on or off")
    return value


def choice(*words: str) -> Parse[str]:
    """One of a few words."""

    def parse(node: Node) -> str:
        if isinstance(node.value, list | dict) or node.text not in words:
            near = nearest(node.text, words)
            raise bad(node, " or ".join(words) + (f" (nearest is '{near}')" if near else ""))
        return node.text

    return parse


def list_of(item: Parse[T], least: int = 0, most: int | None = None, what: str = "a list") -> Parse[list[T]]:
    """A list; the problems of all its items come together. An empty value is an empty list where that is allowed."""
    size = f" of {least}" if least == most else f" of at least {least}" if least and most is None else ""
    size = f" of {least} to {most}" if most is not None and least != most else size

    def parse(node: Node) -> list[T]:
        if node.value is None and least == 0:
            return []
        if not isinstance(node.value, list) or len(node.value) < least or (most is not None and len(node.value) > most):
            raise bad(node, what + size)
        return collect([(place(child, index), child) for index, child in enumerate(node.value, 1)], item)

    return parse


def collect(children: list[tuple[str, Node]], item: Parse[T]) -> list[T]:
    """Read all (place, node); raises one Bad with the problems of all of them."""
    out, problems = [], []
    for where, child in children:
        try:
            out.append(item(child))
        except Bad as error:
            problems += [problem.inside(where) for problem in error.problems]
    if problems:
        raise Bad(problems)
    return out


def place(node: Node, index: int) -> str:
    """How a message names an item of a list: by its name where it has one, else by its number."""
    named = node.get("name")
    return named.text[:40] if named is not None and is_name(named.text) else str(index)


def vector2(item: Parse[float], what: str) -> Parse[tuple[float, float]]:
    """Exactly two numbers."""
    inner = list_of(item, 2, 2, what)

    def parse(node: Node) -> tuple[float, float]:
        first, second = inner(node)
        return first, second

    return parse


def vector3(item: Parse[float], what: str) -> Parse[tuple[float, float, float]]:
    """Exactly three numbers."""
    inner = list_of(item, 3, 3, what)

    def parse(node: Node) -> tuple[float, float, float]:
        x, y, z = inner(node)
        return x, y, z

    return parse


def rising(item: Parse[float], what: str) -> Parse[tuple[float, float]]:
    """[lower, upper], the first smaller than the second."""
    inner = vector2(item, what)

    def parse(node: Node) -> tuple[float, float]:
        low, high = inner(node)
        if not low < high:
            raise bad(node, f"{what}, the smaller first")
        return low, high

    return parse


point3 = vector3(length(), "a point [x, y, z], a list")
