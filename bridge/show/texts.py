"""A show folder as texts, and a show from such texts: what a capture carries, so that it replays by itself."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from bridge.errors import InputError
from bridge.show.load import load
from bridge.show.model import Show

MOST_FILES = 500
MOST_BYTES = 8_000_000
_LEFT_OUT = (".previous.yaml", "sightings.yaml")


def texts(folder: Path) -> dict[str, str]:
    """The YAML files of a show by their names inside its folder, but for sightings and older versions."""
    found: dict[str, str] = {}
    for path in sorted(folder.rglob("*.y*ml")):
        name = path.relative_to(folder).as_posix()
        if not name.endswith(_LEFT_OUT) and path.is_file() and path.stat().st_size <= MOST_BYTES:
            with contextlib.suppress(OSError):  # a file that nothing of the show needs, or gone this moment
                found[name] = path.read_text("utf-8-sig", errors="replace")
        if len(found) >= MOST_FILES:
            break
    return found


def load_texts(files: Mapping[str, str]) -> Show:
    """The show that such texts hold; its path is gone. Raises ShowError as `load`, InputError for a strange name."""
    with tempfile.TemporaryDirectory(prefix="tetherlight-show-") as scratch:
        for name, text in files.items():
            parts = PurePosixPath(str(name)).parts
            if not parts or ".." in parts or os.path.isabs(str(name)) or not isinstance(text, str):
                raise InputError(f"found a file named {str(name)[:60]!r}, allowed are files inside a show folder")
            path = Path(scratch, *parts)
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, "utf-8")
            except (OSError, ValueError) as error:  # a name or a text that no file can have, or a full disk
                raise InputError(f"the file {str(name)[:60]!r} of a show cannot be written: {error}") from None
        return load(scratch)
