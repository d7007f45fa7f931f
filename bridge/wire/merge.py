"""The levels of several sources of one universe made into one, slot by slot: highest priority, then highest level.

- A source counts on a slot with the slot's own priority where it sends those (per-address priority, start code 0xDD),
  else with its packet's. A slot beyond its levels, or at per-address priority 0, has nothing from it.
- A slot that no source counts on is nobody's and reads 0.
- Equal priorities: the highest level of the slot. For pan and tilt that is wrong, which `equal` is there to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from bridge.wire.e131 import MAX_PRIORITY, SLOTS

_KNOWN = bytes(min(value, MAX_PRIORITY) for value in range(256))
_COUNTS = bytes([0] + [255] * 255)
_NOBODY = 256  # keys are 256 x (1 + priority) + level; below this a slot is nobody's


class Voice(NamedTuple):
    """A source as it counts now: at most 512 levels and, where it sends them, as many priorities 0..200.

    `highest` and `lowest` are those of its slots; -1 is the lowest where it says nothing on one of the 512, and the
    highest where it says nothing at all.
    """

    source: str
    sender: str
    slots: bytes
    highest: int
    lowest: int
    per_slot: bytes | None = None


@dataclass(frozen=True, slots=True)
class Merged:
    """512 levels, and whose they are: `source`, `sender` and `priority` are the strongest source's.

    `alive`: somebody sends them now. `equal`: sources of one, the highest, priority differ in a level.
    """

    slots: bytes
    source: str
    sender: str
    priority: int
    alive: bool = True
    equal: bool = False
    voices: tuple[Voice, ...] = ()

    def priorities(self) -> npt.NDArray[np.int16]:
        """Shape (512,): the priority of each slot; -1 where it is nobody's."""
        return (_keys(self.voices).max(axis=0) // 256 - 1).astype(np.int16)

    def winners(self) -> npt.NDArray[np.int16]:
        """Shape (512,): which of `voices` has each slot, the first of equal ones; -1 where it is nobody's."""
        keys = _keys(self.voices)
        return np.where(keys.max(axis=0) < _NOBODY, -1, keys.argmax(axis=0)).astype(np.int16)


def per_slot(values: bytes) -> bytes:
    """Per-address priorities as they count: none is above 200, whatever is sent (a decision of ours)."""
    return values.translate(_KNOWN)


def voice(source: str, sender: str, slots: bytes, priority: int, priorities: bytes | None = None) -> Voice:
    """A voice of these levels; `priorities` as `per_slot` gives them, or None: `priority` is that of all slots."""
    if priorities is None:
        return Voice(source, sender, slots, priority, priority if len(slots) == SLOTS else -1)
    heard = priorities[: len(slots)]
    whole = len(heard) == SLOTS and 0 not in heard
    return Voice(source, sender, slots, max(heard, default=0) or -1, min(heard) if whole else -1, priorities)


def merge(voices: Sequence[Voice]) -> Merged:
    """What one or more voices make together. One that is above all others on every slot has them at once."""
    strongest = max(voices, key=_highest)
    name, sender, priority = strongest.source, strongest.sender, max(strongest.highest, 0)
    if len(voices) == 1:
        return Merged(_alone(strongest), name, sender, priority, voices=(strongest,))
    if all(other is strongest or other.highest < strongest.lowest for other in voices):
        return Merged(strongest.slots, name, sender, priority, voices=tuple(voices))
    keys = _keys(voices)
    best = keys.max(axis=0)
    equal = bool(np.any((keys >> 8 == best >> 8) & (keys != best)))
    return Merged(best.astype(np.uint8).tobytes(), name, sender, priority, True, equal, tuple(voices))


def _highest(one: Voice) -> int:
    return one.highest


def _alone(one: Voice) -> bytes:
    if one.per_slot is not None and one.lowest < 0:
        counts = one.per_slot[: len(one.slots)].translate(_COUNTS)
        masked = int.from_bytes(one.slots[: len(counts)], "big") & int.from_bytes(counts, "big")
        return masked.to_bytes(len(counts), "big").ljust(SLOTS, b"\0")
    return one.slots.ljust(SLOTS, b"\0")


def _keys(voices: Sequence[Voice]) -> npt.NDArray[np.uint16]:
    """Shape (voices, 512): 256 x (1 + priority) + level, or 0 where a voice says nothing. Greater is stronger."""
    keys = np.zeros((len(voices), SLOTS), np.uint16)
    for row, one in zip(keys, voices, strict=True):
        said = row[: len(one.slots)]
        if one.per_slot is None:
            said[:] = np.frombuffer(one.slots, np.uint8)
            said += _NOBODY * (1 + one.highest)
        else:
            ranks = np.frombuffer(one.per_slot[: len(said)], np.uint8).astype(np.uint16)
            said = said[: len(ranks)]
            said[:] = np.where(ranks, (ranks + 1) * _NOBODY + np.frombuffer(one.slots, np.uint8, len(ranks)), 0)
    return keys
