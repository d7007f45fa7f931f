"""E1.31's receiver: who sends on each universe and what their levels make together. No socket, no clock.

Decisions, where the standard leaves a choice:

- A source is a CID. It is lost 2.5 s after its last levels, or by a terminated packet, and forgotten with its sequence:
  whatever comes next from it is new. The last look stays, not alive.
- The sampling period of a universe begins with its first packet. A source that is new after it waits as long for its
  per-address priorities before it counts. `sampling_s` 0: nobody waits.
- Preview data and start codes other than 0 and 0xDD give nothing and keep nothing alive, but count in the sequence.
- Levels with a synchronisation address are used as they come until a sync of the same source on that address was
  heard; from then on they wait for the next one. The sync lost for 2.5 s: used again if the packet says
  Force_Synchronization 1, else held until there is a sync. Per-address priorities never wait.
- A universe keeps a fixed number of sources, so junk cannot fill memory. When it is full, a newcomer displaces the
  source of the lowest priority below its own, or is not taken.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from bridge.errors import Refused
from bridge.wire.e131 import PRIORITIES, Data, Discovery, Sync, parse
from bridge.wire.merge import Merged
from bridge.wire.sources import LOSS_S, Source, discards
from bridge.wire.universe import Universe

SAMPLING_S = 1.5
MAX_SOURCES = 16


class Receiver:
    """Everything that is heard on the given universes. `counters` counts packets by what `take` returned."""

    def __init__(
        self,
        universes: Iterable[int],
        sampling_s: float = SAMPLING_S,
        per_address: bool = True,
        max_sources: int = MAX_SOURCES,
        by_sender: bool = False,
    ) -> None:
        """`per_address` False: as a node that does not know start code 0xDD. `by_sender`: one CID from two senders is
        two sources. To a receiver it is one, and that is the trouble which whoever watches for it must see.
        """
        self.counters: Counter[str] = Counter()
        self.sync_addresses: set[int] = set()
        self._sampling_s, self._max = sampling_s, max_sources
        self._per_address, self._by_sender = per_address, by_sender
        self._universes: dict[int, Universe] = {}
        self._changed: set[int] = set()
        self._due_s = math.inf
        self.listen_on(universes)

    def listen_on(self, universes: Iterable[int]) -> None:
        """Other universes from now on; what was heard on those that stay is kept."""
        kept, new = self._universes, sorted(set(universes))
        self._universes = {number: kept.get(number) or Universe(self._sampling_s, self._max) for number in new}
        self._changed &= self._universes.keys()

    @property
    def next_due_s(self) -> float:
        """When time alone may change something: ask `changed` then. Infinity: nothing waits."""
        return self._due_s

    def take(self, datagram: bytes | Data | Sync | Discovery, sender: str, now_s: float) -> str:
        """Take one packet in; returns what became of it, in one word. Raises nothing, on any octets.

        `taken`, `held` (until a sync), `priorities`, `terminated`, `sync`; or why not: malformed-REASON, not-ours,
        sequence, preview, start-code, too-many, discovery.
        """
        if now_s >= self._due_s:
            self._settle(now_s)
        word = self._word(datagram, sender, now_s)
        self.counters[word] += 1
        return word

    def changed(self, now_s: float) -> tuple[int, ...]:
        """The universes whose frame may be another than when this was last asked, rising."""
        if now_s >= self._due_s:
            self._settle(now_s)
        if not self._changed:
            return ()
        changed, self._changed = self._changed, set()
        return tuple(sorted(changed))

    def frame(self, universe: int, now_s: float) -> Merged | None:
        """What the universe carries; the last look, not alive, after its sources. None before there was one."""
        if now_s >= self._due_s:
            self._settle(now_s)
        heard = self._universes.get(universe)
        return None if heard is None else heard.frame()

    def heard(self, universe: int, now_s: float, within_s: float = LOSS_S) -> list[Source]:
        """The live sources that sent levels within `within_s` (at most 2.5 s), highest priority first."""
        heard = self._universes.get(universe)
        sources = () if heard is None else heard.sources.values()
        oldest_s = now_s - min(within_s, LOSS_S)
        live = [source for source in sources if source.has_levels and source.heard_s >= oldest_s]
        return sorted(live, key=lambda source: -source.priority)

    def heard_s(self, universe: int) -> float:
        """When levels last came, from whomever; -inf for never."""
        heard = self._universes.get(universe)
        return -math.inf if heard is None else heard.heard_s

    def _word(self, packet: bytes | Data | Sync | Discovery, sender: str, now_s: float) -> str:
        if isinstance(packet, bytes):
            try:
                packet = parse(packet)
            except Refused as error:
                return f"malformed-{error.reason}"
        if isinstance(packet, Data):
            return self._data(packet, sender, now_s)
        return self._synchronise(packet, now_s) if isinstance(packet, Sync) else "discovery"

    def _data(self, data: Data, sender: str, now_s: float) -> str:
        universe = self._universes.get(data.universe)
        if universe is None:
            return "not-ours"
        key = (data.cid, sender if self._by_sender else "")
        source = universe.sources.get(key)
        if source is not None:
            if discards(data.sequence, source.sequence):
                return "sequence"
            source.sequence = data.sequence
        if data.terminated:
            if source is not None:
                universe.remove(key)
                self._changed.add(data.universe)
            return "terminated"
        priorities = self._per_address and data.start_code == PRIORITIES
        if data.preview or (data.start_code and not priorities):
            return "preview" if data.preview else "start-code"
        if source is None:
            if (source := universe.admit(key, data, sender, now_s, priorities)) is None:
                return "too-many"
            self._changed.add(data.universe)  # somebody weaker may have gone
        return self._told(universe, source, data, sender, now_s)

    def _told(self, universe: Universe, source: Source, data: Data, sender: str, now_s: float) -> str:
        if data.start_code:
            word, changed = "priorities", source.take_priorities(data, now_s)
        else:
            universe.heard_s = now_s
            became = source.take_levels(data, sender, now_s)
            word, changed = "held" if became == "held" else "taken", became == "changed"
            if data.sync_universe:
                self.sync_addresses.add(data.sync_universe)
        if changed:
            self._changes(data.universe)
        self._due_s = min(self._due_s, source.due_s(), universe.sampled_s)
        return word

    def _changes(self, number: int) -> None:
        self._universes[number].stale = True
        self._changed.add(number)

    def _synchronise(self, sync: Sync, now_s: float) -> str:
        waiting = [
            (number, source)
            for number, universe in self._universes.items()
            for source in universe.sources.values()
            if source.sync_address == sync.sync_universe and source.cid == sync.cid
        ]
        if not waiting:
            return "not-ours"
        if any(source.discards_sync(sync.sequence, now_s) for _, source in waiting):
            return "sequence"
        for number, source in waiting:
            if source.synchronise(sync.sequence, now_s):
                self._changes(number)
        return "sync"

    def _settle(self, now_s: float) -> None:
        """Losses, ends of waiting: everything that has become due."""
        self._changed.update(number for number, universe in self._universes.items() if universe.settle(now_s))
        self._due_s = min((universe.due_s() for universe in self._universes.values()), default=math.inf)
        sources = [source for universe in self._universes.values() for source in universe.sources.values()]
        self.sync_addresses = {source.sync_address for source in sources} - {0}
