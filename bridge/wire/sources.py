"""Who sends on a universe and whose levels count: the receiver's rules of E1.31, without a socket or a clock.

Decisions:

- The highest priority wins. Sources of the same, highest priority are merged slot by slot, highest takes
  precedence, as nodes commonly do: wrong for pan and tilt, which is exactly what a venue must show when two
  sources fight.
- A source is lost 2.5 s after its last levels or on a terminated packet (E1.31, network data loss), and
  forgotten with its sequence: whatever comes next from it is new.
- Preview data and start codes other than 0 never give levels and keep no source alive, but they count on in
  the universe's sequence.
- Levels are used when they arrive. Synchronisation packets are checked for their sequence and counted only,
  as by a receiver that does not support synchronisation.
- A universe keeps a fixed number of sources, so junk cannot fill memory. When it is full, a newcomer
  displaces the source of the lowest priority below its own, or is not taken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from bridge.wire.e131 import SLOTS, Data, Discovery, Sync

LOSS_S = 2.5
MAX_SOURCES = 16


def discards(sequence: int, last: int) -> bool:
    """Whether a receiver that last took `last` discards `sequence`: -20 < B - A <= 0 in 8 bits, signed."""
    difference = (sequence - last + 128) % 256 - 128
    return -20 < difference <= 0


@dataclass(frozen=True, slots=True)
class Source:
    """One source of levels on one universe, as last heard; `sender` is where from, as `accept` was told."""

    cid: bytes
    source_name: str
    priority: int
    sender: str
    heard_s: float
    sequence: int
    slots: bytes


class Sources:
    """Every source heard on the given universes. `counters` counts packets by what `accept` returned."""

    def __init__(self, universes: Iterable[int], max_sources: int = MAX_SOURCES, by_sender: bool = False) -> None:
        """`by_sender`: one CID from two senders is two sources here. To a receiver it is one, and that is the trouble
        which whoever watches for it must see.
        """
        self.counters: Counter[str] = Counter()
        self._heard: dict[int, dict[tuple[bytes, str], Source]] = {universe: {} for universe in universes}
        self._sequences: dict[bytes, tuple[int, int, float]] = {}  # sync: address, sequence, heard_s by CID
        self._max, self._by_sender = max_sources, by_sender

    def listen_on(self, universes: Iterable[int]) -> None:
        """Other universes from now on; what was heard on those that stay is kept."""
        self._heard = {universe: self._heard.get(universe, {}) for universe in universes}

    def accept(self, packet: Data | Sync | Discovery, sender: str, now_s: float) -> str:
        """Take one packet in; returns what became of it, in one word.

        Data: `taken`, or why not: not-ours, sequence, preview, start-code, terminated, too-many. Other
        packets: `sync` (or sequence, too-many), `discovery`.
        """
        if isinstance(packet, Data):
            word = self._data(packet, sender, now_s)
        elif isinstance(packet, Sync):
            word = self._synchronise(packet, now_s)
        else:
            word = "discovery"
        self.counters[word] += 1
        return word

    def _data(self, data: Data, sender: str, now_s: float) -> str:
        heard = self._heard.get(data.universe)
        if heard is None:
            return "not-ours"
        key = (data.cid, sender if self._by_sender else "")
        known = heard.get(key)
        if known is not None and now_s - known.heard_s > LOSS_S:
            del heard[key]
            known = None
        if known is not None and discards(data.sequence, known.sequence):
            return "sequence"
        if data.terminated:
            heard.pop(key, None)
            return "terminated"
        if data.preview or data.start_code:
            if known is not None:
                heard[key] = replace(known, sequence=data.sequence)  # not heard again: no levels
            return "preview" if data.preview else "start-code"
        if known is None and not self._make_room(heard, data.priority, now_s):
            return "too-many"
        heard[key] = Source(data.cid, data.source_name, data.priority, sender, now_s, data.sequence, data.slots)
        return "taken"

    def _make_room(self, heard: dict[tuple[bytes, str], Source], priority: int, now_s: float) -> bool:
        if len(heard) < self._max:
            return True
        for lost in [key for key, source in heard.items() if now_s - source.heard_s > LOSS_S]:
            del heard[lost]
        if len(heard) < self._max:
            return True
        weakest, source = min(heard.items(), key=lambda item: (item[1].priority, item[1].heard_s))
        if source.priority >= priority:
            return False
        del heard[weakest]
        return True

    def _synchronise(self, sync: Sync, now_s: float) -> str:
        known = self._sequences.get(sync.cid)
        if known is not None:
            address, sequence, heard_s = known
            fresh = address == sync.sync_universe and now_s - heard_s <= LOSS_S
            if fresh and discards(sync.sequence, sequence):
                return "sequence"
        elif len(self._sequences) >= self._max:
            self._sequences = {c: s for c, s in self._sequences.items() if now_s - s[2] <= LOSS_S}
            if len(self._sequences) >= self._max:
                return "too-many"
        self._sequences[sync.cid] = (sync.sync_universe, sync.sequence, now_s)
        return "sync"

    def levels(self, universe: int, now_s: float) -> bytes | None:
        """The 512 slots that drive output now; None when there is no source. Slots that nobody sends are 0."""
        live = self.heard(universe, now_s)
        if not live:
            return None
        top = max(source.priority for source in live)
        winners = [source.slots.ljust(SLOTS, b"\0") for source in live if source.priority == top]
        if len(winners) == 1:
            return winners[0]
        stacked = np.frombuffer(b"".join(winners), np.uint8).reshape(len(winners), SLOTS)
        return stacked.max(axis=0).tobytes()

    def heard(
        self, universe: int, now_s: float, within_s: float = LOSS_S, exclude_cid: bytes | None = None
    ) -> list[Source]:
        """The live sources that sent levels within `within_s` (at most 2.5 s), highest priority first."""
        oldest_s = now_s - min(within_s, LOSS_S)
        sources = self._heard.get(universe, {}).values()
        live = [s for s in sources if s.heard_s >= oldest_s and s.cid != exclude_cid]
        return sorted(live, key=lambda source: -source.priority)
