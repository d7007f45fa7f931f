"""What a page may say, checked before anybody acts on it: `read` gives one of four messages or says what is wrong."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from typing import Any

from bridge.errors import Refused

MOST_ARGS = 64
MOST_TEXT = 250
MOST_NUMBER = 1e9
NAME = re.compile(r"[^\x00-\x1f\x7f@]{1,32}")

_WORDS = {
    "target": "position velocity pointing height size level alive take crew",
    "fixture": "level follow hold out trim still find act desk",
    "truss": "trim still",
    "sight": "near point nudge zoom focus level record forget done accept",
    "frame": "record solve forget",
}
_ALONE = "level dark desk still arm lock reload walk walk/confirm sight/solve sight/back"
_NAMED = "area no-light floor"
ADDRESS = re.compile(
    "/(?:"
    + "|".join(
        [
            *(f"{first}/[^/ ]{{1,64}}/(?:{'|'.join(last.split())})" for first, last in _WORDS.items()),
            f"(?:{'|'.join(_NAMED.split())})/[^/ ]{{1,64}}",
            *_ALONE.split(),
        ]
    )
    + ")"
)
"""The addresses of the OSC table that change something; the feed is ours to ask for."""

Argument = int | float | str | bool


@dataclass(frozen=True, slots=True)
class Osc:
    """Send this to the bridge."""

    address: str
    args: tuple[Argument, ...]


@dataclass(frozen=True, slots=True)
class Name:
    """The page's operator is called so; `key` is the page's own, the same when it connects again."""

    name: str
    key: str


@dataclass(frozen=True, slots=True)
class Ping:
    """Answer at once."""

    id: int


@dataclass(frozen=True, slots=True)
class Ask:
    """A question with an answer (asks.py); `data` is checked there."""

    id: int
    what: str
    data: dict[str, Any]


def read(text: str) -> Osc | Name | Ping | Ask:
    """One message of a page. Raises Refused with what was expected and found."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise Refused("json", f"expected a JSON object, found {text[:40]!r}") from None
    if not isinstance(data, dict):
        raise Refused("json", f"expected a JSON object, found {text[:40]!r}")
    match data.get("do"):
        case "osc":
            return _osc(data)
        case "name":
            name = " ".join(_text(data, "name").split())
            if not NAME.fullmatch(name):
                raise Refused("name", f"expected a name of 1 to 32 characters without @, found {name[:40]!r}")
            return Name(name, _text(data, "key"))
        case "ping":
            return Ping(_whole(data, "id"))
        case "ask":
            rest = {key: value for key, value in data.items() if key not in ("do", "id", "what")}
            return Ask(_whole(data, "id"), _text(data, "what"), rest)
        case other:
            raise Refused("do", f"expected do: osc, name, ping or ask, found {str(other)[:40]!r}")


def _osc(data: dict[str, Any]) -> Osc:
    address, args = data.get("address"), data.get("args", [])
    if not isinstance(address, str) or not ADDRESS.fullmatch(address) or not address.isascii():
        raise Refused("address", f"found address {str(address)[:60]!r}, expected one of the OSC table of the README")
    if not isinstance(args, list) or len(args) > MOST_ARGS:
        raise Refused("arguments", f"{address}: expected a list of at most {MOST_ARGS} arguments")
    return Osc(address, tuple(_argument(address, arg) for arg in args))


def _argument(address: str, arg: object) -> Argument:
    if isinstance(arg, str) and len(arg) <= MOST_TEXT and "\0" not in arg:
        return arg
    if isinstance(arg, bool):
        return arg
    if isinstance(arg, int | float) and math.isfinite(arg) and abs(arg) <= MOST_NUMBER:
        return arg
    raise Refused("arguments", f"{address}: found {str(arg)[:40]!r}, expected numbers and short texts")


def _text(data: dict[str, Any], key: str) -> str:
    value = data.get(key)
    if not isinstance(value, str) or len(value) > MOST_TEXT:
        raise Refused("field", f"{key}: expected a short text, found {str(value)[:40]!r}")
    return value


def _whole(data: dict[str, Any], key: str) -> int:
    value = data.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 1 << 53:
        raise Refused("field", f"{key}: expected a whole number, found {str(value)[:40]!r}")
    return value
