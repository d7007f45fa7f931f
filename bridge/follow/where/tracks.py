"""Where those who move are now, and how far they will have gone: from observations with their times, for all at once.

Rows (R,) are the ways in which targets are seen: by OSC, and by each point of a tracking input that steers one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.follow.keeping import FARTHEST_M, NEVER_S, Field, Part, time_field
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Walk


class Tracks(Part):
    """R rows. `place` (R, 3) m: where each is now; `jumped` (R,): it is somewhere else than before, at once."""

    kept = (
        Field("place", "tracks", low=-FARTHEST_M, high=FARTHEST_M),
        time_field("seen_s", "tracks"),
    )

    def __init__(self, walks: Sequence[Walk]) -> None:
        count = len(walks)
        self.place = np.zeros((count, 3))
        self.seen_s = np.full(count, NEVER_S)
        self.jumped = np.zeros(count, dtype=bool)
        self.strays = np.zeros(count, dtype=np.intp)
        self.noise = np.zeros(count)

    def see(self, row: int, place: Point3, seen_s: float, velocity: Point3 | None = None) -> None:
        """It was seen here at this moment; `velocity` m/s where the input says it. Counts from the next `take_in`."""
        self.place[row], self.seen_s[row] = place, seen_s

    def still(self, row: int, now_s: float) -> None:
        """Whoever sees it is there, and says that nothing moves: it stands where it was seen last."""

    def put(self, row: int, place: Point3, now_s: float) -> None:
        """It is exactly here and stands; what was seen before does not count."""
        self.place[row], self.seen_s[row] = place, now_s

    def stand(self, row: int, place: Point3) -> None:
        """It stands here; when it was seen last stays as it is."""
        self.place[row] = place

    def forget(self, row: int) -> None:
        """Nothing is known of it any more: what is seen next counts at once."""
        self.seen_s[row] = NEVER_S

    def take_in(self, now_s: float) -> None:
        """Take in what was seen, and take all on to now."""

    def ahead(self, rows: np.ndarray, later_s: Array) -> Array:
        """How far (K, 3) m each of `rows` (K,) will have gone from `place` so long (K,) s after the last `take_in`."""
        return np.zeros((len(rows), 3))
