"""Plain data as one row of YAML 1.2, in the manner of the value that stood there before."""

from __future__ import annotations

import json
import re
from typing import Any

from bridge.show.emit import number, to_yaml
from bridge.show.scalars import resolve
from bridge.show.spans import Span

SWITCH = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}
_LENGTH = re.compile(r"[-+]?[0-9]*\.?[0-9]+ ?(m|cm|mm|in|ft)")


def row(value: Any, like: Span | None = None) -> str:
    """The value in one line, flow style. `like` is the scalar that it replaces: its quotes are kept."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{row(key)}: {row(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(row, value)) + "]"
    if isinstance(value, float):
        return number(value)
    if isinstance(value, str):
        return _text(value, like)
    return to_yaml({"a": value}).removeprefix("a: ").rstrip("\n")


def _text(value: str, like: Span | None) -> str:
    style = like.style if like is not None and like.kind == "scalar" else ""
    if style == "'" and value.isprintable():
        return "'" + value.replace("'", "''") + "'"
    if style == '"':
        quoted = json.dumps(value, ensure_ascii=False)
        return "".join(char if char.isprintable() else f"\\U{ord(char):08x}" for char in quoted)
    bare = value.lower() in SWITCH or _LENGTH.fullmatch(value)
    if bare and isinstance(resolve(value), str):  # as people write them; YAML 1.2 takes both for text
        return value
    return to_yaml({"a": value}).removeprefix("a: ").rstrip("\n")
