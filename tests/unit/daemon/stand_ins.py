"""A small engine and encoder for tests of the daemon: two universes, one slot each that shows the level."""

from __future__ import annotations

import numpy as np

CID = bytes(range(16))


class StubEngine:
    """`level` is what the next frame carries; `black` gives 0."""

    def __init__(self) -> None:
        self.level = 0
        self.any_still = False
        self.ticks: list[float] = []

    def begin(self, now_s: float) -> None:
        self.begun_s = now_s

    def tick(self, now_s: float) -> int:
        self.ticks.append(now_s)
        return self.level

    def black(self, now_s: float) -> int:
        return 0


class StubEncoder:
    """The first slot of every universe is the level."""

    def __init__(self, *universes: int) -> None:
        self.universes = universes
        self._slots = np.zeros((len(universes), 512), np.uint8)

    def encode(self, look: int) -> np.ndarray:
        self._slots[:, 0] = look
        return self._slots
