"""Our slots laid over a desk's: which of all bytes are ours in a look, and the rest as the desk sends it."""

from __future__ import annotations

import numpy as np

from bridge.rig.bytes import ByteMap
from bridge.rig.look import Look, Override
from bridge.wire.e131 import SLOTS


class Overlay:
    """Over the universes of `at`. What is ours is worked out again only when the look says otherwise."""

    def __init__(self, at: ByteMap) -> None:
        self._map = at
        self._fixed, _, self._fixed_of = at.fixed()
        self._own = self._whole = np.empty(0, dtype=bool)
        self._overrides: tuple[Override, ...] = ()
        self._ours = np.zeros((len(at.universes), SLOTS), dtype=bool)

    def ours(self, look: Look) -> np.ndarray:
        """(U, 512): the slots that are ours in a look. The array belongs to the overlay."""
        own, whole = look.own, look.whole
        assert own is not None
        assert whole is not None
        same = np.array_equal(own, self._own) and np.array_equal(whole, self._whole)
        if not (same and look.overrides == self._overrides):
            self._own, self._whole, self._overrides = own.copy(), whole.copy(), look.overrides
            self._find()
        return self._ours

    def _find(self) -> None:
        at, flat = self._map, self._ours.reshape(-1)
        flat[:] = False
        flat[at.slot] = self._own.reshape(-1)[at.source]
        flat[self._fixed] = self._whole[self._fixed_of]
        for number, slots in self._overrides:
            flat[[at.slot_of(at.fixtures[number], offset) for offset, _ in slots]] = True
