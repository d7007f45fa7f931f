"""One file of the state folder: JSON in an envelope with a version, written whole or not at all."""

from __future__ import annotations

import json
import math
import os
import stat
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

VERSION = 1
MOST_DIGITS = 15
PIECE, DEPTH, TEXT = 32, 8, 30000
PAUSE_AFTER, PAUSE_S = 1000, 0.001
"""Octets of JSON after which the writing thread lets the loop have the interpreter to itself."""


def read(path: Path) -> tuple[dict[str, Any] | None, str]:
    """What `write` wrote, or None; and what is wrong with the file in words, or "" where it is fine or missing.

    The words NaN and Infinity are numbers here: the engine keeps "none" and "never" so, and checks each by itself.
    """
    try:
        data = json.loads(octets(path), parse_int=_whole, parse_float=_finite)
    except FileNotFoundError:
        return None, ""
    except (OSError, ValueError, RecursionError) as error:  # ValueError: not JSON, or not UTF-8
        return None, f"{path}: damaged ({error})"
    if not isinstance(data, dict) or data.get("version") != VERSION:
        return None, f"{path}: not version {VERSION} of this program's state"
    return data, ""


def octets(path: Path) -> bytes:
    """Of a regular file, else ValueError: a fifo would keep the start waiting for ever. Raises OSError."""
    with open(os.open(path, os.O_RDONLY | os.O_NONBLOCK), "rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise ValueError("no regular file")
        return file.read()


def _whole(text: str) -> int:
    """A number that any array takes."""
    if len(text) > MOST_DIGITS:
        raise ValueError(f"a number of {len(text)} digits")
    return int(text)


def _finite(text: str) -> float:
    if not math.isfinite(number := float(text)):
        raise ValueError(f"{text} is no finite number")
    return number


def put_aside(path: Path) -> None:
    """What stands here and is no file (a folder, a fifo) gets another name, so that a file can be written. OSError."""
    if os.path.lexists(path) and not path.is_file():
        os.rename(path, path.with_name(f"{path.name}.damaged-{time.time_ns()}"))


def pieces(data: Any, depth: int = 0) -> Iterator[str]:
    """JSON text in pieces of at most PIECE entries of a long mapping or list, as deep as DEPTH.

    One `json.dumps` of a large rig would hold the interpreter, and with it the loop, for a whole frame.
    """
    if isinstance(data, Mapping) and len(data) > PIECE:
        items = list(data.items())
        yield from _joined("{", (json.dumps(dict(items[at : at + PIECE])) for at in range(0, len(items), PIECE)), "}")
    elif isinstance(data, list | tuple) and len(data) > PIECE:
        yield from _joined("[", (json.dumps(data[at : at + PIECE]) for at in range(0, len(data), PIECE)), "]")
    elif isinstance(data, Mapping) and data and depth < DEPTH:
        for index, (key, value) in enumerate(data.items()):
            yield ("{" if index == 0 else ",") + json.dumps(str(key)) + ":"
            yield from pieces(value, depth + 1)
        yield "}"
    elif isinstance(data, str) and len(data) > TEXT:
        yield '"'
        yield from (json.dumps(data[at : at + TEXT])[1:-1] for at in range(0, len(data), TEXT))
        yield '"'
    else:
        yield json.dumps(data)


def _joined(opening: str, parts: Iterable[str], closing: str) -> Iterator[str]:
    for index, part in enumerate(parts):
        yield (opening if index == 0 else ",") + part[1:-1]
    yield closing


def write(path: Path, data: Mapping[str, Any], durable: bool, by: str = ".new") -> None:
    """Replace a file whole, never half; `durable`: it is on the disk when this returns. Raises OSError.

    `by` is the ending of the file that is written first and then takes the name.
    """
    temporary = path.with_suffix(by)
    for place in (path, *([temporary] if temporary.is_dir() else [])):
        put_aside(place)
    with temporary.open("w", encoding="ascii") as file:
        for piece in pieces({"version": VERSION, **data}):
            file.write(piece)
            if len(piece) > PAUSE_AFTER:
                time.sleep(PAUSE_S)
        if durable:
            file.flush()
            os.fsync(file.fileno())
    os.replace(temporary, path)
    if durable:
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
