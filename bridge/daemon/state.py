"""What the daemon must remember, in the machine's state folder: its CID, and per show the state to go on from.

    STATE/cid                     the E1.31 component identifier of this installation (see identity.py)
    STATE/shows/HASH/cid          the one this show is sent under: no two shows share one
    STATE/shows/HASH/lock         held while a daemon runs on this show
    STATE/shows/HASH/live.json    the state to go on from within 10 s of a crash
    STATE/shows/HASH/poses.json   the poses it aims with
    STATE/shows/HASH/lasting.json what survives every restart, `still` and trims; and arm, dark and out as last switched

HASH is of the show folder's resolved path: a copied show folder copies no identity and no `still`.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from bridge.daemon.boot import Moment
from bridge.daemon.identity import put_cid, show_cid
from bridge.daemon.logs import LOG
from bridge.daemon.remembered import (
    CLEAR,
    Remembered,
    digest,
    lasting_state,
    live_state,
    still_in_doubt,
    taken_together,
)
from bridge.daemon.state_file import put_aside, read, write
from bridge.errors import InputError

State = TypeVar("State")


def default_state_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """$XDG_STATE_HOME/tetherlight, or ~/.local/state/tetherlight."""
    base = environ.get("XDG_STATE_HOME", "")
    return (Path(base) if os.path.isabs(base) else Path.home() / ".local/state") / "tetherlight"


class StateFolder:
    """Opens STATE for one show and holds its lock; InputError when that cannot be."""

    def __init__(self, folder: Path, show: Path) -> None:
        self.root, self._show = folder, show
        self._newest: dict[str, tuple[Mapping[str, Any], bool]] = {}
        self._making = threading.Lock()
        self.folder = show_folder(folder, show)
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._lock = _lock(self.folder / "lock", show)
            self.cid = show_cid(folder, self.folder)
        except OSError as error:
            raise InputError(
                f"state folder {folder}: {error.strerror or error}: {error.filename}; it must be writable "
                "(--state DIR chooses another)"
            ) from None

    def remember(self, now: Moment) -> Remembered:
        """Read what is there. A file that is missing, damaged or from another version is never fatal."""
        live, doubt = self._checked("live.json", live_state, "ignored")
        lasting, doubt2 = self._checked("lasting.json", lasting_state, f"its trims are not used; {CLEAR}")
        found = taken_together(live, lasting, now)
        if lasting is None and (doubt or doubt2 or live):  # where there is no live state either, it is the first start
            still, doubt3 = still_in_doubt(live, gone=not doubt2)
            doubt2 = doubt2 or f"{self.folder / 'lasting.json'}: {doubt3}"
            found = replace(found, lasting=still)
        return replace(found, warnings=tuple(text for text in (doubt, doubt2) if text))

    def _checked(self, name: str, check: Callable[[dict[str, Any]], State], so: str) -> tuple[State | None, str]:
        """What a file holds, or what is wrong with it and what becomes `so`."""
        data, doubt = read(self.folder / name)
        try:
            return (check(data) if data is not None else None), f"{doubt}; {so}" if doubt else ""
        except ValueError as error:
            return None, f"{self.folder / name}: not what this program writes: {error}; {so}"

    def write_live(self, data: Mapping[str, Any]) -> None:
        """Replace live.json. Without fsync: it is for crashes of the program, every second, for years."""
        self._put("live.json", data, durable=False)

    def write_lasting(self, data: Mapping[str, Any]) -> None:
        """Replace lasting.json, on disk for sure when this returns: people may be aloft."""
        self._put("lasting.json", {**data, "digest": digest(data)}, durable=True)

    def write_poses(self, data: Mapping[str, Any]) -> None:
        """Replace poses.json, what the daemon aims with from now on."""
        self._put("poses.json", {"poses": data}, durable=False)

    def _put(self, name: str, data: Mapping[str, Any], durable: bool) -> None:
        self._newest[name] = (data, durable)
        try:
            write(self.folder / name, data, durable)
        except FileNotFoundError:
            self._make_again()
            write(self.folder / name, data, durable)

    def _make_again(self) -> None:
        """Somebody removed the folder: the lock, the identity and all that was in it are put back."""
        with self._making:  # by one of the threads that write
            if (self.folder / "lock").exists():
                return
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            held, self._lock = self._lock, _lock(self.folder / "lock", self._show)
            os.close(held)
            put_cid(self.folder, self.cid)
            for name, (data, durable) in self._newest.items():
                write(self.folder / name, data, durable, by=".again")
            LOG.warning("the state folder %s was removed; it is made again", self.folder)

    def poses(self) -> tuple[Any, str]:
        """What `write_poses` was given, or None; and what is wrong with the file, in words."""
        data, doubt = read(self.folder / "poses.json")
        return (data or {}).get("poses"), doubt

    def close(self) -> None:
        """Give the lock back."""
        os.close(self._lock)


def kept_trims(folder: Path, show: Path) -> tuple[Any, str]:
    """The trims in force for a show, as Trims.state gives them, or None; and what is wrong with the file, in words.

    Reads only: a daemon may be running on it.
    """
    data, doubt = read(show_folder(folder, show) / "lasting.json")
    try:
        return (lasting_state(data).door.get("trims") if data is not None else None), doubt
    except ValueError as error:
        return None, f"{show_folder(folder, show) / 'lasting.json'}: not what this program writes: {error}"


def show_folder(folder: Path, show: Path) -> Path:
    """Where the state of one show is kept."""
    return folder / "shows" / hashlib.sha256(os.fsencode(show.resolve())).hexdigest()[:16]


def _lock(path: Path, show: Path) -> int:
    put_aside(path)
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        holder = os.pread(handle, 32, 0).decode("ascii", "replace").strip() or "unknown"
        os.close(handle)
        raise InputError(
            f"{show}: another `tetherlight run` (process {holder}) already runs this show with the state "
            f"folder {path.parent.parent.parent}; stop it first"
        ) from None
    os.ftruncate(handle, 0)
    os.pwrite(handle, f"{os.getpid()}\n".encode(), 0)
    return handle
