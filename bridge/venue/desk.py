"""A lighting desk that plays looks with fades: time in, slots out. No clock, no socket, no file.

A look is every slot that it says; the rest of its universes is 0. A cue fades from the look before it, linear in each
value: a slot, or the 2 to 4 slots that hold one channel of a fixture.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.wire.e131 import SLOTS
from bridge.wire.settings import Slot

Look = Mapping[Slot, int]
"""Bytes by (universe, address from 1)."""


@dataclass(frozen=True)
class Cue:
    """From `at_s` after the beginning the desk fades to `look` over `fade_s`; it has arrived before the next begins."""

    at_s: float
    look: Look
    fade_s: float = 0.0


class DeskPlay:
    """Cues on the universes that their looks name, over and over every `repeat_s`, or once where that is None.

    `together` are the addresses, coarse first, that hold one value (universe, addresses). Before the first cue every
    slot is 0; from the second round on it is what the last cue left.
    """

    def __init__(
        self, cues: Sequence[Cue], together: Iterable[tuple[int, tuple[int, ...]]] = (), repeat_s: float | None = None
    ) -> None:
        """`cues` rising in time, at least one, with at least one slot among them."""
        self.universes = tuple(sorted({universe for cue in cues for universe, _ in cue.look}))
        self._cues, self._repeat_s = tuple(cues), repeat_s
        self._value_of, self._shift = self._values(together)
        self._dark = np.zeros(int(self._value_of.max()) + 1)
        self._goals = [self._decoded(cue.look) for cue in cues]

    def slots(self, at_s: float) -> NDArray[np.uint8]:
        """What every universe holds `at_s` after the beginning, (universes, 512)."""
        values = np.rint(self._now(at_s)).astype(np.int64)
        return ((values[self._value_of] >> self._shift) & 255).astype(np.uint8).reshape(-1, SLOTS)

    def _now(self, at_s: float) -> NDArray[np.float64]:
        rounds = 0
        if self._repeat_s is not None and at_s >= self._repeat_s:
            rounds = math.floor(at_s / self._repeat_s)
            at_s -= rounds * self._repeat_s
        began = [number for number, cue in enumerate(self._cues) if cue.at_s <= at_s]
        before = self._goals[-1] if rounds else self._dark
        if not began:
            return before
        cue, goal = self._cues[began[-1]], self._goals[began[-1]]
        start = self._goals[began[-1] - 1] if began[-1] else before
        share = min((at_s - cue.at_s) / cue.fade_s, 1.0) if cue.fade_s > 0 else 1.0
        return start + share * (goal - start)

    def _values(self, together: Iterable[tuple[int, tuple[int, ...]]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """For every slot of all universes the value that it belongs to, and by how many bits that is shifted."""
        value_of = np.arange(SLOTS * len(self.universes))
        shift = np.zeros(value_of.size, np.int64)
        for universe, addresses in together:
            if universe not in self.universes:
                continue
            places = SLOTS * self.universes.index(universe) + np.array(addresses) - 1
            value_of[places] = places[0]
            shift[places] = 8 * np.arange(places.size)[::-1]
        return value_of, shift

    def _decoded(self, look: Look) -> NDArray[np.float64]:
        values = self._dark.copy()
        for (universe, address), byte in look.items():
            place = SLOTS * self.universes.index(universe) + address - 1
            values[self._value_of[place]] += byte * 2.0 ** int(self._shift[place])
        return values
