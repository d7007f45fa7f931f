"""The recorder: the loop hands over what came in, what went out and what happened; a thread of its own writes it.

    loop:    recorder.outgoing(...)  -> Backlog, a bounded queue
             recorder.wants_start(at_us)?  then  recorder.begin_file(at_us, [state as JSON, ...])
    thread:  Backlog -> Writer -> NAME-YYYYmmddTHHMMSSZ.pcapng

A capture replays by itself, so it begins with the state at one exact place between two entries. Only the loop knows
that state: it is asked for it, and what it gives is an entry of the queue like the others. Until then the old capture
is written on. After a gap, of a full queue or a failing disk, the loop is asked as well.

What reaches a file is handed to the kernel within a second, and survives a crash of the program. It is not forced to
the disk (fsync): the disk has more urgent things to keep.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from bridge.daemon.captures import Limits, next_due, safe_name
from bridge.daemon.recorder_files import Begin, Gap, Writer
from bridge.wire.capture import Datagram, Event
from bridge.wire.udp import Address

QUEUE_OCTETS = 32_000_000
OVERHEAD = 400
"""Octets of memory that an entry takes beside its payload."""
BATCH, BATCH_OCTETS = 32, 65536
POLL_S, PAUSE_S = 0.1, 0.001
"""The thread wakes by itself: waking it with every packet would cost the loop more than the packet. After each batch it
leaves the interpreter to the loop for a moment."""
SAY_AGAIN_US = 60_000_000
"""A queue that is full again and again is said this often."""


Entry = Datagram | Event | Gap | Begin


class Backlog:
    """What waits to be written, at most `most` octets: filled by the loop, emptied by the thread, neither waits.

    Each count has one writer, and `deque` is safe between two threads, so there is no lock that could be held.
    """

    def __init__(self, most: int = QUEUE_OCTETS) -> None:
        self._most = most
        self._entries: deque[Entry] = deque()
        self._put = self._taken = 0
        self._unsaid = 0
        self.lost = 0

    @property
    def octets(self) -> int:
        """Memory taken, about."""
        return self._put - self._taken

    @property
    def half_empty(self) -> bool:
        """There is room for a state, too."""
        return self.octets <= self._most // 2

    def put(self, entry: Datagram | Event) -> bool:
        """Queue it, unless the queue is full: then all is counted as lost until half of it is written."""
        if self._unsaid:
            if not self.half_empty:
                return self.refuse()
            self._append(Gap(entry.at_us, self._unsaid))
            self._unsaid = 0
        size = len(entry.payload) + OVERHEAD
        if self._put - self._taken + size > self._most:
            return self.refuse()
        self._put += size
        self._entries.append(entry)
        return True

    def begin(self, entry: Begin) -> None:
        """Queue the change of files; it is never lost. What was lost before it is told before it."""
        if self._unsaid:
            self._append(Gap(entry.at_us, self._unsaid))
            self._unsaid = 0
        self._append(entry)

    def take(self) -> list[Entry]:
        """The next entries, as many as one batch may have; a Begin comes alone."""
        batch: list[Entry] = []
        octets = 0
        while self._entries and len(batch) < BATCH and octets < BATCH_OCTETS:
            if isinstance(self._entries[0], Begin) and batch:
                break
            batch.append(self._entries.popleft())
            octets += _size(batch[-1])
            if isinstance(batch[-1], Begin):
                break
        self._taken += octets
        return batch

    def __len__(self) -> int:
        return len(self._entries)

    def _append(self, entry: Entry) -> None:
        self._put += _size(entry)
        self._entries.append(entry)

    def refuse(self) -> bool:
        """Count one entry as lost; the next that is put is told of it."""
        self._unsaid += 1
        self.lost += 1
        return False


def _size(entry: Entry) -> int:
    if isinstance(entry, Begin):
        return sum(map(len, entry.events)) + OVERHEAD
    return OVERHEAD if isinstance(entry, Gap) else len(entry.payload) + OVERHEAD


class Recorder:
    """What the loop talks to. Times are whole microseconds of the loop's clock; `wall_us` tells UTC since 1970.

    `say` may be called from the loop and from the thread. Nothing here raises, waits or touches a disk in the loop.
    """

    def __init__(
        self,
        folder: Path,
        days: float,
        megabytes: float,
        wall_us: Callable[[], int],
        say: Callable[[str], None],
        name: str = "capture",
        program: str = "tetherlight",
    ) -> None:
        self._limits = Limits(days, int(megabytes * 1e6))
        self._wall_us, self._say = wall_us, say
        self._backlog = Backlog()
        self._writer = Writer(folder, safe_name(name), program, self._limits, say, self._pause)
        self._began_us: int | None = None
        self._octets = 0
        self._gap = False
        self._said_us = -SAY_AGAIN_US
        self._begins = 0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)

    def start(self) -> None:
        """Start the thread that writes."""
        self._thread.start()

    def incoming(self, at_us: int, source: Address, destination: Address, payload: bytes | bytearray) -> None:
        """A datagram came in."""
        self._put(Datagram(at_us, True, source, destination, bytes(payload)))

    def outgoing(self, at_us: int, source: Address, destination: Address, payload: bytes | bytearray) -> None:
        """A datagram went out. The payload is copied: a prepared packet is overwritten by the next frame."""
        self._put(Datagram(at_us, False, source, destination, bytes(payload)))

    def event(self, at_us: int, payload: bytes) -> None:
        """Something happened: one JSON object in UTF-8."""
        self._put(Event(at_us, payload))

    def wants_start(self, at_us: int) -> bool:
        """Ask between two entries, at least once a frame: whether `begin_file` is to be called now."""
        if self._began_us is None:
            return True
        if self._writer.begins < self._begins:  # the last one still waits: a disk that hangs is not asked for more
            return False
        broken = self._gap or self._writer.broken
        due = next_due(at_us - self._began_us, self._octets, broken, self._limits)
        return due and self._backlog.half_empty

    def begin_file(self, at_us: int, events: Sequence[bytes]) -> None:
        """The next capture begins here: `events` (JSON, the state first) are all that its replay needs to know."""
        self._began_us, self._octets, self._gap = at_us, sum(map(len, events)), False
        self._begins += 1
        self._backlog.begin(Begin(at_us, self._wall_us(), tuple(events)))

    @property
    def kept(self) -> int:
        """Entries that were written."""
        return self._writer.kept

    @property
    def lost(self) -> int:
        """Entries that could not be kept."""
        return self._backlog.lost + self._writer.lost

    @property
    def octets(self) -> int:
        """Octets written, all captures together."""
        return self._writer.octets

    @property
    def file(self) -> str:
        """Name of the capture that is written; empty while none can be."""
        return self._writer.file

    def close(self, timeout_s: float = 5.0) -> bool:
        """Write what is left; False when the disk did not take it in time."""
        self._ended.set()
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            self._say(f"recorder: {len(self._backlog)} entries were not written: the disk does not answer")
            return False
        return True

    def _put(self, entry: Datagram | Event) -> None:
        size = len(entry.payload) + 100  # and its headers, about
        full = self._octets + size > self._limits.most_of_one
        if not full and self._backlog.put(entry):
            self._octets += size
            return
        if full:
            self._backlog.refuse()
        self._gap = True
        if entry.at_us - self._said_us >= SAY_AGAIN_US:
            self._said_us = entry.at_us
            why = "more comes in within seconds than `record: megabytes` allows" if full else "the disk is too slow"
            self._say(f"recorder: {why}: what happens now is not kept until that is over")

    def _pause(self) -> None:
        if not self._ended.is_set():
            time.sleep(PAUSE_S)

    def _run(self) -> None:
        ended = False
        while not ended:
            ended = self._ended.wait(POLL_S)  # before the queue is emptied: what was put before `close` is written
            self.work()
        self._writer.close()

    def work(self) -> None:
        """Write what is queued. It is the thread's; a test without one calls it itself."""
        while batch := self._backlog.take():
            first = batch[0]
            if isinstance(first, Begin):
                self._writer.begin(first)
            else:
                self._writer.write([entry for entry in batch if not isinstance(entry, Begin)])
