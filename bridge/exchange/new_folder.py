"""A show folder that begins: whole and loadable, or not there at all, and never over anything that stands there."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from bridge.errors import InputError
from bridge.exchange.starting import Plan, starting_rig
from bridge.show.frames import FRAMES
from bridge.show.imported import IMPORTED
from bridge.show.load import NETWORK, POSES, RIG, SIGHTINGS, STAGE, load

_FILES = (RIG, STAGE, NETWORK, SIGHTINGS, POSES, FRAMES, IMPORTED)
_STAND_IN = Plan("stand-in", 1.0, 1.0, 1, 1, 8.0, "spot-16bit", 20)


def refuse_show(folder: Path) -> None:
    """Raises InputError where the folder is no folder, or holds any file of a show."""
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise InputError(f"{folder}: found a file, allowed is a new folder or one without a show")
    try:
        profiles = sorted(p.relative_to(folder).as_posix() for p in folder.glob("profiles/*.y*ml"))
    except OSError as error:
        raise InputError(f"{folder}: cannot be looked at: {error.strerror or error}") from None
    found = [name for name in _FILES if os.path.lexists(folder / name)] + profiles
    if found:
        more = f" and {len(found) - 8} more" if len(found) > 8 else ""
        raise InputError(
            f"{folder}: found {', '.join(found[:8])}{more}: a show is there already, and `new` writes over nothing. "
            "Give another folder, or `tetherlight import` files into this one"
        )


def make_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Write the files (text by name inside the folder), checked whole as a show first.

    A folder that is not there comes by one rename; into one that is there each file comes by one link, and none stays
    where one fails. Raises InputError or ShowError; then nothing has changed.
    """
    refuse_show(folder)
    place = folder.resolve()
    there = place.is_dir()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with _scratch(place if there else place.parent) as fresh:
            for name, text in files.items():
                (fresh / name).parent.mkdir(exist_ok=True)
                _write(fresh / name, text)
            load(fresh, instead={} if RIG in files else {RIG: starting_rig(_STAND_IN)})
            if there:
                _link_all(fresh, place, files)
            else:
                os.rename(fresh, place)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written: {error.strerror or error}; nothing has changed") from None


@contextmanager
def _scratch(where: Path) -> Iterator[Path]:
    """A folder of our own on the same disk, gone at the end unless it was renamed."""
    fresh = where / f".tetherlight-new.{os.getpid()}"
    fresh.mkdir()
    try:
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _write(path: Path, text: str) -> None:
    with open(path, "x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _link_all(fresh: Path, folder: Path, files: Mapping[str, str]) -> None:
    """Each file under its name in the folder: neither way replaces what stands there."""
    done: list[Path] = []
    try:
        for name, text in files.items():
            target = folder / name
            target.parent.mkdir(exist_ok=True)
            try:
                os.link(fresh / name, target)
            except FileExistsError:
                raise
            except OSError:  # no hard links here (some memory sticks and network folders)
                _write(target, text)
            done.append(target)
    except BaseException:
        for target in done:
            target.unlink(missing_ok=True)
        raise
