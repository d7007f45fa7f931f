"""One source of one universe, as a receiver keeps it: its sequence, levels, priorities, and what waits for a sync.

Nothing here reads a clock. Every moment at which time alone changes something is kept as that moment; `settle` does
what is due. "More than 2.5 s" is said in the microseconds of which the daemon's clock consists.
"""

from __future__ import annotations

import math

from bridge.wire.e131 import Data
from bridge.wire.merge import Voice, per_slot, voice

LOSS_S = 2.5
"""E1.31, network data loss: also of per-address priorities and of synchronisation."""
_MORE_THAN_S = LOSS_S + 1e-6


def discards(sequence: int, last: int) -> bool:
    """Whether a receiver that last took `last` discards `sequence`: -20 < B - A <= 0 in 8 bits, signed."""
    difference = (sequence - last + 128) % 256 - 128
    return -20 < difference <= 0


class Source:
    """Made by the first packet that counts; `waits_until_s`: so long its levels wait for its per-address priorities.

    `heard_s` is when its last levels came (before the first: its last priorities), `lost_s` when it is gone.
    """

    __slots__ = (
        "_held", "_priorities", "_priorities_lost_s", "_slots", "_synchronised_until_s", "_waits_until_s", "cid",
        "heard_s", "lost_s", "priority", "sender", "sequence", "source_name", "sync_address", "sync_sequence", "voice",
    )  # fmt: skip

    def __init__(self, data: Data, sender: str, waits_until_s: float) -> None:
        self.cid, self.source_name, self.sender, self.priority = data.cid, data.source_name, sender, data.priority
        self.sequence = data.sequence
        self.heard_s = self.lost_s = -math.inf
        self.voice: Voice | None = None
        self.sync_address, self.sync_sequence = 0, 0
        self._slots: bytes | None = None
        self._priorities: bytes | None = None
        self._priorities_lost_s = self._waits_until_s = waits_until_s
        self._synchronised_until_s = -math.inf  # no sync of its own was heard yet
        self._held: Data | None = None

    @property
    def has_levels(self) -> bool:
        """Whether it ever sent levels."""
        return self._slots is not None

    @property
    def highest(self) -> int:
        """The highest priority with which it counts anywhere, at a receiver that knows per-address priority or not."""
        return max(self.priority, self.strength)

    @property
    def strength(self) -> int:
        """The priority with which it defends its place."""
        return self.priority if self._priorities is None else max(self._priorities, default=0)

    def due_s(self) -> float:
        """When time alone changes something next."""
        due_s = self.lost_s
        if self._priorities is not None:
            due_s = min(due_s, self._priorities_lost_s)
        elif self.voice is None and self._slots is not None:
            due_s = min(due_s, self._waits_until_s)
        if self._held is not None and self._held.force_sync:
            due_s = min(due_s, self._synchronised_until_s)
        return due_s

    def settle(self, now_s: float) -> bool:
        """Do what has become due; whether that changes how it counts. Its loss is for its keeper to see.

        What is due at the very moment of its loss does not happen any more: its last look is the one before.
        """
        changed, now_s = False, min(now_s, math.nextafter(self.lost_s, -math.inf))
        if self._priorities is not None and now_s >= self._priorities_lost_s:
            self._priorities, changed = None, True
        if self.voice is None and self._slots is not None and now_s >= self._waits_until_s:
            changed = True
        held = self._held
        if held is not None and held.force_sync and now_s >= self._synchronised_until_s:
            changed = self._use(held) or changed
        return changed and self._speak(now_s)

    def take_priorities(self, data: Data, now_s: float) -> bool:
        """Per-address priorities; whether they change how it counts. They keep nobody alive who has sent levels."""
        if self._slots is None:
            self._heard(now_s)
        self._priorities_lost_s = now_s + _MORE_THAN_S
        values = per_slot(data.slots)
        if values == self._priorities:
            return False
        self._priorities = values
        return self._speak(now_s)

    def take_levels(self, data: Data, sender: str, now_s: float) -> str:
        """Levels: `changed`, `same`, or `held` until the sync of its own on which they wait."""
        self._heard(now_s)
        if data.sync_universe != self.sync_address:
            self.sync_address, self._synchronised_until_s = data.sync_universe, -math.inf
        moved, self.sender = sender != self.sender, sender
        synchronised = self.sync_address and self._synchronised_until_s > -math.inf
        if synchronised and (now_s < self._synchronised_until_s or not data.force_sync):
            self._held = data
            return "held"
        return "changed" if (self._use(data) or moved) and self._speak(now_s) else "same"

    def discards_sync(self, sequence: int, now_s: float) -> bool:
        """Whether this sync on its address is an old one."""
        return now_s < self._synchronised_until_s and discards(sequence, self.sync_sequence)

    def synchronise(self, sequence: int, now_s: float) -> bool:
        """Its own sync on its address; whether levels that waited for it change how it counts."""
        self.sync_sequence, self._synchronised_until_s = sequence, now_s + _MORE_THAN_S
        return self._held is not None and self._use(self._held) and self._speak(now_s)

    def _heard(self, now_s: float) -> None:
        self.heard_s, self.lost_s = now_s, now_s + _MORE_THAN_S

    def _use(self, data: Data) -> bool:
        """Make this packet's levels those that count; whether they differ from those before."""
        self._held = None
        differs = (data.slots, data.priority, data.source_name) != (self._slots, self.priority, self.source_name)
        self._slots, self.priority, self.source_name = data.slots, data.priority, data.source_name
        return differs

    def _speak(self, now_s: float) -> bool:
        """Count as told from now on; whether it counts at all."""
        if self._slots is None or (self._priorities is None and self.voice is None and now_s < self._waits_until_s):
            return False
        before, slots, heard = self.voice, self._slots, self._priorities
        if heard is not None and before is not None and before.per_slot is heard and len(before.slots) == len(slots):
            self.voice = Voice(self.source_name, self.sender, slots, before.highest, before.lowest, heard)
        else:
            self.voice = voice(self.source_name, self.sender, slots, self.priority, heard)
        return True
