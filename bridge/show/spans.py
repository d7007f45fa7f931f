"""Where everything of a YAML text stands: each value with its first and last character, its signs and the comments.

The values are those of `yaml12`; this tree is for writing into the text, and so knows nothing of what they mean.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from bridge.show import yaml12
from bridge.show.problems import Bad
from bridge.show.scalars import resolve

BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # what the parser takes for the end of a line
_COMMENT = re.compile("#[^\n\r\x85\u2028\u2029]*")
_ANCHOR = re.compile(r"&[^\s,\[\]{}]+")


@dataclass(slots=True, eq=False)
class Span:
    """One value: characters `start` to `end` of the text, its anchor included; a block ends with its last value.

    `kind` is scalar, alias, list or map. `items` are a list's items or a mapping's values, `keys` a mapping's keys.
    """

    kind: str
    start: int
    end: int
    flow: bool = True
    style: str = ""
    text: str = ""
    value: Any = None
    anchor: str = ""
    items: list[Span] = field(default_factory=list)
    keys: list[Span] = field(default_factory=list)
    target: Span | None = None

    def real(self) -> Span:
        """What an alias stands for; else the value itself."""
        return self.target if self.target is not None else self

    @property
    def names(self) -> list[str]:
        """A mapping's keys as written."""
        return [key.real().text for key in self.keys]

    def plain(self) -> Any:
        """The value as plain data, aliases written out."""
        node = self.real()
        if node.kind == "map":
            return {name: item.plain() for name, item in zip(node.names, node.items, strict=True)}
        return [item.plain() for item in node.items] if node.kind == "list" else node.value

    def walk(self) -> Iterator[Span]:
        """This value, its keys and everything in it, aliases not followed."""
        yield self
        for child in (*self.keys, *self.items):
            yield from child.walk()


class Layout:
    """A text and where its values stand. Raises Bad where it is not YAML, or YAML with problems."""

    def __init__(self, text: str) -> None:
        _, problems = yaml12.parse(text)
        if problems:
            raise Bad(problems)
        self.text = text
        found = BREAK.search(text)
        self.line_break = found[0] if found else "\n"
        self._starts = [0, *(found.end() for found in BREAK.finditer(text))]
        self.comments: list[tuple[int, int]] = []
        self._dashes: list[int] = []
        self._commas: list[int] = []
        self._colons: list[int] = []
        self._scan()
        self.root = _Builder(text).root

    def _scan(self) -> None:
        signs = {
            yaml.BlockEntryToken: self._dashes,
            yaml.FlowEntryToken: self._commas,
            yaml.ValueToken: self._colons,
        }
        spans = []
        for token in _tokens(self.text):
            start, end = token.start_mark.index, token.end_mark.index
            if end > start:
                spans.append((start, end))
                if type(token) in signs:
                    signs[type(token)].append(start)
        position = 0
        for start, end in [*sorted(spans), (len(self.text), len(self.text))]:
            self.comments += [found.span() for found in _COMMENT.finditer(self.text, position, max(start, position))]
            position = max(position, end)

    def comment_texts(self) -> list[str]:
        """All comments as written, in order."""
        return [self.text[start:end] for start, end in self.comments]

    def line_start(self, index: int) -> int:
        """First character of the line that holds this one."""
        return self._starts[self.line(index) - 1]

    def line_end(self, index: int) -> int:
        """The line break that ends this line, or the end of the text."""
        found = BREAK.search(self.text, index)
        return found.start() if found else len(self.text)

    def next_line(self, index: int) -> int:
        """First character of the line after this one."""
        found = BREAK.search(self.text, index)
        return found.end() if found else len(self.text)

    def line(self, index: int) -> int:
        """1-based number of the line."""
        return bisect_right(self._starts, index)

    def entry_start(self, holder: Span, index: int) -> int:
        """Where an entry begins: the `-` of a block list, the key of a mapping, else the value."""
        if holder.kind == "map":
            return holder.keys[index].start
        item = holder.items[index]
        return item.start if holder.flow else self._dashes[bisect_left(self._dashes, item.start) - 1]

    def entry_end(self, holder: Span, index: int) -> int:
        """Where an entry ends."""
        if holder.kind == "map" and self.sign_of(holder, index) is None:  # a lone key: its value is said to be behind
            return holder.keys[index].end
        return holder.items[index].end

    def sign_of(self, holder: Span, index: int) -> int | None:
        """End of the `:` or `-` in front of a value; None where there is none."""
        if holder.kind == "map":
            at = bisect_left(self._colons, holder.keys[index].end)
            found = self._colons[at] + 1 if at < len(self._colons) else None
            return found if found is not None and found <= holder.items[index].start else None
        return None if holder.flow else self.entry_start(holder, index) + 1

    def comma_between(self, start: int, end: int) -> int | None:
        """The first `,` between flow entries from `start` on and before `end`."""
        at = bisect_left(self._commas, start)
        return self._commas[at] if at < len(self._commas) and self._commas[at] < end else None

    def content_start(self, node: Span) -> int:
        """Where a value begins behind its anchor and the blanks after that."""
        if not node.anchor:
            return node.start
        found = _ANCHOR.match(self.text, node.start)
        end = found.end() if found else node.start
        return end + len(self.text[end : node.end]) - len(self.text[end : node.end].lstrip(" \t"))


def _tokens(text: str) -> Iterator[Any]:
    return yaml.scan(text, Loader=yaml12.LOADER)


class _Builder:
    """The tree of spans from the parser's events."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._anchors: dict[str, Span] = {}
        self._events: Iterator[Any] = iter(yaml.parse(text, Loader=yaml12.LOADER))
        for event in self._events:
            if isinstance(event, yaml.NodeEvent):
                self.root = self._node(event)
                break

    def _node(self, event: Any) -> Span:
        start, end = event.start_mark.index, event.end_mark.index
        if isinstance(event, yaml.AliasEvent):
            return Span("alias", start, end, target=self._anchors[str(event.anchor)].real())
        if isinstance(event, yaml.ScalarEvent):
            node = self._scalar(event, start, end)
        else:
            node = Span("list" if isinstance(event, yaml.SequenceStartEvent) else "map", start, end)
        node.anchor = event.anchor or ""
        if node.anchor:
            self._anchors[node.anchor] = node
        if node.kind != "scalar":
            self._fill(node, bool(event.flow_style))
        return node

    def _scalar(self, event: Any, start: int, end: int) -> Span:
        plain = not event.style
        value = resolve(event.value) if plain and event.tag is None else event.value
        if event.style in ("|", ">"):
            end = start + len(self._text[start:end].rstrip())
        return Span("scalar", start, end, style=event.style or "", text=event.value, value=value)

    def _fill(self, node: Span, flow: bool) -> None:
        node.flow = flow
        for event in self._events:
            if isinstance(event, yaml.CollectionEndEvent):
                break
            child = self._node(event)
            (node.keys if node.kind == "map" and len(node.keys) == len(node.items) else node.items).append(child)
        closed = self._text[event.end_mark.index - 1 : event.end_mark.index] in ("]", "}")
        if flow and closed and event.end_mark.index > event.start_mark.index:
            node.end = event.end_mark.index
        elif node.items:  # a block, or the one pair of `[a: 1]`: it ends where its last value does
            node.end = max(node.items[-1].end, node.keys[-1].end if node.keys else 0)
