"""Armed or not, on which universes, and what leaves at each tick: no socket, no clock."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bridge.door.contest import Contest, ranges
from bridge.door.events import Heard
from bridge.door.news import News
from bridge.errors import Refused
from bridge.follow.keeping import Data, mapping_in
from bridge.wire.settings import SacnSettings
from bridge.wire.stream import KEEP_ALIVE_S, Packet, Streams, safe_start

LISTEN_S = 1.2
"""How long a universe is listened to before the first packet (interface.md, `contested`)."""
DARK_TICKS = 2
"""Dark frames before the terminated packets: one of them may be lost on the way."""

Slots = NDArray[np.uint8]


class Phase(enum.Enum):
    """Where the streams are in their life."""

    OFF = "off"
    LISTENING = "listening"
    LIVE = "live"
    ENDING = "ending"


class Out(NamedTuple):
    """What is to leave: (universe, packet) in order, and universe discovery."""

    packets: list[Packet]
    discovery: list[bytes]


NOTHING = Out([], [])


class Transmission:
    """The streams of one source, from arming to their end, over the patched `universes`."""

    def __init__(self, universes: tuple[int, ...], settings: SacnSettings, cid: bytes, news: News) -> None:
        self.phase = Phase.OFF
        self.patched = universes
        self.contest = Contest(settings, news)
        self._settings, self._cid, self._news = settings, cid, news
        self._ready_s = np.inf
        self._sequences: dict[int, int] = {}
        self._streams: Streams | None = None
        self._rows: NDArray[np.intp] | None = None
        self._rounds: list[list[Packet]] = []
        self._leaving: list[list[Packet]] = []
        self._dark_left = 0

    # What it is

    @property
    def armed(self) -> bool:
        """Sending, or about to."""
        return self.phase in (Phase.LISTENING, Phase.LIVE)

    @property
    def ended(self) -> bool:
        """Nothing is sent and nothing more will leave."""
        return self.phase is Phase.OFF

    @property
    def starts(self) -> bool:
        """Nothing has been sent yet since it was armed."""
        return self._streams is None

    @property
    def universes(self) -> tuple[int, ...]:
        """The universes that are sent now."""
        return self._streams.universes if self._streams is not None else ()

    @property
    def sequences(self) -> dict[int, int]:
        """The number of each universe's next packet, for the state folder."""
        return {**self._sequences, **(self._streams.sequences if self._streams else {})}

    def rows(self) -> list[tuple[int, str, str, int]]:
        """For the feed: each patched universe, what becomes of it, and another source there with its priority."""
        waiting = self.phase in (Phase.OFF, Phase.LISTENING)
        return [self.contest.row(u, waiting and u not in self.universes) for u in self.patched]

    # What is told to it

    def listening_since(self, since_s: float) -> None:
        """All universes are heard since then."""
        self._ready_s = since_s + LISTEN_S

    def go_on_from(self, sequences: Mapping[int, int], crashed: bool) -> None:
        """Number packets on from what was remembered: after a crash that may be older than the wire."""
        self._sequences = {u: safe_start(n) if crashed else n for u, n in sequences.items()}

    def arm(self) -> None:
        """Send as soon as the universes have been listened to; armed already: look again at refused ones."""
        if self.phase is Phase.ENDING:
            raise Refused("ending", "/arm 1 while the streams are ending: send it again in a moment")
        self.phase = Phase.LISTENING

    def resume(self, refused: Iterable[int] = ()) -> None:
        """Go on after a crash: at once, for the receivers still hold our last look. What was refused stays so."""
        self.phase = Phase.LIVE
        self.contest.refuse_again(set(refused) & set(self.patched))
        self._open(self._wanted())
        self._tell_armed(self._wanted())

    def disarm(self) -> None:
        """End the streams: dark, then terminated packets."""
        if self._streams is None:
            self.phase = Phase.OFF
        elif self.phase is not Phase.ENDING:
            self.phase, self._dark_left, self._rounds = Phase.ENDING, DARK_TICKS, []

    def hear(self, sources: Heard, now_s: float) -> None:
        """Who else is heard has changed."""
        self.contest.hear(sources, self.universes, now_s)

    def unsent(self, universes: Iterable[int]) -> None:
        """The network did not take a packet of these."""
        for universe in universes:
            if self._streams is not None and universe in self._streams.universes:
                self._streams.unsent(universe)

    def take(self, universes: tuple[int, ...], settings: SacnSettings, dark: Slots, now_s: float) -> None:
        """Send other universes, or otherwise, from the next tick on; those that go on keep numbers and spacing.

        `dark` (U, 512) are the slots of a dark frame over the universes until now: how those end that are left.
        """
        before, kept = self._streams, tuple(u for u in universes if u in self.universes)
        left = tuple(u for u in self.universes if u not in kept)
        rows = dark[[self.patched.index(u) for u in left]]
        self.patched, self._settings = universes, settings
        self.contest.take(settings)
        if before is not None:
            self._open(kept)
            if left and not self._rounds:
                self._leave(before, left, rows, now_s)
        if self.phase is Phase.LIVE and kept != universes:  # what is new is listened to first
            self.phase, self._ready_s = Phase.LISTENING, now_s + LISTEN_S

    def _leave(self, before: Streams, universes: tuple[int, ...], dark: Slots, now_s: float) -> None:
        """End these streams while the others go on: dark, then terminated, one round a tick (E1.31, 6.2.6)."""
        name, priority = self._settings.source_name, self._settings.priority
        ending = Streams(universes, self._cid, name, priority, sequences=before.sequences)
        ending.go_on_from(before)
        for step in range(1, DARK_TICKS + 1):  # as if there had been time, so that each is sent
            at_s = now_s + 2 * step * KEEP_ALIVE_S
            self._leaving.append([(u, bytes(p)) for u, p in ending.packets(dark, at_s)])
        packets, size = ending.terminate(dark, now_s), len(universes)
        self._leaving += [packets[at : at + size] for at in range(0, len(packets), size)]
        self._sequences |= {u: ending.sequences[u] for u in universes}

    # One frame

    def due_to_open(self, now_s: float) -> bool:
        """Whether the universes have been listened to for long enough, so that this tick opens the streams."""
        return self.phase is Phase.LISTENING and now_s >= self._ready_s

    def open(self, now_s: float) -> None:
        """Leave out the contested universes, keep the others and those that are sent already."""
        self.phase = Phase.LIVE
        self.contest.check(self.patched, self.universes, now_s)
        wanted = self._wanted()
        if wanted != self.universes or self._streams is None:
            self._open(wanted)
        self._tell_armed(wanted)

    def _tell_armed(self, wanted: tuple[int, ...]) -> None:
        refused = ranges(tuple(self.contest.refused))
        again = f"refused are {self.contest.why_refused()}. End what sends there and send /arm 1 again"
        if not wanted:
            text = "ARMED, BUT NOTHING IS SENT: every universe of the rig is contested, so no head will move; "
            self._news.tell("error", "armed", text + again)
        elif refused:
            text = f"ARMED: sending universes {ranges(wanted)}, NOT {refused}. Heads move without warning; "
            self._news.tell("error", "armed", text + again)
        else:
            text = f"ARMED: sending universes {ranges(wanted)}. Heads move without warning."
            self._news.tell("warning", "armed", text)

    def packets(self, slots: Slots, now_s: float) -> Out:
        """What leaves of a frame; `slots` (U, 512) over `patched`."""
        if self._streams is None:
            return NOTHING
        rows = slots if self._rows is None else slots[self._rows]
        discovery = self._streams.discovery(now_s) if self._streams.universes else []
        return Out([*self._streams.packets(rows, now_s), *self._left()], discovery)

    def _left(self) -> list[Packet]:
        """The next round of universes that are left."""
        return self._leaving.pop(0) if self._leaving else []

    def end(self, dark: Slots, now_s: float) -> Out:
        """While ENDING: dark, then one round of terminated packets a tick, then off."""
        assert self._streams is not None
        rows = dark if self._rows is None else dark[self._rows]
        if self._dark_left:
            self._dark_left -= 1
            return Out([*self._streams.packets(rows, now_s), *self._left()], [])
        if not self._rounds:
            packets = self._streams.terminate(rows, now_s)
            size = len(packets) // 3
            self._rounds = [packets[at : at + size] for at in range(0, len(packets), size)] if size else [[]]
        sent = [*self._rounds.pop(0), *self._left()]
        if not self._rounds:
            self._sequences = self.sequences
            self._streams, self.phase = None, Phase.OFF
            self.contest.forget()
            self._news.tell("warning", "not armed", "not armed: the streams are ended, nothing is sent")
        return Out(sent, [])

    def _wanted(self) -> tuple[int, ...]:
        return tuple(u for u in self.patched if u not in self.contest.refused)

    def _open(self, universes: tuple[int, ...]) -> None:
        before, settings = self._streams, self._settings
        self._sequences = self.sequences
        self._streams = Streams(
            *(universes, self._cid, settings.source_name, settings.priority, settings.synchronise, self._sequences),
            rate=settings.rate,
        )
        if before is not None:
            self._streams.go_on_from(before)
        whole = universes == self.patched
        self._rows = None if whole else np.array([self.patched.index(u) for u in universes], np.intp)

    # What is kept

    def state(self) -> Data:
        """Everything that later packets depend on, as plain data."""
        return {
            "phase": self.phase.value,
            "ready_s": self._ready_s,
            "sequences": {str(u): n for u, n in self.sequences.items()},
            "universes": None if self._streams is None else list(self.universes),
            "streams": None if self._streams is None else self._streams.state(),
            "rounds": _hex(self._rounds),
            "leaving": _hex(self._leaving),
            "dark_left": self._dark_left,
            "contest": self.contest.state(),
        }

    def restore(self, data: Any) -> None:
        """Take up what `state` gave under the same show; KeyError, TypeError or ValueError on anything else."""
        data = mapping_in(data)
        self.phase, self._ready_s = Phase(data["phase"]), float(data["ready_s"])
        self._sequences = {int(u): int(n) for u, n in data["sequences"].items()}
        self._streams = None
        if data["universes"] is not None:
            self._open(tuple(int(u) for u in data["universes"]))
            assert self._streams is not None
            self._streams.restore(data["streams"])
        self._rounds, self._leaving = _packets(data["rounds"]), _packets(data["leaving"])
        self._dark_left = int(data["dark_left"])
        self.contest.restore(data["contest"])


def _hex(rounds: list[list[Packet]]) -> list[list[list[Any]]]:
    return [[[u, bytes(p).hex()] for u, p in packets] for packets in rounds]


def _packets(rounds: Any) -> list[list[Packet]]:
    return [[(int(u), bytes.fromhex(p)) for u, p in packets] for packets in rounds]
