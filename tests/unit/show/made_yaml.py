"""YAML files as many hands would write them, comments everywhere (`#c1;`, `#c2;` ...), and changes of them."""

from __future__ import annotations

import random
import re
from typing import Any

KEYS = ["marks", "A", "B", "at", "name", "floors", "tapes", "é", "on", "x-1", "010", "a b", "height", "between"]
PLAIN = ["5", "-1.50", "0.4", "40 cm", "10.5 ft", "unknown", "on", "off", "true", "~", "é ü", "a b", "0x10", "1e3", "-"]
STRANGE = [
    "it's",
    '"',
    "# no comment",
    "a: b",
    "[x]",
    "line\ttab",
    "ünder",
    "",
    " lead",
    "10' 6\"",
    "{",
    "*a",
    "&b",
    "-",
]
COMMENT = ["", " tab\there", ": [", " 'quote", ' "', " é→", " - x: 1", " #", " }", "   "]


class Maker:
    """Makes one text; now and then it is not YAML."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self._comments = 0
        self._anchors = 0

    def text(self) -> str:
        """A whole file."""
        rng = self._rng
        lines = self._behind("", self._flow(0, 1), 0) if rng.random() < 0.06 else self._block(0, 0)
        head = self._lines(0, 0.3) + (["---" + self._trailing()] if rng.random() < 0.1 else [])
        tail = self._lines(0, 0.3) + (["..."] if rng.random() < 0.05 else [])
        line_break = "\r\n" if rng.random() < 0.2 else "\n"
        text = re.sub(r"([:-])\t+#", r"\1 #", "\n".join([*head, *lines, *tail]))  # a tab may not follow a sign
        text = text.replace("\n", line_break)
        text += line_break if rng.random() < 0.7 else ""
        return ("\ufeff" if rng.random() < 0.1 else "") + text

    def _comment(self) -> str:
        self._comments += 1
        return f"#c{self._comments};{self._rng.choice(COMMENT)}"

    def _trailing(self) -> str:
        return self._rng.choice([" ", "  ", "\t", "      "]) + self._comment() if self._rng.random() < 0.25 else ""

    def _lines(self, indent: int, chance: float = 0.15) -> list[str]:
        out = []
        while self._rng.random() < chance:
            blank = self._rng.random() < 0.3
            out.append("" if blank else " " * self._rng.choice([0, indent, indent + 2]) + self._comment())
        return out

    def _block(self, depth: int, indent: int) -> list[str]:
        """The lines of a block mapping or list."""
        rng, lines = self._rng, []
        as_list = depth > 0 and rng.random() < 0.45
        keys = rng.sample(KEYS, rng.randint(1, 5))
        for key in keys:
            lines += self._lines(indent)
            if as_list:
                lines += self._value(" " * indent + "-", depth, indent, as_list=True)
            else:
                lines += self._value(" " * indent + self._key(key) + rng.choice(["", "", "", " "]) + ":", depth, indent)
        return lines

    def _value(self, head: str, depth: int, indent: int, as_list: bool = False) -> list[str]:
        rng = self._rng
        kind = rng.random()
        if kind < 0.45 and depth < 4:
            return self._block_value(head, depth, indent, as_list)
        if kind < 0.7 and depth < 4:
            return self._behind(f"{head}{self._gap()}{self._anchor()}", self._flow(depth + 1, indent + 1), indent)
        if kind < 0.76:
            return [head + self._trailing()]
        if kind < 0.8:
            style = rng.choice(["|", ">", "|-", "|+"])
            return [f"{head} {style}{self._trailing()}", *(" " * (indent + 2) + word for word in ("one", "  # two"))]
        if kind < 0.84 and self._anchors:
            return [f"{head} *n{rng.randint(1, self._anchors)}{self._trailing()}"]
        return [f"{head}{self._gap()}{self._anchor()}{self._scalar()}{self._trailing()}"]

    def _block_value(self, head: str, depth: int, indent: int, as_list: bool) -> list[str]:
        rng = self._rng
        deeper = indent + rng.randint(1, 4)
        inner = self._block(depth + 1, deeper)
        if as_list and inner[0].strip() and not inner[0].strip().startswith("#") and rng.random() < 0.7:
            if deeper == indent + 1:  # `- key: value` is two deeper at least
                inner = [" " + line if line.strip() else line for line in inner]
                deeper += 1
            return [head + " " * (deeper - indent - 1) + inner[0].lstrip(), *inner[1:]]
        first = next(line.strip() for line in inner if line.strip() and not line.strip().startswith("#"))
        if not as_list and first.startswith("-") and rng.random() < 0.5:  # a list as deep as its key
            inner = [line[deeper - indent :] if line.startswith(" " * deeper) else line for line in inner]
        return [head + self._anchor(" ").rstrip() + self._trailing(), *inner]

    def _behind(self, head: str, value: str, indent: int) -> list[str]:
        first, *rest = value.split("\n")
        lines = [head + first, *(" " * (indent + 1) + line for line in rest)]
        lines[-1] += self._trailing()
        return lines

    def _flow(self, depth: int, indent: int) -> str:
        """A flow list or mapping; it may go over lines, with comments in it."""
        rng = self._rng
        as_list, wide = rng.random() < 0.55, rng.random() < 0.25
        entries = []
        for key in rng.sample(KEYS, rng.randint(0, 4)):
            value = self._flow(depth + 1, indent) if depth < 5 and rng.random() < 0.3 else self._flow_scalar()
            colon = rng.choice([": ", ": ", ":  ", " : "])
            entries.append(value if as_list else f"{self._key(key)}{colon}{value}" if rng.random() < 0.95 else key)
        out = "[" if as_list else "{"
        for n, entry in enumerate(entries):
            last = n + 1 == len(entries)
            out += self._between(wide) + entry + self._between(wide and rng.random() < 0.3)
            out += "," if not last or rng.random() < 0.12 else ""
        return out + self._between(wide) + ("]" if as_list else "}")

    def _between(self, wide: bool) -> str:
        if not wide:
            return self._rng.choice(["", " ", " ", "  "])
        return self._trailing() + "\n" + self._rng.choice(["", " ", "   "])

    def _flow_scalar(self) -> str:
        if self._anchors and self._rng.random() < 0.05:
            return f"*n{self._rng.randint(1, self._anchors)} "
        return self._rng.choice(PLAIN[:-1]) if self._rng.random() < 0.7 else self._quoted()

    def _scalar(self) -> str:
        return self._rng.choice(PLAIN[:-1]) if self._rng.random() < 0.75 else self._quoted()

    def _quoted(self) -> str:
        word = self._rng.choice(PLAIN + STRANGE)
        if self._rng.random() < 0.5:
            return "'" + word.replace("'", "''") + "'"
        return '"' + re.sub(r'(["\\])', r"\\\1", word).replace("\t", "\\t") + '"'

    def _key(self, key: str) -> str:
        return self._rng.choice([f"'{key}'", f'"{key}"']) if self._rng.random() < 0.12 else key

    def _gap(self) -> str:
        return self._rng.choice([" ", " ", " ", "   "])

    def _anchor(self, before: str = "") -> str:
        if self._rng.random() > 0.06:
            return ""
        self._anchors += 1
        return f"{before}&n{self._anchors} "


VALUES = [
    5,
    -1.25,
    0.1 + 0.2,
    "new",
    "a: b # c",
    "it's",
    'x"y',
    "é",
    None,
    True,
    [1, 2.5, 0],
    [],
    {},
    {"at": [1, 2, "40 cm"]},
]


def paths(data: Any) -> list[tuple[str, ...]]:
    """The path of everything in some data; items of lists by their numbers."""
    children = data.items() if isinstance(data, dict) else enumerate(data, 1) if isinstance(data, list) else ()
    return [p for key, item in children for p in [(str(key),), *((str(key), *inner) for inner in paths(item))]]


def some_change(rng: random.Random, data: Any) -> dict[str, Any]:
    """A change that the data allows, at any depth."""
    path = rng.choice(paths(data))
    holder, item = data, data
    for step in path:
        holder, item = item, item[step] if isinstance(item, dict) else item[int(step) - 1]
    do = rng.choice(["set", "set", "remove", "rename", "add", "grow"])
    if do == "grow" and isinstance(item, list):  # as a corner more, or one less
        items = list(item)
        if items and rng.random() < 0.5:
            del items[rng.randrange(len(items))]
        else:
            items.insert(rng.randint(0, len(items)), rng.choice(VALUES))
        return {"do": "set", "path": path, "value": items}
    if do == "add" and isinstance(holder, dict):
        return {"do": "add", "path": [*path[:-1], "fresh"], "value": rng.choice(VALUES)}
    if do == "rename" and isinstance(holder, dict):
        return {"do": "rename", "path": path, "to": rng.choice(["fresh", "no", "17", "a b"])}
    if do == "remove":
        return {"do": "remove", "path": path}
    return {"do": "set", "path": path, "value": rng.choice(VALUES)}
