"""Changes written into a YAML text: its comments, layout, quotes and all untouched lines stay as they were.

The text is cut at the places that the parser tells, not written anew. That each change did what it should, and nothing
else, is checked on the new text itself before the next one is made; a text that fails is never given out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from bridge.show import splice
from bridge.show.changes import Change, applied, change_of, ends_alike, located
from bridge.show.problems import Bad, Problem
from bridge.show.rows import row
from bridge.show.spans import Layout, Span

_BYTE_ORDER_MARK = "\ufeff"


def edited(text: str, changes: Iterable[Any]) -> str:
    """The text with the changes (see `changes`) made, one after the other.

    Raises Bad, each problem with its path, where a change cannot be made or where what came out is not exactly the old
    data with the change in it and the old comments and lines.
    """
    mark = _BYTE_ORDER_MARK if text.startswith(_BYTE_ORDER_MARK) else ""
    text = text.removeprefix(_BYTE_ORDER_MARK)
    layout = Layout(text)
    problems: list[Problem] = []
    for raw in changes:
        try:
            layout = _one(layout, change_of(raw))
        except Bad as error:
            problems += error.problems
    if problems:
        raise Bad(problems)
    return mark + layout.text


def _one(layout: Layout, change: Change) -> Layout:
    found, missing = located(layout.root, change.path)
    line = layout.line(_path_of(layout.root, _before_alias(layout.root, found))[-1].start)
    try:
        goal = applied(layout.root.plain(), change, found, missing)
    except Bad as error:
        raise Bad(replace(problem, line=line) for problem in error.problems) from None
    if identical(layout.root.plain(), goal):
        return layout
    found = _before_alias(layout.root, found)
    for written_out in (False, True):
        try:
            old = _aliases_written_out(layout, found) if written_out else layout
            new = _made(old, change, found, goal)
            if _is_right(old, new, change, found, goal):
                return new
        except (Bad, AssertionError, IndexError, RecursionError):  # an odd layout: nothing of it comes out
            continue
    said = "this place is written in a way that cannot be changed here; change it in the file"
    raise Bad([Problem(line, said, change.path)])


def _made(layout: Layout, change: Change, found: list[int], goal: Any) -> Layout:
    path = _path_of(layout.root, found)
    direct = len(path) > 1 and len(found) == len(located(layout.root, change.path)[0])
    if change.do == "remove" and direct:
        return Layout(splice.apply(layout.text, splice.removed(layout, path[:-1], found[-1])))
    if change.do == "rename" and direct and path[-2].kind == "map":
        key = path[-2].keys[found[-1]]
        return Layout(splice.apply(layout.text, [(layout.content_start(key), key.end, row(change.to, key))]))
    for _ in range(20 + 2 * sum(1 for _ in path[-1].walk()) + 2 * _values(goal)):  # more would never end
        pieces = _difference(layout, [layout.root], 0, goal)
        if not pieces:
            return layout
        layout = Layout(splice.apply(layout.text, pieces))
    raise Bad([])


def _difference(layout: Layout, path: list[Span], index: int, goal: Any) -> list[splice.Piece]:
    """Pieces that bring the text nearer to the goal: values at once, an entry more or less one at a time."""
    node = path[-1]
    if identical(node.plain(), goal):
        return []
    kind = "map" if isinstance(goal, dict) else "list" if isinstance(goal, list) else "scalar"
    if node.kind != kind or kind == "scalar" or not node.items or not goal:
        return splice.replaced(layout, path[-2] if len(path) > 1 else None, index, goal)
    pairs = _pairs(node, goal)
    values = [piece for n, value in pairs for piece in _difference(layout, [*path, node.items[n]], n, value)]
    if values:
        return values
    if isinstance(goal, dict):
        return _keys_differ(layout, path, index, goal)
    first, _ = ends_alike(node.plain(), goal, identical)
    if len(node.items) > len(goal):
        return splice.removed(layout, path, first)
    return splice.inserted(layout, node, first, row(goal[first]))


def _pairs(node: Span, goal: Any) -> list[tuple[int, Any]]:
    """(position, goal) of the entries that stay."""
    if isinstance(goal, dict):
        return [(n, goal[name]) for n, name in enumerate(node.names) if name in goal]
    old = node.plain()
    first, last = ends_alike(old, goal, identical)
    return [(n, goal[n]) for n in range(first, min(len(old), len(goal)) - last)]


def _keys_differ(layout: Layout, path: list[Span], index: int, goal: dict[str, Any]) -> list[splice.Piece]:
    node = path[-1]
    for n, name in enumerate(node.names):
        if name not in goal:
            return splice.removed(layout, path, n)
    name = next((name for name in goal if name not in node.names), "")
    if not name:  # the same keys in another order
        return splice.replaced(layout, path[-2] if len(path) > 1 else None, index, goal)
    value = goal[name]
    rows = _rows(value) if len(path) == 1 and not node.flow else []
    if not rows:
        return splice.inserted(layout, node, len(node.items), f"{row(name)}: {row(value)}")
    below = "".join(f"{layout.line_break}  {one}" for one in rows)
    return splice.inserted(layout, node, len(node.items), f"{row(name)}:", below)


def _rows(value: Any) -> list[str]:
    """A new group of things at the top of a file: one of them a line."""
    if isinstance(value, dict) and any(isinstance(item, list | dict) for item in value.values()):
        return [f"{row(key)}: {row(item)}" for key, item in value.items()]
    if isinstance(value, list) and any(isinstance(item, list | dict) for item in value):
        return [f"- {row(item)}" for item in value]
    return []


def _is_right(old: Layout, new: Layout, change: Change, found: list[int], goal: Any) -> bool:
    """The new text is the old one with the goal's data, the old comments, and the old lines above and below."""
    if not identical(new.root.plain(), goal):
        return False
    before, after = old.text, new.text
    path = _path_of(old.root, found)
    kept, left = old.comment_texts(), new.comment_texts()
    going = _going(old, path, change, found, goal)
    staying = [before[a:b] for a, b in old.comments if not any(first <= a < last for first, last in going)]
    if not (_in_order(staying, left) and _in_order(left, kept)):
        return False
    first, last = _lines_touched(old, path, change, found)
    above, below = before[:first], before[last:]
    return after.startswith(above if below else above.rstrip("\r\n")) and after.endswith(below)


def _going(old: Layout, path: list[Span], change: Change, found: list[int], goal: Any) -> list[tuple[int, int]]:
    """From where to where there are entries that the change takes out: their comments may go with them."""
    if change.do == "remove":
        return [_entry(old, path[-2], found[-1])]
    if change.do != "set":
        return []
    for step in found:
        goal = list(goal.values())[step] if isinstance(goal, dict) else goal[step]
    return _gone(old, path[-1], goal)


def _gone(old: Layout, node: Span, goal: Any) -> list[tuple[int, int]]:
    if node.kind == "map" and isinstance(goal, dict):
        lost = [_entry(old, node, n) for n, name in enumerate(node.names) if name not in goal]
        kept = [(item, goal[name]) for name, item in zip(node.names, node.items, strict=True) if name in goal]
        return lost + [one for item, value in kept for one in _gone(old, item, value)]
    if node.kind == "list" and isinstance(goal, list):
        if len(goal) < len(node.items):
            return [_entry(old, node, n) for n in range(len(node.items))]
        return [one for item, value in zip(node.items, goal, strict=False) for one in _gone(old, item, value)]
    return []


def _entry(old: Layout, holder: Span, index: int) -> tuple[int, int]:
    end = old.entry_end(holder, index)
    return old.entry_start(holder, index), end if holder.flow else old.line_end(end)


def _lines_touched(old: Layout, path: list[Span], change: Change, found: list[int]) -> tuple[int, int]:
    """First and last character of the lines that a change may touch: in a flow, up to the neighbours."""
    depth, node = len(path) - 1, path[-1]
    if len(found) < len(change.path) and node.kind in ("map", "list") and not node.flow and node.items:
        end = old.line_end(old.entry_end(node, len(node.items) - 1))  # a new entry comes behind the last: no old line
        return end, end
    if change.do == "remove" and depth and len(path[-2].items) == 1:
        depth -= 1  # what is empty now is said so behind its key
    if not depth:
        return 0, len(old.text)
    holder, index = path[depth - 1], found[depth - 1]
    start, end = old.entry_start(holder, index), old.entry_end(holder, index)
    if holder.flow:
        start = old.entry_end(holder, index - 1) if index else holder.start
        end = old.entry_start(holder, index + 1) if index + 1 < len(holder.items) else holder.end
    elif old.text[old.line_start(start) : start].strip() and index + 1 < len(holder.items):
        end = old.entry_start(holder, index + 1)  # after `- first: 1`, gone, the second moves up to the sign
    return old.line_start(start), old.next_line(end)


def _values(data: Any) -> int:
    children = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    return 1 + sum(map(_values, children))


def _in_order(few: list[str], many: list[str]) -> bool:
    rest = iter(many)
    return all(one in rest for one in few)


def _path_of(root: Span, found: list[int]) -> list[Span]:
    path = [root]
    for step in found:
        path.append(path[-1].items[step])
    return path


def _before_alias(root: Span, found: list[int]) -> list[int]:
    """The path as far as it is written in its own place: an alias on it is where it ends."""
    node = root
    for depth, step in enumerate(found):
        if node.kind == "alias":
            return found[:depth]
        node = node.items[step]
    return found


def _aliases_written_out(layout: Layout, found: list[int]) -> Layout:
    """The same data, with a value of its own in place of each alias of something on the path or inside its end."""
    path = _path_of(layout.root, found)
    anchored = {id(node) for node in (*path, *path[-1].walk())}
    pieces = [
        (node.start, node.end, row(node.plain()))
        for node in layout.root.walk()
        if node.kind == "alias" and any(id(inner) in anchored for inner in node.real().walk())
    ]
    if not pieces:
        raise Bad([])
    out = Layout(splice.apply(layout.text, pieces))
    if not identical(out.root.plain(), layout.root.plain()) or out.comment_texts() != layout.comment_texts():
        raise Bad([])
    return out


def identical(one: Any, other: Any) -> bool:
    """The same data: types, order of keys, and not-a-number too."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return list(one) == list(other) and all(identical(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(identical, one, other))
    return bool(one == other or (one != one and other != other))
