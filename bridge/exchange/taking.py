"""Takes a file of another program over into a show folder: read, met, checked whole, and only then written."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bridge.errors import InputError, ShowError
from bridge.exchange.meeting import Meeting, meet
from bridge.exchange.reading import read_file
from bridge.exchange.standing import PROFILES, Standing, standing
from bridge.exchange.texts import texts_of
from bridge.show.load import RIG, SIGHTINGS, load
from bridge.show.store import atomic_write

OLD_SIGHTINGS = (
    "sightings were made with the profile that the head had: take the named lines out of sightings.yaml, import again, "
    "and sight these heads anew"
)


@dataclass(frozen=True)
class Options:
    """What a person has answered: the mode; profiles by type ("" for all unknown ones); headings of a table by keys."""

    mode: str | None = None
    profiles: Mapping[str, str] = field(default_factory=dict)
    maps: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Taken:
    """What an import does, and the texts of the files that it makes or changes."""

    meeting: Meeting
    texts: Mapping[str, str]


def look(folder: Path, file: Path, options: Options) -> Taken:
    """What would become of the show. Raises FileRefused of the file, ShowError where the show then would not load."""
    found = read_file(file, options.mode, options.maps)
    meeting = meet(found, standing(folder), options.profiles)
    name = folder.resolve().name
    texts = texts_of(meeting, file.name, name if name.isprintable() else "show")
    if meeting.show.has(RIG) or RIG in texts:
        _check(meeting.show, texts)
    return Taken(meeting, texts)


def take(folder: Path, taken: Taken) -> tuple[str, ...]:
    """Write it; the names of the files. Raises InputError where the show was changed since it was looked at."""
    if not taken.texts:
        return ()
    now = standing(folder)
    if now.texts != taken.meeting.show.texts:
        raise InputError("the show was changed by somebody else meanwhile, so nothing is written: import again")
    try:
        (folder / PROFILES if any("/" in file for file in taken.texts) else folder).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made: {error.strerror or error}") from None
    written: list[str] = []
    for file, text in taken.texts.items():
        try:
            atomic_write(folder / file, text)
        except InputError as error:
            done = f". Already written: {', '.join(written)}. Import again once that is mended" if written else ""
            raise InputError(f"{error}{done}") from None
        written.append(file)
    return tuple(written)


def _check(show: Standing, texts: Mapping[str, str]) -> None:
    """Load the show as it would be, from a copy."""
    with tempfile.TemporaryDirectory(prefix="tetherlight-import-") as name:
        copy = Path(name)
        (copy / PROFILES).mkdir()
        for path in show.folder.glob("*.yaml") if show.folder.is_dir() else ():
            if path.is_file():
                shutil.copyfile(path, copy / path.name)
        for file, text in {**show.texts, **texts}.items():
            (copy / file).parent.mkdir(parents=True, exist_ok=True)
            (copy / file).write_bytes(text.encode())
        try:
            load(copy)
        except ShowError as error:
            would = "the show would not load with this file in it" if texts else "the show does not load as it stands"
            first = f"{would}, so nothing is written:"
            last = [OLD_SIGHTINGS] if texts and any(each.startswith(SIGHTINGS) for each in error.problems) else []
            raise ShowError([first, *error.problems, *last]) from None
