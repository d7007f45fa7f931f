"""The recorder's way to the disk: one capture after the other, whatever becomes of the disk in between."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from bridge.daemon.captures import RETRY_US, Limits, file_name, surplus
from bridge.wire import capture
from bridge.wire.capture import Datagram, Event

WRITE_OCTETS = 32768
STEADY_US = 2 * RETRY_US
"""Written for so long without a failure, it works again: a disk that is full to the brim fails with each retry."""
MOST_OF_ONE_SECOND = 1000


class Begin(NamedTuple):
    """The next capture begins here, with these events."""

    at_us: int
    wall_us: int
    events: tuple[bytes, ...]


class Gap(NamedTuple):
    """Here so many entries could not be queued."""

    at_us: int
    lost: int


class Writer:
    """Writes captures; never raises. `broken` while none is open; `begins` counts how often `begin` has returned.

    `pause` is called after each write, to leave the interpreter to others. `lost` counts what was given to `write` and
    is in no file; the next thing that is written after it is an event that says how many.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        program: str,
        limits: Limits,
        say: Callable[[str], None],
        pause: Callable[[], None],
    ) -> None:
        self.kept = self.lost = self.octets = 0
        self.file = ""
        self.broken = True
        self.begins = 0
        self._folder, self._name, self._program, self._limits = folder, name, program, limits
        self._say, self._pause = say, pause
        self._handle = -1
        self._size = self._tidied = 0
        self._offset_us = 0
        self._began_us = 0
        self._previous = ""
        self._untold = 0
        self._failing = False
        self._said: set[str] = set()

    def begin(self, begin: Begin) -> None:
        """End the capture that is written, and begin the next one."""
        self.close()
        at_us, wall_us, events = begin
        self._began_us = at_us
        self._offset_us = max(wall_us - at_us, 0)  # a clock that stands in 1970: times in a file cannot be negative
        path = None
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._remove(wall_us)
            path = self._create(wall_us)
            self._write(self._opening(at_us, events))
        except Exception as error:  # anything: a thread that dies in silence keeps nothing from then on
            self._fail(error)
            if path is not None:  # it holds no whole state: nobody can use it
                with contextlib.suppress(OSError):
                    path.unlink()
        else:
            self._untold, self.broken, self.file, self._previous = 0, False, path.name, path.name
        self.begins += 1  # last: from now on the loop may ask again

    def write(self, entries: Sequence[Datagram | Event | Gap]) -> None:
        """Append these to the capture, all or none."""
        if self.broken:
            self._lose(entries)
            return
        kept_before, lost_before, untold_before = self.kept, self.lost, self._untold
        try:
            if os.fstat(self._handle).st_nlink == 0:
                raise FileNotFoundError(f"{self.file} was removed while it was written")
            self._write(self._blocks(entries))
        except Exception as error:
            self.kept, self.lost, self._untold = kept_before, lost_before, untold_before
            self._lose(entries)
            self._fail(error)
        else:
            self._recovered(entries[-1].at_us)
            if self._size - self._tidied >= self._limits.of_one:  # longer than it should be: others make room for it
                self._tidied = self._size
                self._remove(entries[-1].at_us + self._offset_us)

    def close(self) -> None:
        """End the capture."""
        if self._handle >= 0:
            with contextlib.suppress(OSError):
                os.close(self._handle)
        self._handle, self.broken, self.file = -1, True, ""

    def _opening(self, at_us: int, events: Sequence[bytes]) -> Iterator[bytes]:
        after = self._previous or None
        yield capture.opening(at_us, self._offset_us, self._program, name=self._name, after=after)
        if self._untold:
            yield from capture.blocks(capture.lost(at_us, self._untold), self._offset_us)
        for event in events:
            yield from capture.blocks(Event(at_us, event), self._offset_us)

    def _blocks(self, entries: Sequence[Datagram | Event | Gap]) -> Iterator[bytes]:
        for entry in entries:
            if isinstance(entry, Gap):
                self._untold += entry.lost
                continue
            try:
                made = list(capture.blocks(entry, self._offset_us))
            except (ValueError, OverflowError) as error:  # a host by its name, say
                self._lose([entry])
                self._once("entry", f"recorder: an entry that no capture can hold is left out: {error}")
                continue
            if self._untold:
                yield from capture.blocks(capture.lost(entry.at_us, self._untold), self._offset_us)
                self._untold = 0
            yield from made
            self.kept += 1

    def _write(self, blocks: Iterable[bytes]) -> None:
        """Write these in pieces. When the disk fails, none of them stay in the file."""
        before, waiting, size = self._size, [], 0
        try:
            for block in blocks:
                waiting.append(block)
                size += len(block)
                if size >= WRITE_OCTETS:
                    self._out(b"".join(waiting))
                    waiting, size = [], 0
            self._out(b"".join(waiting))
        except BaseException:
            with contextlib.suppress(OSError):  # if that fails too: a reader takes a file that ends in mid-block
                os.ftruncate(self._handle, before)
            raise
        self.octets += self._size - before

    def _out(self, octets: bytes) -> None:
        left = memoryview(octets)
        while left:
            count = os.write(self._handle, left)
            self._size += count
            left = left[count:]
        self._pause()

    def _create(self, wall_us: int) -> Path:
        for again in range(MOST_OF_ONE_SECOND):
            path = self._folder / file_name(self._name, wall_us, again)
            try:
                self._handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
            except FileExistsError:
                continue
            self._size = self._tidied = 0
            return path
        raise FileExistsError(f"{path} and {MOST_OF_ONE_SECOND - 1} more of this second are there already")

    def _remove(self, wall_us: int) -> None:
        for name in surplus(self._files(), self._name, wall_us, self._limits):
            if name == self.file:
                continue
            try:
                (self._folder / name).unlink(missing_ok=True)
            except OSError as error:
                self._once("remove", f"recorder: an old capture cannot be removed: {error}")
            else:
                self._said.discard("remove")

    def _files(self) -> Iterator[tuple[str, int]]:
        with os.scandir(self._folder) as found:
            for entry in found:
                with contextlib.suppress(FileNotFoundError):  # somebody else was quicker
                    if entry.is_file(follow_symlinks=False):
                        yield entry.name, entry.stat(follow_symlinks=False).st_size

    def _lose(self, entries: Sequence[Datagram | Event | Gap]) -> None:
        gaps = [entry.lost for entry in entries if isinstance(entry, Gap)]
        self.lost += len(entries) - len(gaps)
        self._untold += len(entries) - len(gaps) + sum(gaps)

    def _fail(self, error: Exception) -> None:
        self.close()
        if not self._failing:
            self._say(
                f"recorder: cannot write captures in {self._folder}: {error}. Nothing is kept until it works again; "
                f"tried every {RETRY_US // 1_000_000} s"
            )
        self._failing = True

    def _recovered(self, at_us: int) -> None:
        if self._failing and at_us - self._began_us >= STEADY_US:
            self._failing = False
            self._say(f"recorder: works again, writing {self.file}; {self.lost} entries were not kept so far")

    def _once(self, kind: str, text: str) -> None:
        if kind not in self._said:
            self._said.add(kind)
            self._say(text)
