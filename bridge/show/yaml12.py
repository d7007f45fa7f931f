"""YAML text -> a tree of nodes that know their lines, values as YAML 1.2 has them.

PyYAML's parser gives the events (libyaml where it is there); the tree is built here and not by its composer, for line
numbers of keys, doubled keys, a depth limit, and aliases that cannot blow up ("billion laughs").
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from bridge.show.problems import Bad, Problem, shown
from bridge.show.scalars import Scalar, resolve

MOST_DEPTH = 40
MOST_VALUES = 1_000_000  # keys and values of one file: a show of 4,096 heads has less than half of them
MOST_ALIASED = 50_000  # nodes that aliases may repeat in one file
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_UNPRINTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_STRING_TAG = "tag:yaml.org,2002:str"
_PLAIN_WORDS = {
    "exceeded maximum nesting depth": f"found more than {MOST_DEPTH} levels inside each other",
    "found character that cannot start any token": "found a character that cannot begin a value here: a tab, % @ or `?",
    "found character '\\t' that cannot start any token": "found a tab; indent with spaces",
    "mapping values are not allowed": "found a ':' where none is due; look for a wrong indent or a missing quote",
    "could not find expected ':'": "found a line without ':'; look at this line and the one above",
    "did not find expected key": "found something that is no key; look for a wrong indent or a missing comma",
    "did not find expected ',' or ']'": "found a list that is not closed; look for a missing ',' or ']'",
    "did not find expected ',' or '}'": "found a mapping that is not closed; look for a missing ',' or '}'",
    "expected ',' or ']'": "found a list that is not closed; look for a missing ',' or ']'",
    "expected ',' or '}'": "found a mapping that is not closed; look for a missing ',' or '}'",
    "did not find expected node content": "found a sign where a value is due; look for a missing value or quote",
    "did not find expected '-' indicator": "found no '-' where the next item of a list is due; look for a wrong indent",
    "block sequence entries are not allowed": "found a list item (-) where none is due; put it on a line of its own",
    "found unexpected end of stream": "found the end of the file inside a quoted text; look for a missing quote",
    "found undefined alias": "found an alias (*name) without its anchor (&name)",
}


@dataclass(slots=True, eq=False)
class Node:
    """A value and its 1-based line. `text` is a scalar as written; `key_lines` are the lines of a mapping's keys."""

    line: int
    value: Scalar | list[Node] | dict[str, Node]
    text: str = ""
    key_lines: dict[str, int] = field(default_factory=dict)
    weight: int = 1  # nodes in here with aliases written out

    def line_of(self, key: str) -> int:
        """Line of a key of this mapping; this node's own where there is no such key."""
        return self.key_lines.get(key, self.line)

    def get(self, key: str) -> Node | None:
        """The value under a key, None where this is no mapping or has no such key."""
        return self.value.get(key) if isinstance(self.value, dict) else None

    def plain(self) -> Any:
        """The value as plain data, all the way down."""
        if isinstance(self.value, dict):
            return {key: child.plain() for key, child in self.value.items()}
        return [child.plain() for child in self.value] if isinstance(self.value, list) else self.value

    def __str__(self) -> str:
        """As a message shows it."""
        if isinstance(self.value, list):
            if len(self.value) > 4 or any(isinstance(item.value, list | dict) for item in self.value):
                return f"a list of {len(self.value)}"
            return "[" + ", ".join(str(item) for item in self.value) + "]"
        if isinstance(self.value, dict):
            return "a mapping"
        if self.value is None:
            return "nothing"
        return f"'{shown(self.text)}'" if isinstance(self.value, str) else shown(self.text)


def parse(text: str) -> tuple[Node, list[Problem]]:
    """The tree of one document and the doubled keys in it. Raises Bad where the text is not YAML at all."""
    if found := _UNPRINTABLE.search(text):
        line = text.count("\n", 0, found.start()) + 1
        raise Bad([Problem(line, f"found the character {found[0]!r}, allowed is printable text")])
    builder = _Builder()
    try:
        for event in yaml.parse(text, Loader=LOADER):
            builder.take(event)
    except yaml.MarkedYAMLError as error:
        raise Bad([_syntax(error)]) from None
    except yaml.YAMLError as error:
        raise Bad([Problem(1, f"not valid YAML: {shown(str(error), 200)}")]) from None
    if builder.root is None:
        raise Bad([Problem(1, "found an empty file, allowed is a mapping that begins with 'version: 1'")])
    return builder.root, builder.problems


def _syntax(error: yaml.MarkedYAMLError) -> Problem:
    mark = error.problem_mark or error.context_mark
    said = error.problem or error.context or "not readable"
    words = next((ours for theirs, ours in _PLAIN_WORDS.items() if said.startswith(theirs)), shown(said, 200))
    return Problem(mark.line + 1 if mark else 1, f"not valid YAML: {words}")


class _Builder:
    """Takes parser events one by one; no recursion, so no depth of nesting can hurt."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.problems: list[Problem] = []
        self._open: list[tuple[Node, list[Node]]] = []  # collections being read, with a mapping's pending key
        self._anchors: dict[str, Node] = {}
        self._aliased = 0
        self._values = 0

    def take(self, event: Any) -> None:
        line = event.start_mark.line + 1 if event.start_mark else 1
        if isinstance(event, yaml.ScalarEvent):
            self._place(self._anchored(event, self._scalar(event, line)))
        elif isinstance(event, yaml.SequenceStartEvent | yaml.MappingStartEvent):
            self._start(event, line)
        elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
            self._end()
        elif isinstance(event, yaml.AliasEvent):
            self._alias(event.anchor, line)
        elif isinstance(event, yaml.DocumentStartEvent) and self.root is not None:
            raise Bad([Problem(line, "found a second document (---), allowed is one per file")])

    def _scalar(self, event: Any, line: int) -> Node:
        plain = event.style is None or event.style == ""
        tag = event.tag
        if tag not in (None, "!", _STRING_TAG):
            self.problems.append(Problem(line, f"found the tag '{shown(tag)}', allowed are values without tags"))
        value = resolve(event.value) if plain and tag is None else event.value
        return Node(line, value, event.value)

    def _start(self, event: Any, line: int) -> None:
        if len(self._open) >= MOST_DEPTH:
            raise Bad([Problem(line, f"found more than {MOST_DEPTH} levels inside each other")])
        if event.tag not in (None, "!"):
            self.problems.append(Problem(line, f"found the tag '{shown(event.tag)}', allowed are values without tags"))
        value: list[Node] | dict[str, Node] = [] if isinstance(event, yaml.SequenceStartEvent) else {}
        self._open.append((self._anchored(event, Node(line, value, weight=0)), []))

    def _end(self) -> None:
        node, _ = self._open.pop()
        children = node.value if isinstance(node.value, list) else list(node.value.values())  # type: ignore[union-attr]
        node.weight = 1 + sum(child.weight for child in children)
        self._place(node)

    def _anchored(self, event: Any, node: Node) -> Node:
        if event.anchor:
            self._anchors[event.anchor] = node
        return node

    def _alias(self, anchor: str | None, line: int) -> None:
        anchor = anchor or ""
        node = self._anchors.get(anchor)
        if node is None:
            raise Bad([Problem(line, f"found the alias '*{shown(anchor)}', there is no anchor of that name above")])
        if node.weight == 0:
            raise Bad([Problem(line, f"found the alias '*{shown(anchor)}' inside its own anchor")])
        self._aliased += node.weight
        if self._aliased > MOST_ALIASED:
            raise Bad([Problem(line, f"found aliases that repeat more than {MOST_ALIASED} values")])
        self._place(node)

    def _place(self, node: Node) -> None:
        self._values += 1
        if self._values > MOST_VALUES:
            raise Bad([Problem(node.line, f"found more than {MOST_VALUES} values, allowed is a file of fewer")])
        if not self._open:
            self.root = node
            return
        holder, pending = self._open[-1]
        if isinstance(holder.value, list):
            holder.value.append(node)
        elif not pending:
            if isinstance(node.value, list | dict):
                raise Bad([Problem(node.line, "found a list or a mapping as a key, allowed is text")])
            pending.append(node)
        else:
            self._pair(holder, pending.pop(), node)

    def _pair(self, holder: Node, key: Node, value: Node) -> None:
        assert isinstance(holder.value, dict)
        name = key.text
        if name in holder.value:
            first = holder.key_lines[name]
            text = f"found the key '{shown(name)}' a second time (first in line {first}), allowed is once"
            self.problems.append(Problem(key.line, text))
            return
        holder.value[name] = value
        holder.key_lines[name] = key.line
