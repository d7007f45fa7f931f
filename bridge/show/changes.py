"""Changes of a file as plain data, and what they make of the file's data. The text is another matter (`editing`).

A change is a mapping: `do` is set, add, remove or rename; `path` says where, as text with dots or as a list of steps:
a key, an item of a list by its name, a tape by its two ends (`A/B`), an item by its number from 1. `value` is plain
data for set and add, `to` the new name for rename. Lengths are numbers or texts with a unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from bridge.show.problems import Bad, Problem, shown
from bridge.show.rows import SWITCH, row
from bridge.show.scalars import resolve
from bridge.show.spans import Span
from bridge.show.units import metres_from_text

NAMED = ("more_areas", "floors", "no_light")  # lists whose items are known by `name`
ENDS = "tapes"  # the list whose items are known by their two ends
KINDS = ("set", "add", "remove", "rename")
MOST_DEPTH = 12
MOST_TEXT = 1000
MOST_NUMBER = 1e15  # whatever the unit, a typing mistake


@dataclass(frozen=True)
class Change:
    """One change, its form checked."""

    do: str
    path: tuple[str, ...]
    value: Any = None
    to: str = ""


def change_of(raw: Any) -> Change:
    """A change from plain data. Raises Bad where it has not the form of one."""
    if not isinstance(raw, Mapping):
        raise Bad([Problem(1, f"found {_said(raw)}, allowed is a change {{do, path, value}}")])
    do, path = raw.get("do"), raw.get("path")
    steps = path.split(".") if isinstance(path, str) else path
    if (
        not isinstance(steps, list | tuple)
        or not 1 <= len(steps) <= MOST_DEPTH
        or not all(isinstance(s, str) and s for s in steps)
    ):
        raise Bad([Problem(1, f"found the path {_said(path)}, allowed is text such as marks.A.at")])
    if do not in KINDS:
        raise Bad([Problem(1, f"found {_said(do)}, allowed is {' or '.join(KINDS)}", tuple(steps))])
    to = raw.get("to", "")
    if do == "rename" and (not isinstance(to, str) or not to or len(to) > 100):
        raise Bad([Problem(1, f"found {_said(to)} as the new name, allowed is text", tuple(steps))])
    if do in ("set", "add"):
        _check_plain(raw.get("value"), tuple(steps))
    return Change(do, tuple(steps), raw.get("value"), to)


def _check_plain(value: Any, path: tuple[str, ...], depth: int = 0) -> None:
    if isinstance(value, dict) and depth < MOST_DEPTH and all(isinstance(key, str) for key in value):
        for item in value.values():
            _check_plain(item, path, depth + 1)
    elif isinstance(value, list) and depth < MOST_DEPTH:
        for item in value:
            _check_plain(item, path, depth + 1)
    elif not (value is None or (isinstance(value, str) and len(value) <= MOST_TEXT) or _is_number(value)):
        found = _said(value)
        raise Bad([Problem(1, f"found {found}, allowed is text, a finite number, or lists and mappings of them", path)])


def _said(value: Any) -> str:
    try:
        return shown(repr(value)[:200])
    except ValueError:  # Python does not write out a number of more than 4300 digits
        return "a number of thousands of digits"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and -MOST_NUMBER < value < MOST_NUMBER


def located(root: Span, path: tuple[str, ...]) -> tuple[list[int], tuple[str, ...]]:
    """Positions of the steps that are there, and the steps that are not. Raises Bad where several could be meant."""
    node = root.real()
    found: list[int] = []
    for depth, step in enumerate(path):
        indices = _matches(node, step)
        if len(indices) > 1:
            text = f"found {len(indices)} tapes between {step}, allowed is one; say it by its number"
            raise Bad([Problem(1, text, path)])
        if not indices:
            return found, path[depth:]
        found.append(indices[0])
        node = node.items[indices[0]].real()
    return found, ()


def _matches(node: Span, step: str) -> list[int]:
    if node.kind == "map":
        return [index for index, name in enumerate(node.names) if name == step]
    items = [item.real() for item in node.items]
    found = [n for n, item in enumerate(items) if item.kind == "map" and _known_as(item, step)]
    if not found and step.isascii() and step.isdigit() and 1 <= int(step[:9]) <= len(items):
        return [int(step) - 1]
    return found


def _known_as(item: Span, step: str) -> bool:
    inside = dict(zip(item.names, item.items, strict=True))
    name, ends = inside.get("name"), inside.get("between")
    if name is not None:
        return name.real().text == step
    return ends is not None and sorted(end.real().text for end in ends.real().items) == sorted(step.split("/"))


def applied(data: Any, change: Change, found: list[int], missing: tuple[str, ...]) -> Any:
    """The file's data with the change made. Raises Bad where it cannot be."""
    path = change.path
    if change.do in ("remove", "rename") and missing:
        raise Bad([Problem(1, f"found no '{shown(missing[0])}' here, so there is nothing to {change.do}", path)])
    if change.do == "add" and not missing:
        raise Bad([Problem(1, f"found '{shown(path[-1])}' a second time, allowed is a name that is free", path)])
    if change.do == "remove":
        return rebuilt(data, found[:-1], lambda old: _without(old, found[-1]))
    if change.do == "rename":
        return rebuilt(data, found[:-1], lambda old: _renamed(old, found[-1], change))
    return rebuilt(data, found, lambda old: settled(old, _grown(old, change, len(found))))


def rebuilt(data: Any, path: list[int], make: Callable[[Any], Any]) -> Any:
    """A copy of the data with one value made anew; steps are positions, in mappings too."""
    if not path:
        return make(data)
    if isinstance(data, dict):
        return {k: rebuilt(v, path[1:], make) if n == path[0] else v for n, (k, v) in enumerate(data.items())}
    return [rebuilt(item, path[1:], make) if n == path[0] else item for n, item in enumerate(data)]


def _without(old: Any, index: int) -> Any:
    if isinstance(old, dict):
        return {key: item for n, (key, item) in enumerate(old.items()) if n != index}
    return [item for n, item in enumerate(old) if n != index]


def _renamed(old: Any, index: int, change: Change) -> Any:
    taken = old if isinstance(old, dict) else [item.get("name") for item in old if isinstance(item, dict)]
    if change.to in taken:
        text = f"found '{shown(change.to)}' a second time, allowed is a name that is free"
        raise Bad([Problem(1, text, change.path)])
    if isinstance(old, dict):
        return {change.to if n == index else key: item for n, (key, item) in enumerate(old.items())}
    if not isinstance(old[index], dict) or "name" not in old[index]:
        raise Bad([Problem(1, "found no name here, allowed is to rename what has one", change.path)])
    return rebuilt(old, [index], lambda item: {**item, "name": change.to})


def _grown(old: Any, change: Change, depth: int) -> Any:
    """The new value at `depth` steps of the path: what is asked, with the steps that are missing put round it."""
    path = change.path
    if depth == len(path):
        return change.value
    step = path[depth]
    if isinstance(old, list) and path[0] == "marks" and depth == 2:  # a bare point
        whole = step == "at" and depth + 1 == len(path) and isinstance(change.value, list)
        return change.value if whole else {"at": old, step: _grown(None, change, depth + 1)}
    if old is None:
        old = [] if path[depth - 1] in (*NAMED, ENDS) and depth == 1 else {}
    if isinstance(old, dict):
        return {**old, step: _grown(old.get(step), change, depth + 1)}
    if not isinstance(old, list) or change.do != "add" or depth + 1 != len(path):
        raise Bad([Problem(1, f"found no '{shown(step)}' here", path)])
    return [*old, _item(change)]


def _item(change: Change) -> dict[str, Any]:
    """A new item of a list, its name or its ends taken from the path."""
    *_, holder, name = change.path
    key, known = ("between", name.split("/")) if holder == ENDS else ("name", name)
    value = change.value
    if not isinstance(value, dict) or value.get(key, known) != known:
        text = f"found {_said(value)}, allowed is a mapping whose {key}, if it has one, is {name}"
        raise Bad([Problem(1, text, change.path)])
    return {key: known, **value}


def settled(old: Any, new: Any) -> Any:
    """What a value is to be: the new one, but parts that say the same as before stay as they were written."""
    if same(old, new):
        return old
    if isinstance(old, dict) and isinstance(new, dict):
        kept = {key: settled(item, new[key]) for key, item in old.items() if key in new}
        return kept | {key: settled(None, item) for key, item in new.items() if key not in old}
    if isinstance(new, dict):
        return {key: settled(None, item) for key, item in new.items()}
    if isinstance(new, list):
        return _settled_list(old if isinstance(old, list) else [], new)
    if isinstance(new, bool) and isinstance(old, str) and old.lower() in SWITCH:
        return {"on": "off", "off": "on", "yes": "no", "no": "yes"}.get(old.lower(), new)
    return resolve(row(new)) if isinstance(new, float) else new


def _settled_list(old: list[Any], new: list[Any]) -> list[Any]:
    first, last = ends_alike(old, new, same)
    pairs = min(len(old), len(new)) - first - last
    middle = [settled(old[first + n] if n < pairs else None, new[first + n]) for n in range(len(new) - first - last)]
    return [*old[:first], *middle, *old[len(old) - last :]]


def ends_alike(old: list[Any], new: list[Any], alike: Callable[[Any, Any], bool]) -> tuple[int, int]:
    """How many items at the beginning, and then at the end, two lists have in common."""
    most = min(len(old), len(new))
    first = next((n for n in range(most) if not alike(old[n], new[n])), most)
    last = next((n for n in range(most - first) if not alike(old[-1 - n], new[-1 - n])), most - first)
    return first, last


def same(old: Any, new: Any) -> bool:
    """Whether a new value says what the old one does: `40 cm` and 0.4, `off` and False, 7 and 7.0 are the same."""
    if isinstance(new, list):
        return isinstance(old, list) and len(old) == len(new) and all(map(same, old, new))
    if isinstance(new, dict):
        return isinstance(old, dict) and old.keys() == new.keys() and all(same(old[key], new[key]) for key in new)
    if isinstance(old, list | dict):
        return False
    if isinstance(new, bool) or isinstance(old, bool):
        return (SWITCH.get(old.lower()) if isinstance(old, str) else old) is new
    if isinstance(new, int | float) and isinstance(old, str):
        try:
            return math.isclose(metres_from_text(old), new, abs_tol=1e-9)
        except ValueError:
            return False
    if isinstance(new, int | float) and isinstance(old, int | float):
        return bool(old == new) or math.isclose(old, new, rel_tol=1e-15, abs_tol=1e-10)
    return bool(type(old) is type(new) and old == new)
