"""What a crew measured, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

SIGHTED_BY = ("pool", "axis", "unknown")


@dataclass(frozen=True)
class Sighting:
    """Where a head pointed, in degrees as sent (unwrapped), when its beam sat on a mark; zoom and focus raw.

    `sighted_by` (one of SIGHTED_BY, None: as the stage says) is what was centred on the mark. `where` is `file:line` for messages. Face 1 is tilt >= 0, face 2 tilt < 0.
    """

    fixture: str
    mark: str
    pan: float
    tilt: float
    zoom: int | None = None
    focus: int | None = None
    sighted_by: str | None = None
    where: str = ""

    @property
    def face(self) -> int:
        """1 for tilt >= 0, else 2."""
        return 1 if self.tilt >= 0 else 2
