"""A mapping of a file, read key by key: typed, bounded, and a key that nobody asked for is an error."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, TypeVar

from bridge.show.problems import Bad, Problem, listed, nearest, shown
from bridge.show.values import Parse, bad
from bridge.show.yaml12 import Node

T = TypeVar("T")
D = TypeVar("D")
ANY_MAPPING = "a mapping of keys and values"


@dataclass(frozen=True)
class Asked:
    """A key that a reader asked the mapping `node` for. Without `parse` it is allowed there and not read."""

    node: Node
    key: str
    parse: Parse[Any] | None
    required: bool = False
    default: Any = None


_watcher: ContextVar[list[Asked] | None] = ContextVar("watcher", default=None)


@contextmanager
def watched() -> Iterator[list[Asked]]:
    """Everything that readers ask for meanwhile, in order: how the schema is known without being said twice."""
    asked: list[Asked] = []
    token = _watcher.set(asked)
    try:
        yield asked
    finally:
        _watcher.reset(token)


class KeyReader:
    """Reads one mapping. Problems gather while reading goes on; `done()` raises them all at once as Bad.

    After a problem a getter gives its stand-in, so that the rest is still looked at; `good(...)` says which keys
    may be trusted in a further check.
    """

    def __init__(self, node: Node, what: str = ANY_MAPPING) -> None:
        if not isinstance(node.value, dict):
            raise bad(node, what)
        self.node = node
        self._values = node.value
        self._asked: list[str] = []
        self._missing: list[str] = []
        self._failed: set[str] = set()
        self._problems: list[Problem] = []
        self._watcher = _watcher.get()

    def __contains__(self, key: str) -> bool:
        found = self._values.get(key)
        return found is not None and found.value is not None

    def required(self, key: str, parse: Parse[T], stand_in: T) -> T:
        """The value of a key that must be there."""
        self._ask(key, parse, required=True)
        if key not in self._values:
            self._missing.append(key)
            self._failed.add(key)
            return stand_in
        return self._read(key, parse, stand_in)

    def optional(self, key: str, parse: Parse[T], default: D) -> T | D:
        """The value of a key, or the default where it is not there or has no value."""
        self._ask(key, parse, default=default)
        return self._read(key, parse, default) if key in self else default

    def _ask(self, key: str, parse: Parse[Any] | None, required: bool = False, default: Any = None) -> None:
        self._asked.append(key)
        if self._watcher is not None:
            self._watcher.append(Asked(self.node, key, parse, required, default))

    def _read(self, key: str, parse: Parse[T], stand_in: D) -> T | D:
        try:
            return parse(self._values[key])
        except Bad as error:
            self._failed.add(key)
            self._problems += [problem.inside(shown(key)) for problem in error.problems]
            return stand_in

    def good(self, *keys: str) -> bool:
        """Whether these keys were read without a problem."""
        return self._failed.isdisjoint(keys)

    def fail(self, key: str, text: str) -> None:
        """Note a problem of a key that only shows beside others."""
        self._failed.add(key)
        self._problems.append(Problem(self.node.line_of(key), text, (key,)))

    def problem(self, problem: Problem) -> None:
        """Note a problem that has a line of its own."""
        self._problems.append(problem)

    def ignore(self, keys: Iterable[str]) -> None:
        """Allow keys that are not read."""
        for key in keys:
            self._ask(key, None)

    def done(self) -> None:
        """Report unknown and missing keys and raise Bad with everything found, if anything was."""
        meant = set()
        for key in self._values:
            if key not in self._asked:
                near = nearest(key, [asked for asked in self._asked if asked not in self._values]) or nearest(
                    key, self._asked
                )
                meant.add(near)
                hint = f", nearest is '{near}'" if near else ""
                text = f"found unknown key '{shown(key)}'{hint}; allowed: {listed(self._asked)}"
                self._problems.append(Problem(self.node.line_of(key), text))
        for key in self._missing:
            if key not in meant:  # a typo was reported already
                self._problems.append(Problem(self.node.line, f"found no key '{key}', which is required"))
        if self._problems or self._failed:
            raise Bad(self._problems)
