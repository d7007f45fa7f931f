"""One file of another program, whichever kind it is."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from bridge.errors import FileRefused
from bridge.exchange.archive import Archive
from bridge.exchange.found import Found
from bridge.exchange.gdtf import read_gdtf
from bridge.exchange.mvr import read_mvr
from bridge.exchange.table import read_table

TABLES = (".csv", ".tsv", ".txt")
ALLOWED = "allowed are a .gdtf (one fixture type), an .mvr (a drawing with its rig) and a .csv (a list)"


def read_file(file: Path, mode: str | None, maps: Mapping[str, str]) -> Found:
    """What a file holds; told by its ending, and by what is in it where that says nothing. Raises FileRefused."""
    what = file.name
    try:
        kind = os.stat(file).st_mode
    except (OSError, ValueError) as error:
        raise FileRefused(f"{file}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if not stat.S_ISREG(kind):
        raise FileRefused(f"{file}: found something else than a regular file; {ALLOWED}")
    ending = file.suffix.lower()
    if ending in TABLES:
        return read_table(file, what, maps)
    if ending not in (".gdtf", ".mvr"):
        ending = _kind(file, what)
    return read_gdtf(file, what, mode) if ending == ".gdtf" else read_mvr(file, what, mode)


def _kind(file: Path, what: str) -> str:
    """By what an archive of another name holds."""
    try:
        archive = Archive(file, what)
    except FileRefused:
        raise FileRefused(f"{what}: found the ending '{file.suffix}'; {ALLOWED}") from None
    try:
        for ending, member in ((".mvr", "GeneralSceneDescription.xml"), (".gdtf", "description.xml")):
            if archive.find(member):
                return ending
    finally:
        archive.close()
    raise FileRefused(f"{what}: found an archive without GeneralSceneDescription.xml or description.xml; {ALLOWED}")
