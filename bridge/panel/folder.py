"""The show folder as the panel sees it: read again when one of its files has changed, beside the event loop."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from bridge.door.poses import from_json
from bridge.errors import TetherlightError
from bridge.geometry.input_frame import Recorded
from bridge.rig.fixture import Pose
from bridge.show.frames import load_frames
from bridge.show.load import load
from bridge.show.model import Show

LOOK_EVERY_S = 0.5
Stamp = tuple[tuple[str, int, int], ...]


class ShowFolder:
    """`show` and `poses` (those that the bridge aims with) are always of the last whole and good reading.

    `kept`: what was recorded of tracking inputs on marks and no frame was solved from yet.
    `poses_file` is where a bridge on this machine keeps the poses in use (STATE/shows/HASH/poses.json); without it, or
    where nothing stands there, those of poses.yaml count that are trusted.
    """

    def __init__(self, path: Path, poses_file: Path | None) -> None:
        """Raises ShowError where the folder cannot be read now."""
        self.path, self._poses_file = path, poses_file
        self.show: Show = load(path)
        self.poses: Mapping[str, Pose] = self._in_use(self.show)
        self.kept: Mapping[str, Sequence[Recorded]] = load_frames(path).recorded
        self.problems: tuple[str, ...] = ()
        self.revision = 1
        self._stamp = self._look()
        self._soon = asyncio.Event()

    def look_soon(self) -> None:
        """Something was written: do not wait for the next look."""
        self._soon.set()

    async def watch(self, changed: Callable[[], None]) -> None:
        """For ever: `changed()` after every reading, also one that failed (`problems` then say why)."""
        while True:
            try:
                await asyncio.wait_for(self._soon.wait(), LOOK_EVERY_S)
                self._soon.clear()
            except TimeoutError:
                pass
            stamp = await asyncio.to_thread(self._look)
            if stamp != self._stamp:
                self._stamp = stamp
                await asyncio.to_thread(self._read)
                self.revision += 1
                changed()

    def _read(self) -> None:
        try:
            show, kept = load(self.path), load_frames(self.path).recorded
        except TetherlightError as error:
            self.problems = tuple(error.lines)
            return
        self.show, self.poses, self.kept, self.problems = show, self._in_use(show), kept, ()

    def _in_use(self, show: Show) -> Mapping[str, Pose]:
        try:
            if self._poses_file is not None:
                return from_json(json.loads(self._poses_file.read_text("utf-8"))["poses"])
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            pass  # no bridge has run here yet, or it is being written
        return {name: pose for name, pose in show.poses.items() if pose.trusted}

    def _look(self) -> Stamp:
        """Name, time and size of every file that the panel reads."""
        files = [*self.path.glob("*.yaml"), *self.path.glob("profiles/*.yaml")]
        files += [self._poses_file] if self._poses_file is not None else []
        found = []
        for file in sorted(files):
            try:
                stat = file.stat()
            except OSError:
                continue
            found.append((str(file), stat.st_mtime_ns, stat.st_size))
        return tuple(found)
