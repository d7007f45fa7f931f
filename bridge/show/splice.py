"""Changes of a YAML text as pieces of it replaced: all that is not touched stays as it was, byte for byte.

Each function looks at one `Layout` and gives pieces `(start, end, new)` for `apply`; then the text is laid out anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from bridge.show.rows import row
from bridge.show.spans import BREAK, Layout, Span

Piece = tuple[int, int, str]
_BLANKS = re.compile(r"[ \t]*")


def apply(text: str, pieces: Iterable[Piece]) -> str:
    """The text with its pieces replaced. A piece that overlaps one before it is left for another round."""
    out, position = [], 0
    for start, end, new in sorted(pieces, key=lambda piece: piece[:2]):
        if start >= position:
            out += [text[position:start], new]
            position = end
    return "".join([*out, text[position:]])


def replaced(layout: Layout, holder: Span | None, index: int, value: Any, but: tuple[int, int] = (0, 0)) -> list[Piece]:
    """A value of `holder` (None: the whole file) written anew as a row; comments in it come to lines of their own.

    Comments between the two characters `but` go.
    """
    node = holder.items[index] if holder else layout.root
    start, end = layout.content_start(node), node.end
    new = row(value, node)
    if start == end:
        return [_first_value(layout, holder, index, new)]
    if holder is not None and not node.flow and (pieces := _block_replaced(layout, holder, index, new, but)):
        return pieces
    if but[1] >= layout.line_end(end) > end:  # a comment behind the value goes too
        end = layout.line_end(end)
    line = layout.line_start(node.start)
    indent = _indent(layout, line)
    kept = [layout.text[a:b] for a, b in layout.comments if start <= a < end and not but[0] <= a < but[1]]
    return [(line, line, "".join(f"{indent}{comment}{layout.line_break}" for comment in kept)), (start, end, new)]


def _first_value(layout: Layout, holder: Span | None, index: int, new: str) -> Piece:
    """A value where there was none: behind `key:`, `-`, an anchor, or a lone `key` of a flow mapping."""
    node = holder.items[index] if holder else layout.root
    if holder is not None and holder.kind == "map" and layout.sign_of(holder, index) is None:
        key = holder.keys[index]
        return key.end, key.end, f"{' ' if key.kind == 'alias' else ''}: {new}"
    blank = layout.text[node.end - 1 : node.end] in (" ", "\t")
    return node.end, node.end, f"{'' if blank else ' '}{new}"


def _block_replaced(layout: Layout, holder: Span, index: int, new: str, but: tuple[int, int]) -> list[Piece]:
    """A block that begins below its `key:` or `-`: the row comes behind the sign, the block's comments below it."""
    text, node = layout.text, holder.items[index]
    sign = layout.sign_of(holder, index)
    first = layout.entry_start(node, 0)
    if sign is None or layout.line_end(sign) >= first:
        return []
    if node.anchor:
        sign = layout.content_start(Span("scalar", node.start, layout.line_end(node.start), anchor=node.anchor))
        sign = len(text[:sign].rstrip(" \t"))
    line_end, end = layout.line_end(sign), layout.line_end(node.end)
    indent = _indent(layout, layout.line_start(sign))
    kept = [text[a:b] for a, b in layout.comments if line_end <= a < end and not but[0] <= a < but[1]]
    return [(sign, sign, f" {new}"), (line_end, end, "".join(f"{layout.line_break}{indent}{one}" for one in kept))]


def removed(layout: Layout, path: list[Span], index: int) -> list[Piece]:
    """An entry of the last of `path` (the spans from the file's root on) taken out, with the comments inside of it."""
    holder = path[-1]
    start, end = layout.entry_start(holder, index), layout.entry_end(holder, index)
    if len(holder.items) == 1:
        empty: Any = {} if holder.kind == "map" else []
        above = path[-2] if len(path) > 1 else None
        place = next((n for n, item in enumerate(above.items) if item is holder), 0) if above else 0
        return replaced(layout, above, place, empty, (start, layout.line_end(end) if not holder.flow else end))
    return (_flow_removed if holder.flow else _block_removed)(layout, holder, index, start, end)


def _block_removed(layout: Layout, holder: Span, index: int, start: int, end: int) -> list[Piece]:
    text, line = layout.text, layout.line_start(start)
    line_end, after = layout.line_end(end), layout.next_line(end)
    if not text[line:start].strip():
        if after == line_end and (found := [*BREAK.finditer(text, 0, line)]):  # the last line, without an end
            line = found[-1].start()
        return [(line, after, "")]
    follower = layout.entry_start(holder, index + 1) if index + 1 < len(holder.items) else after
    if follower > after and not text[after:follower].strip():  # `- first: 1` and below `second: 2`: that one moves up
        return [(start, follower, "")]
    return [(start, line_end, "")]


def _flow_removed(layout: Layout, holder: Span, index: int, start: int, end: int) -> list[Piece]:
    last = index + 1 == len(holder.items)
    stop = holder.end if last else layout.entry_start(holder, index + 1)
    comma = layout.comma_between(end, stop)
    if comma is None:
        comma = layout.comma_between(layout.entry_end(holder, index - 1), start)
        assert comma is not None
        if not layout.text[comma + 1 : start].strip(" \t"):
            return [(comma, end, "")]
        return [(comma, comma + 1, _apart(layout.text, comma + 1)), *_line_freed(layout, start, end)]
    if layout.text[end:comma].strip():  # a comment between the value and its comma
        return [(start, end, ""), (comma, comma + 1, _apart(layout.text, comma + 1))]
    return _line_freed(layout, start, comma + 1)


def _apart(text: str, index: int) -> str:
    """A blank in front of a comment that stood right behind the sign that goes."""
    return " " if text[index : index + 1] == "#" else ""


def _line_freed(layout: Layout, start: int, end: int) -> list[Piece]:
    """These characters taken out with the blanks behind them, and with their line if nothing else is on it."""
    text = layout.text
    behind = _BLANKS.match(text, end)
    rest = behind.end() if behind else end
    line = layout.line_start(start)
    if not text[line:start].strip() and rest == layout.line_end(end):
        return [(line, layout.next_line(end), "")]
    return [(start, rest if text[rest : rest + 1] != "#" else end, "")]


def inserted(layout: Layout, holder: Span, index: int, entry: str, below: str = "") -> list[Piece]:
    """An entry (`value` of a list, `key: value` of a mapping) put in front of the entry `index`, or behind the last.

    `below` are further lines of it, for a block only. `holder` has entries.
    """
    text, before = layout.text, index - 1
    if not holder.flow:
        sign = "- " if holder.kind == "list" else ""
        first = layout.entry_start(holder, 0)
        indent = " " * (first - layout.line_start(first))
        if index == 0:
            return [(first, first, f"{sign}{entry}{below}{layout.line_break}{indent}")]
        at = layout.line_end(layout.entry_end(holder, before))
        return [(at, at, f"{layout.line_break}{indent}{sign}{entry}{below}")]
    if index == 0:
        first = layout.entry_start(holder, 0)
        return [(first, first, f"{entry}, ")]
    start, end = layout.entry_start(holder, before), layout.entry_end(holder, before)
    stop = layout.entry_start(holder, index) if index < len(holder.items) else holder.end
    comma = layout.comma_between(end, stop)
    line, line_end = layout.line_start(start), layout.line_end(end)
    alone = not text[line:start].strip() and line_end < stop
    rest = [(a, b) for a, b in layout.comments if end <= a < line_end]
    blank = text[end : rest[0][0] if rest else line_end].strip() in ("", ",")
    if alone and blank:  # one entry a line: the new one gets a line too
        behind = "," if index < len(holder.items) or (comma is not None and comma < line_end) else ""
        new = f"{layout.line_break}{_indent(layout, line)}{entry}{behind}"
        if comma is None:
            return [(end, end, ","), (line_end, line_end, new)]
        return [(line_end, line_end, new)] if comma < line_end else [(end, end, f", {entry}")]
    return [(end, end, f", {entry}")]


def _indent(layout: Layout, line: int) -> str:
    found = _BLANKS.match(layout.text, line)
    return found[0] if found else ""
