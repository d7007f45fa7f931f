"""What the daemon must remember, in the machine's state folder: its CID, and per show the state to go on from.

    STATE/cid                     the E1.31 component identifier, for the life of this installation
    STATE/shows/HASH/lock         held while a daemon runs on this show
    STATE/shows/HASH/live.json    the state to go on from within 10 s of a crash
    STATE/shows/HASH/poses.json   the poses it aims with
    STATE/shows/HASH/lasting.json what survives every restart: `still` and trims

HASH is of the show folder's resolved path: a copied show folder copies no identity and no `still`.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import tempfile
import time
import uuid
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bridge.errors import InputError

VERSION = 1
RESUME_WITHIN_S = 10.0
PIECE, DEPTH = 32, 3
PAUSE_AFTER, PAUSE_S = 1000, 0.001
"""Octets of JSON after which the writing thread lets the loop have the interpreter to itself."""


def default_state_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """$XDG_STATE_HOME/tetherlight, or ~/.local/state/tetherlight."""
    base = environ.get("XDG_STATE_HOME", "")
    return (Path(base) if os.path.isabs(base) else Path.home() / ".local/state") / "tetherlight"


@dataclass(frozen=True)
class Remembered:
    """The state found at a start. `live` is None unless a daemon crashed within the last 10 s."""

    live: dict[str, Any] | None = None
    lasting: dict[str, Any] | None = None
    sequences: dict[int, int] = field(default_factory=dict)
    armed: bool = False
    refused: tuple[int, ...] = ()
    crashed: bool = False
    age_s: float = 0.0
    warnings: tuple[str, ...] = ()


class StateFolder:
    """Opens STATE for one show and holds its lock; InputError when that cannot be."""

    def __init__(self, folder: Path, show: Path) -> None:
        digest = hashlib.sha256(os.fsencode(show.resolve())).hexdigest()[:16]
        self.root = folder
        self.folder = folder / "shows" / digest
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._lock = _lock(self.folder / "lock", show)
            self.cid = _cid(folder)
        except OSError as error:
            raise InputError(
                f"state folder {folder}: {error.strerror or error}: {error.filename}; it must be writable "
                "(--state DIR chooses another)"
            ) from None

    def remember(self, wall_s: float) -> Remembered:
        """Read what is there. A file that is missing, damaged or from another version is never fatal."""
        live, doubt = _read(self.folder / "live.json")
        lasting, doubt2 = _read(self.folder / "lasting.json")
        warnings = tuple(text for text in (doubt, doubt2) if text)
        try:
            engine = dict(lasting["engine"]) if lasting else None
            crashed = bool(live and live["running"])
            if live is None or not _fresh(live, wall_s):
                return Remembered(lasting=engine, sequences=_sequences(live), crashed=crashed, warnings=warnings)
            return Remembered(
                live=dict(live["engine"]),
                lasting=engine,
                sequences=_sequences(live),
                armed=bool(live["armed"]),
                refused=tuple(int(universe) for universe in live["refused"]),
                crashed=crashed,
                age_s=wall_s - float(live["wall_s"]),
                warnings=warnings,
            )
        except (KeyError, TypeError, ValueError) as error:
            text = f"{self.folder}: not what this program writes ({error!r}); started afresh"
            return Remembered(warnings=(*warnings, text))

    def write_live(self, data: Mapping[str, Any]) -> None:
        """Replace live.json. Without fsync: it is for crashes of the program, twice a second, for years."""
        _write(self.folder / "live.json", data, durable=False)

    def write_lasting(self, data: Mapping[str, Any]) -> None:
        """Replace lasting.json, on disk for sure when this returns: people may be aloft."""
        _write(self.folder / "lasting.json", data, durable=True)

    def write_poses(self, data: Mapping[str, Any]) -> None:
        """Replace poses.json, what the daemon aims with from now on."""
        _write(self.folder / "poses.json", {"poses": data}, durable=False)

    def poses(self) -> Any:
        """What `write_poses` was given, or None."""
        return (_read(self.folder / "poses.json")[0] or {}).get("poses")

    def close(self) -> None:
        """Give the lock back."""
        os.close(self._lock)


def _lock(path: Path, show: Path) -> int:
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


def _cid(folder: Path) -> uuid.UUID:
    """The CID on disk; made once, and never half: two first starts at once agree on one."""
    path = folder / "cid"
    with contextlib.suppress(FileNotFoundError, ValueError):
        return uuid.UUID(path.read_text("ascii").strip())
    handle, name = tempfile.mkstemp(dir=folder, prefix="cid.")
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(f"{uuid.uuid4()}\n")
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(name, path)  # fails when somebody else was first: then theirs counts
    except FileExistsError:
        with contextlib.suppress(ValueError):
            return uuid.UUID(path.read_text("ascii").strip())
        os.replace(name, path)  # what was there is no CID
        name = ""
    finally:
        if name:
            os.unlink(name)
    _sync_folder(folder)
    return uuid.UUID(path.read_text("ascii").strip())


def _fresh(live: Mapping[str, Any], wall_s: float) -> bool:
    """Crashed (never said goodbye) within the last 10 s; a clock set back a little is forgiven."""
    return bool(live["running"]) and -1.0 <= wall_s - float(live["wall_s"]) <= RESUME_WITHIN_S


def _sequences(live: Mapping[str, Any] | None) -> dict[int, int]:
    return {int(universe): int(last) & 255 for universe, last in (live or {}).get("sequences", {}).items()}


def _read(path: Path) -> tuple[dict[str, Any] | None, str]:
    try:
        data = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None, ""
    except (OSError, ValueError) as error:  # ValueError: not JSON, or not UTF-8
        return None, f"{path}: damaged, ignored ({error})"
    if not isinstance(data, dict) or data.get("version") != VERSION:
        return None, f"{path}: not version {VERSION} of this program's state, ignored"
    return data, ""


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
    else:
        yield json.dumps(data)


def _joined(opening: str, parts: Iterable[str], closing: str) -> Iterator[str]:
    for index, part in enumerate(parts):
        yield (opening if index == 0 else ",") + part[1:-1]
    yield closing


def _write(path: Path, data: Mapping[str, Any], durable: bool) -> None:
    temporary = path.with_suffix(".new")
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
        _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
