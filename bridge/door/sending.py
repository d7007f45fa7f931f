"""The streams that are open now: over which of the patched universes, and where the numbers of all others stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.door.ending import Slots
from bridge.follow.keeping import Data
from bridge.wire.settings import SacnSettings
from bridge.wire.stream import Streams

BELOW_ANY_DESK = 0
"""The packets' priority where slots have their own: nodes that do not know those leave all to the desk."""


class Sending:
    """`streams` is None while nothing is open. Frames are arrays over `patched`, of which `of` takes what is sent."""

    def __init__(self, patched: tuple[int, ...], settings: SacnSettings, cid: bytes, by_slot: bool) -> None:
        self.patched, self.settings, self.by_slot = patched, settings, by_slot
        self.streams: Streams | None = None
        self._cid = cid
        self._numbers: dict[int, int] = {}
        self._rows: NDArray[np.intp] | None = None

    @property
    def universes(self) -> tuple[int, ...]:
        """The universes that are sent now."""
        return self.streams.universes if self.streams is not None else ()

    @property
    def sequences(self) -> dict[int, int]:
        """The number of each universe's next packet."""
        return {**self._numbers, **(self.streams.sequences if self.streams else {})}

    def number(self, sequences: Mapping[int, int]) -> None:
        """Universes that are not open go on from these numbers."""
        self._numbers |= sequences

    def of(self, frame: Slots) -> Slots:
        """The rows of a frame that are sent."""
        return frame if self._rows is None else frame[self._rows]

    def fresh(self, universes: tuple[int, ...], synchronise: int | None = None) -> Streams:
        """Streams of the same source over these, which go on from where those until now are."""
        settings, numbers = self.settings, self.sequences
        priority = BELOW_ANY_DESK if self.by_slot else settings.priority
        made = Streams(universes, self._cid, settings.source_name, priority, synchronise, numbers, rate=settings.rate)
        if self.streams is not None:
            made.go_on_from(self.streams)
        return made

    def open(self, universes: tuple[int, ...]) -> None:
        """Send these from now on; those that were sent already keep numbers, spacing and data."""
        numbers, self.streams = self.sequences, self.fresh(universes, self.settings.synchronise)
        self._numbers = numbers
        whole = universes == self.patched
        self._rows = None if whole else np.array([self.patched.index(u) for u in universes], np.intp)

    def close(self) -> None:
        """The streams have ended."""
        self._numbers, self.streams = self.sequences, None

    def state(self) -> Data:
        """As of Transmission."""
        return {
            "sequences": {str(u): n for u, n in self.sequences.items()},
            "universes": None if self.streams is None else list(self.universes),
            "streams": None if self.streams is None else self.streams.state(),
        }

    def restore(self, data: Mapping[str, Any]) -> None:
        """As of Transmission."""
        self._numbers = {int(u): int(n) for u, n in data["sequences"].items()}
        self.streams = None
        if data["universes"] is not None:
            self.open(tuple(int(u) for u in data["universes"]))
            assert self.streams is not None
            self.streams.restore(data["streams"])
