"""Writes the files that the tool owns: whole or not at all, and the version before is kept.

A file is written beside its place, brought to disk, and then renamed over the old one, which POSIX does in one step. So
a kill or a power cut at any moment leaves the old or the new file, never a part of one.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import itertools
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from bridge.errors import InputError
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.show.emit import to_yaml
from bridge.show.folder import VERSION
from bridge.show.frames import FRAMES, frames_document, read_frames
from bridge.show.load import POSES, SIGHTINGS
from bridge.show.poses import read_poses
from bridge.show.problems import Bad
from bridge.show.sightings import read_sightings
from bridge.show.yaml12 import parse
from bridge.solve.measurements import Sighting

_AT_FDCWD, _RENAME_EXCHANGE = -100, 2  # Linux, <fcntl.h> and <linux/fs.h>
_counter = itertools.count()
_in_use: set[str] = set()  # temporary files that this process is writing now


def atomic_write(path: str | os.PathLike[str], text: str | bytes, keep_previous: bool = True) -> None:
    """Replaces a file by `text` (UTF-8, or octets as they are) in one step; the old one is kept as `NAME.previous.EXT`.

    Without `keep_previous` what is kept stays as it is: for a note on what the file says, no version of its own.
    Nothing is written where the text is there already. Raises InputError where the folder cannot be written to; the old
    file then stays as it was.
    """
    target = Path(os.path.realpath(path))
    data = text.encode() if isinstance(text, str) else text
    try:
        _remove_stale(target)
        if target.is_file() and target.read_bytes() == data:
            return
        with _temporary(target) as fresh:
            _write_to_disk(fresh, data, like=target)
            if keep_previous:
                _keep_previous(target)
            os.replace(fresh, target)
        _sync_folder(target.parent)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror or error}; the old file stays") from error


def previous_of(path: Path) -> Path:
    """Where the version before is kept: poses.yaml -> poses.previous.yaml."""
    return path.with_name(f"{path.stem}.previous{path.suffix}")


def swap_with_previous(path: str | os.PathLike[str]) -> None:
    """The version before becomes the file and the file the version before, in one step: again, and it is undone.

    Raises InputError where that cannot be done; then nothing has changed.
    """
    target = Path(os.path.realpath(path))
    try:
        _exchange(target, previous_of(target))
        _sync_folder(target.parent)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be swapped with {previous_of(target).name}: {error.strerror or error}"
        ) from error


def _exchange(one: Path, other: Path) -> None:
    """Linux exchanges two names in one step, renameat2(2); where a file system cannot, by three renames."""
    exchange = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if exchange is not None:
        if exchange(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE) == 0:
            return
        if (number := ctypes.get_errno()) not in (errno.EINVAL, errno.ENOSYS):
            raise OSError(number, os.strerror(number))
    with _temporary(one) as third:
        _write_to_disk(third, one.read_bytes(), like=one)
        os.replace(other, one)
        os.replace(third, other)


def save_sightings(folder: str | os.PathLike[str], sightings: Iterable[Sighting]) -> Path:
    """Writes sightings.yaml, one row for each. Raises InputError where they would not load again."""
    rows, seen = [], set()
    for sighting in sightings:
        key = (sighting.fixture, sighting.mark, sighting.face)
        if key in seen:
            raise InputError(f"{SIGHTINGS}: not written: two sightings of {key[0]} on {key[1]}, face {key[2]}")
        seen.add(key)
        rows.append(_sighting_row(sighting))
    text = _checked_text(SIGHTINGS, {"version": VERSION, "sightings": rows})
    path = Path(folder) / SIGHTINGS
    atomic_write(path, text)
    return path


def save_poses(folder: str | os.PathLike[str], document: Mapping[str, Any], keep_previous: bool = True) -> Path:
    """Writes poses.yaml from plain data as the schema has it (numpy allowed); `version` is put first.

    Without `keep_previous` poses.previous.yaml stays: the poses are the same, and something is noted of them.
    Raises InputError where the document would not load again; the old file then stays.
    """
    rest = {key: value for key, value in document.items() if key != "version"}
    text = _checked_text(POSES, {"version": VERSION, **rest})
    path = Path(folder) / POSES
    atomic_write(path, text, keep_previous)
    return path


def save_frames(
    folder: str | os.PathLike[str],
    frames: Mapping[str, InputFrame],
    recorded: Mapping[str, Sequence[Recorded]] | None = None,
) -> Path:
    """Writes frames.yaml: the frames of inputs, and by input what was recorded and is not solved yet.

    Raises InputError where it would not load again; the old file then stays.
    """
    text = _checked_text(FRAMES, {"version": VERSION, "frames": frames_document(frames, recorded or {})})
    path = Path(folder) / FRAMES
    atomic_write(path, text)
    return path


def _sighting_row(sighting: Sighting) -> dict[str, Any]:
    row: dict[str, Any] = {
        "fixture": sighting.fixture,
        "mark": sighting.mark,
        "pan": float(sighting.pan),
        "tilt": float(sighting.tilt),
    }
    optics = {"zoom": sighting.zoom, "focus": sighting.focus}
    row |= {key: int(value) for key, value in optics.items() if value is not None}
    return row | ({"sighted_by": sighting.sighted_by} if sighting.sighted_by else {})


def _checked_text(file: str, document: Mapping[str, Any]) -> str:
    """The YAML text, read back by the same schema: what could not be loaded again is never written."""
    try:
        text = to_yaml(document)
        node, problems = parse(text)
    except (ValueError, TypeError) as error:
        raise InputError(f"{file}: not written: {error}") from None
    except Bad as error:
        raise InputError(f"{file}: not written: {error}") from None
    read = {POSES: read_poses, FRAMES: read_frames}
    found = read_sightings(node, file)[1] if file == SIGHTINGS else read[file](node)[1]
    if problems or found:
        raise InputError("; ".join(f"{file}: not written: {problem}" for problem in [*problems, *found]))
    return text


@contextlib.contextmanager
def _temporary(target: Path) -> Iterator[Path]:
    """A name beside the target that says which process it belongs to; gone at the end, whatever happens."""
    path = target.with_name(f".{target.name}.{os.getpid()}-{next(_counter)}.tmp")
    _in_use.add(path.name)
    try:
        path.unlink(missing_ok=True)  # a killed process may have had our number
        yield path
    finally:
        path.unlink(missing_ok=True)  # still there after a failure, or after a rename between two names of one file
        _in_use.discard(path.name)


def _write_to_disk(path: Path, data: bytes, like: Path) -> None:
    with open(path, "xb") as file:
        with contextlib.suppress(OSError):  # keep the owner's permissions where there is an old file
            os.fchmod(file.fileno(), like.stat().st_mode & 0o777)
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _keep_previous(target: Path) -> None:
    """The old file under its second name too, also in one step. The old name stays in place all the while."""
    if not target.exists():
        return
    with _temporary(target) as second:
        try:
            os.link(target, second)
        except OSError:  # no hard links here (some memory sticks and network folders)
            _write_to_disk(second, target.read_bytes(), like=target)
        os.replace(second, previous_of(target))


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _remove_stale(target: Path) -> None:
    """Temporary files of this target whose process is gone: it was killed while writing."""
    pattern = re.compile(rf"\.{re.escape(target.name)}\.([0-9]{{1,9}})-[0-9]+\.tmp")
    for path in target.parent.iterdir():
        match = pattern.fullmatch(path.name)
        if match and path.name not in _in_use and not _another_lives(int(match[1])):
            path.unlink(missing_ok=True)


def _another_lives(process: int) -> bool:
    if process == os.getpid():
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
