"""A poses.yaml that cannot be read: a solve makes a new one, so it is set aside and not in the way."""

from __future__ import annotations

import os
from pathlib import Path

from bridge.errors import InputError, ShowError
from bridge.show.load import POSES, load
from bridge.show.model import Show
from bridge.show.store import previous_of


def load_for_solve(folder: Path) -> tuple[Show, list[str]]:
    """The show, and what is damaged in poses.yaml; then as if there were none. Raises ShowError for any other file."""
    try:
        return load(folder), []
    except ShowError as error:
        if not _poses_alone(error) or not (folder / POSES).is_file():
            raise
        return load(folder, with_poses=False), error.lines


def kept_as(folder: Path, day: str) -> Path:
    """Where a damaged poses.yaml of this day (YYYY-MM-DD) goes: a name that is still free."""
    names = [f"poses.damaged-{day}.yaml", *(f"poses.damaged-{day}-{n}.yaml" for n in range(2, 1000))]
    free = [name for name in names if not os.path.lexists(folder / name)]
    if not free:
        raise InputError(f"{folder}: found 999 damaged poses.yaml of {day}; remove some")
    return folder / free[0]


def set_aside(folder: Path, target: Path) -> None:
    """Rename poses.yaml; `poses.previous.yaml` stays what it was. Raises InputError."""
    try:
        os.rename(folder / POSES, target)
    except OSError as error:
        raise InputError(f"{folder / POSES}: cannot be renamed to {target.name}: {error.strerror or error}") from error


def with_advice(error: ShowError, folder: Path) -> ShowError:
    """The same error, with what to do where it is poses.yaml alone that cannot be read."""
    if not _poses_alone(error):
        return error
    previous = previous_of(folder / POSES)
    other = f"; the version before is {previous.name}" if previous.is_file() else ""
    return ShowError(
        [
            *error.lines,
            f"{POSES} is DAMAGED, as said above, so no head can be aimed: mend these lines, or `tetherlight solve "
            f"{folder}` keeps the file as poses.damaged-DATE.yaml and makes a new one from the sightings{other}",
        ]
    )


def _poses_alone(error: ShowError) -> bool:
    return bool(error.lines) and all(line.startswith(f"{POSES}:") for line in error.lines)
