"""Mappings whose keys are free: names, such as marks and targets, and slots of a fixture."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from bridge.show.problems import Bad, Problem, shown
from bridge.show.scalars import resolve
from bridge.show.values import ALLOWED_NAME, Parse, bad, is_name, whole
from bridge.show.yaml12 import Node

T = TypeVar("T")
MOST_SLOTS = 512
_byte = whole(0, 255)


def entries(node: Node, what: str) -> list[tuple[str, Node]]:
    """(key, value) of a mapping with free keys. An empty value is an empty mapping."""
    if node.value is None:
        return []
    if not isinstance(node.value, dict):
        raise bad(node, what)
    return list(node.value.items())


def named(node: Node, what: str) -> list[tuple[str, Node]]:
    """(key, value) of a mapping whose keys are names. Raises Bad where one is none."""
    found = entries(node, what)
    wrong = [key for key, _ in found if not is_name(key)]
    if wrong:
        text = f"allowed is {ALLOWED_NAME}"
        raise Bad([Problem(node.line_of(key), f"found the name {key[:60]!r}, {text}") for key in wrong])
    return found


def each(found: list[tuple[str, Node]], one: Callable[[str, Node], None]) -> None:
    """Reads every (key, value); raises one Bad with the problems of all, each under its key."""
    problems = []
    for key, child in found:
        try:
            one(key, child)
        except Bad as error:
            problems += [problem.inside(shown(key)) for problem in error.problems]
    if problems:
        raise Bad(problems)


def by_name(item: Callable[[str, Node], T], what: str) -> Parse[dict[str, T]]:
    """A mapping of names to values; `item` reads one value and is told its name."""

    def parse(node: Node) -> dict[str, T]:
        out: dict[str, T] = {}

        def one(key: str, child: Node) -> None:
            out[key] = item(key, child)

        each(named(node, what), one)
        return out

    return parse


def words_for(item: Parse[float], what: str) -> Parse[dict[str, float]]:
    """Names for numbers. A name that reads as a number is refused: a message may hold either."""

    def one(key: str, child: Node) -> float:
        if isinstance(resolve(key), int | float) and not isinstance(resolve(key), bool):
            text = f"found the name '{shown(key)}', which reads as a number; allowed is a word"
            raise Bad([Problem(child.line, text)])
        return item(child)

    return by_name(one, what)


def slots(node: Node) -> dict[int, int]:
    """Offsets from a fixture's address, 1-based, and the byte that each holds."""
    out: dict[int, int] = {}

    def one(key: str, child: Node) -> None:
        offset = resolve(key)
        if isinstance(offset, bool) or not isinstance(offset, int) or not 1 <= offset <= MOST_SLOTS or offset in out:
            text = f"found offset '{shown(key)}', allowed is each of 1 to {MOST_SLOTS}, once"
            raise Bad([Problem(node.line_of(key), text)])
        out[offset] = _byte(child)

    each(entries(node, "a mapping of offsets to the values they hold"), one)
    return out
