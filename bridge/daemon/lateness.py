"""How many frames were late, and by how much: what an operator wants to know before blaming the network."""

from __future__ import annotations

LATE_S = 0.0015
LOOKED_AT_S = 2.0
"""What nobody has asked for within this time is forgotten: the worst is that of the last moments."""


class Lateness:
    """Counts frames since the start that left more than LATE_S after they were due."""

    def __init__(self) -> None:
        self.frames = 0
        self._worst_s = 0.0
        self._since_s = 0.0

    def note(self, late_s: float, now_s: float) -> None:
        """A frame left, so much after it was due."""
        if now_s - self._since_s > LOOKED_AT_S:
            self._worst_s, self._since_s = 0.0, now_s
        self._worst_s = max(self._worst_s, late_s)
        self.frames += late_s > LATE_S

    def worst_s(self, now_s: float) -> float:
        """By how much a frame was late at most since the last call, or within the last LOOKED_AT_S."""
        worst_s, self._worst_s, self._since_s = self._worst_s, 0.0, now_s
        return worst_s
