"""Where the bytes of a rig's channels lie: in which slot of which universe, most significant first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.rig.fixture import Fixture
from bridge.rig.profile import CHANNEL_NAMES
from bridge.wire.e131 import SLOTS


class ByteMap:
    """Over the patched `universes`, rising, row k of an array (U, 512) being `universes[k]`.

    Of every byte: `source`, the place of its value among (5, N) raw ones, rows as CHANNEL_NAMES, flattened; by how many
    bits it is `shift`ed; and its `slot` in (U, 512), flattened. `full` (5, N) is the largest raw value, 0 for none.
    """

    def __init__(self, fixtures: Sequence[Fixture]) -> None:
        self.fixtures = tuple(fixtures)
        self.universes = tuple(sorted({fixture.universe for fixture in fixtures}))
        self.full = np.array([[_full(f, name) for f in fixtures] for name in CHANNEL_NAMES], dtype=np.float64)
        rows = []
        for number, fixture in enumerate(self.fixtures):
            for channel, name in enumerate(CHANNEL_NAMES):
                offsets = fixture.profile.channels.get(name, ())
                for place, offset in enumerate(offsets):
                    shift = 8 * (len(offsets) - 1 - place)
                    rows.append((channel * len(fixtures) + number, shift, self.slot_of(fixture, offset)))
        self.source, self.shift, self.slot = np.array(rows, dtype=np.int64).reshape(-1, 3).T

    def slot_of(self, fixture: Fixture, offset: int) -> int:
        """The slot, flattened, at an offset (from 1) of a fixture."""
        row = self.universes.index(fixture.universe)
        return row * SLOTS + fixture.address - 1 + offset - 1

    def fixed(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of every fixed slot of the profiles: its slot, flattened, the value it holds, and its fixture's number."""
        rows = [
            (self.slot_of(fixture, offset), value, number)
            for number, fixture in enumerate(self.fixtures)
            for offset, value in fixture.profile.fixed.items()
        ]
        slot, value, number = np.array(rows, dtype=np.int64).reshape(-1, 3).T
        return slot, value, number


def _full(fixture: Fixture, name: str) -> int:
    return fixture.profile.full_scale(name) if name in fixture.profile.channels else 0
