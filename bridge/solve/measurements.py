"""What a crew measured, as plain data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Sighting:
    """Where a head pointed, in degrees as sent (unwrapped), when its beam sat on a mark; zoom and focus raw.

    `where` is `file:line` for messages. Face 1 is tilt >= 0, face 2 tilt < 0.
    """

    fixture: str
    mark: str
    pan: float
    tilt: float
    zoom: int | None = None
    focus: int | None = None
    where: str = ""

    @property
    def face(self) -> int:
        """1 for tilt >= 0, else 2."""
        return 1 if self.tilt >= 0 else 2
