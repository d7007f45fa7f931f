"""A rig's or profile's text with other values and more heads in it; comments and all that is untouched stay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from bridge.errors import InputError
from bridge.exchange.found import Document
from bridge.exchange.standing import plain_of
from bridge.exchange.three_way import at, leaves
from bridge.show import splice
from bridge.show.editing import edited
from bridge.show.problems import Bad
from bridge.show.rows import row
from bridge.show.spans import Layout

FIXTURES = "fixtures"
CANNOT = "is written in a way that cannot be added to here; nothing was changed"


def with_heads(text: str, before: Sequence[Document], after: Sequence[Document]) -> str:
    """The text of rig.yaml with `before` become the first of `after`, and the rest behind them. Raises InputError."""
    try:
        changed = list(after[: len(before)])
        if changed != list(before):
            text = edited(text, [{"do": "set", "path": [FIXTURES], "value": changed}])
        new = list(after[len(before) :])
        return _with_more(text, new) if new else text
    except Bad as error:
        raise InputError("; ".join(f"rig.yaml:{problem.line}: {problem}" for problem in error.problems)) from None


def _with_more(text: str, new: list[Document]) -> str:
    layout = Layout(text.removeprefix("\ufeff"))
    wanted = [*(layout.root.plain().get(FIXTURES) or []), *new]
    names = layout.root.names
    holder = layout.root.items[names.index(FIXTURES)] if FIXTURES in names else None
    if holder is None or holder.kind != "list" or not holder.items:
        return edited(text, [{"do": "set", "path": [FIXTURES], "value": new}])
    if holder.flow:
        pieces = splice.inserted(layout, holder, len(holder.items), ", ".join(map(row, new)))
    else:
        pieces = splice.inserted(layout, holder, len(holder.items), *_block(layout, holder.items[-1].start, new))
    out = splice.apply(layout.text, pieces)
    if plain_of(out).get(FIXTURES) != wanted:
        raise InputError(f"rig.yaml: its list of fixtures {CANNOT}")
    return ("\ufeff" if text.startswith("\ufeff") else "") + out


def head_lines(heads: Iterable[Document]) -> list[str]:
    """Entries of a rig's list, a key a line."""
    return [
        f"{'- ' if n == 0 else '  '}{row(key)}: {row(value)}"
        for head in heads
        for n, (key, value) in enumerate(head.items())
    ]


def _block(layout: Layout, beside: int, new: list[Document]) -> tuple[str, str]:
    """The first line of the new entries, and all further ones; their keys stand as those of the entry at `beside`."""
    column = beside - layout.line_start(beside)
    indent = " " * max(column - 2, 0)
    first, *rest = head_lines(new)
    return first.removeprefix("- "), "".join(f"{layout.line_break}{indent}{line}" for line in rest)


def with_values(text: str, before: Document, after: Document) -> str:
    """The text of a profile with those values in it that differ. Raises InputError."""
    changes: list[dict[str, Any]] = [
        {"do": "set", "path": list(path), "value": value} for path, value in leaves(after) if at(before, path) != value
    ]
    try:
        return edited(text, changes)
    except Bad as error:
        raise InputError(
            "; ".join(f"the profile, line {problem.line}: {problem}" for problem in error.problems)
        ) from None
