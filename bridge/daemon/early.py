"""Ears before anything else: the universes are listened to while the show and the slow modules are still being read.

Only a glance at the files: what it finds is used if it turns out to cover what the show really says, else not. Nothing
here may import numpy or a YAML reader, that is the whole point.
"""

from __future__ import annotations

import re
from pathlib import Path

from bridge.daemon.watch import Watch
from bridge.errors import NetworkError

_UNIVERSE = re.compile(rb"universe: *([0-9]{1,5})\b")
_INTERFACE = re.compile(rb"interface: *[\"']?([0-9.]{7,15})\b")
MOST_BYTES = 16_000_000
MOST_UNIVERSES = 256
DEFAULT_INTERFACE = "127.0.0.1"


def early_watch(show: Path) -> Watch | None:
    """A watch on what the files seem to name, or None where nothing can be seen or opened."""
    try:
        rig = _head(show / "rig.yaml")
        network = _head(show / "network.yaml") if (show / "network.yaml").exists() else b""
        universes = sorted({int(number) for number in _UNIVERSE.findall(rig)} & set(range(1, 64000)))
        found = _INTERFACE.search(network)
        interface = found[1].decode("ascii") if found else DEFAULT_INTERFACE
        return Watch(universes[:MOST_UNIVERSES], interface) if universes else None
    except (OSError, ValueError, NetworkError):  # the proper reading will say what is wrong, in its proper words
        return None


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(MOST_BYTES)
