"""The sources of one universe, and the look that they make together or have left."""

from __future__ import annotations

import math
from dataclasses import replace

from bridge.wire.e131 import MAX_PRIORITY, Data
from bridge.wire.merge import Merged, merge
from bridge.wire.sources import Source

Key = tuple[bytes, str]


class Universe:
    """At most `limit` sources, sampled for `sampling_s` from the first packet on. `stale`: the look is to be made anew.

    `sampled_s` is when the sampling ends; infinity before the first packet, and after the end.
    """

    def __init__(self, sampling_s: float, limit: int) -> None:
        self.sources: dict[Key, Source] = {}
        self.sampled_s, self.heard_s = math.inf, -math.inf
        self.stale = False
        self._sampling_s, self._limit = sampling_s, limit
        self._sampling = True
        self._look: Merged | None = None

    def admit(self, key: Key, data: Data, sender: str, now_s: float, priorities: bool) -> Source | None:
        """A new source for this packet of its own; None when there is no room for one of its priority."""
        strength = min(max(data.slots, default=0), MAX_PRIORITY) if priorities else data.priority
        if not self._make_room(strength):
            return None
        if self._sampling and self.sampled_s == math.inf:
            self.sampled_s = now_s + self._sampling_s
            self._sample(now_s)
        waits_s = 0.0 if self._sampling else self._sampling_s
        self.sources[key] = Source(data, sender, now_s + waits_s)
        return self.sources[key]

    def remove(self, *keys: Key) -> None:
        """These sources are gone; what all made together is what is left should they have been the last."""
        self.frame()
        self.stale = True
        for key in keys:
            del self.sources[key]

    def frame(self) -> Merged | None:
        """The look as everything stands that was settled; None before the first."""
        if self._sampling:
            return None
        if self.stale:
            self.stale = False
            if voices := [source.voice for source in self.sources.values() if source.voice is not None]:
                self._look = merge(voices)
            elif self._look is not None:
                self._look = replace(self._look, alive=False, equal=False)
        return self._look

    def due_s(self) -> float:
        """When time alone changes something next."""
        return min([self.sampled_s, *(source.due_s() for source in self.sources.values())])

    def settle(self, now_s: float) -> bool:
        """Do what has become due, in the order in which it did; whether the look may be another."""
        moments = sorted({source.lost_s for source in self.sources.values() if now_s >= source.lost_s})
        for moment_s in moments:
            self._until(moment_s)
            self.remove(*[key for key, source in self.sources.items() if source.lost_s == moment_s])
        return self._until(now_s) or bool(moments)

    def _until(self, now_s: float) -> bool:
        changed = self._sample(now_s)
        for source in self.sources.values():
            changed = source.settle(now_s) or changed
        self.stale = self.stale or changed
        return changed

    def _sample(self, now_s: float) -> bool:
        """Whether the sampling ends now."""
        if now_s < self.sampled_s:
            return False
        self._sampling, self.sampled_s, self.stale = False, math.inf, True
        return True

    def _make_room(self, strength: int) -> bool:
        if len(self.sources) < self._limit:
            return True
        weakest = min(self.sources, key=lambda key: (self.sources[key].strength, self.sources[key].heard_s))
        if self.sources[weakest].strength >= strength:
            return False
        self.remove(weakest)
        return True
