"""The E1.31 component identifier (CID) of a show: receivers tell sources apart by nothing else.

    STATE/cid               the installation's, made once; its first show sends under it for life
    STATE/shows/HASH/cid    the one a show sends under: the installation's for the first show, one of its own for others

Two shows may run at once on one state folder; under one CID receivers would take them for one source that jumps.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import uuid
from collections.abc import Iterator
from pathlib import Path

from bridge.daemon.state_file import octets, put_aside, sync_folder


def show_cid(state: Path, folder: Path) -> uuid.UUID:
    """The CID of the show whose state is in `folder`, made where there is none that can be read. Raises OSError."""
    with _one_at_a_time(state):
        cid = _read(folder / "cid")
        if cid is None:
            first = _read(state / "cid") or put_cid(state, uuid.uuid4())
            taken = any(_read(path) == first for path in state.glob("shows/*/cid"))
            cid = put_cid(folder, uuid.uuid4() if taken else first)
    return cid


def kept_cid(folder: Path) -> uuid.UUID | None:
    """The CID of the show whose state is in `folder`, None where it was never sent from here. Makes none."""
    return _read(folder / "cid")


def put_cid(folder: Path, cid: uuid.UUID) -> uuid.UUID:
    """Write it, for sure and never half. Raises OSError."""
    put_aside(folder / "cid")
    with (folder / "cid.new").open("w", encoding="ascii") as file:
        file.write(f"{cid}\n")
        file.flush()
        os.fsync(file.fileno())
    os.replace(folder / "cid.new", folder / "cid")
    sync_folder(folder)
    return cid


def _read(path: Path) -> uuid.UUID | None:
    with contextlib.suppress(OSError, ValueError):  # ValueError: what is there is no CID
        return uuid.UUID(octets(path).decode("ascii").strip())
    return None


@contextlib.contextmanager
def _one_at_a_time(state: Path) -> Iterator[None]:
    """Two first starts at once must not take the same."""
    handle = os.open(state, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
