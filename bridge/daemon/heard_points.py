"""What is heard of the points of a tracking input: when, where, how often and how evenly. Pure; bounded memory."""

from __future__ import annotations

import math
from collections import deque

from bridge.wire.tracked import Place, Point

MOST_POINTS = 256
MOST_PLACES = 250
"""Of each point: a second of them, as fast as anybody sends."""
SECOND_S = 1.0
GONE_S = 7.5
"""E1.59's time after which a point is lost; another may have its place then."""
QUIET_S = 3.0
"""A point that is not heard for so long is not there; E1.59 has all points sent in this time."""


class PointHeard:
    """One point. `rate_hz` and `jitter_s` (of the gaps between packets, one sigma) are of its last whole second."""

    __slots__ = ("_gaps", "_since_s", "_squares", "_stamp", "at_s", "host", "jitter_s", "place", "places", "rate_hz")

    def __init__(self, now_s: float) -> None:
        self.places: deque[tuple[float, Place]] = deque(maxlen=MOST_PLACES)
        self.host, self.place = "", (0.0, 0.0, 0.0)
        self.at_s = -math.inf
        self.rate_hz = self.jitter_s = 0.0
        self._since_s, self._gaps, self._squares = now_s, 0, 0.0
        self._stamp: tuple[str, int | None, Place] | None = None

    def repeats(self, point: Point) -> bool:
        """Whether this is the sample that was given last, sent once more: nobody has seen the point again."""
        stamp = point.clock, point.sampled_us, point.place
        before, self._stamp = self._stamp, stamp
        return point.sampled_us is not None and stamp == before

    def take(self, place: Place, seen_s: float, arrival_s: float, host: str) -> None:
        """It was seen there."""
        since_s = arrival_s - self._since_s
        if since_s >= SECOND_S:
            self._judge(since_s)
            self._since_s, self._gaps, self._squares = arrival_s, 0, 0.0
        elif self.at_s > -math.inf:
            gap_s = arrival_s - self.at_s
            self._gaps, self._squares = self._gaps + 1, self._squares + gap_s * gap_s
        self.at_s, self.host, self.place = arrival_s, host, place
        self.places.append((seen_s, place))

    def _judge(self, since_s: float) -> None:
        """The gaps of a second that is over, all but the one that ends it."""
        self.rate_hz = (self._gaps + 1) / since_s
        mean_s = (self.at_s - self._since_s) / self._gaps if self._gaps else 0.0
        self.jitter_s = math.sqrt(max(0.0, self._squares / self._gaps - mean_s * mean_s)) if self._gaps else 0.0

    def last_second(self, now_s: float) -> list[tuple[float, Place]]:
        """(when, where) it was seen within the last second, the oldest first."""
        return [seen for seen in self.places if seen[0] >= now_s - SECOND_S]


class HeardPoints:
    """All points of an input by name: at most MOST_POINTS, and those in `always` in any case."""

    def __init__(self) -> None:
        self.by_name: dict[str, PointHeard] = {}
        self.always: frozenset[str] = frozenset()
        self.refused = 0
        self._full_until_s = -math.inf

    def point(self, name: str, now_s: float) -> PointHeard | None:
        """The point of this name; None where there are too many."""
        known = self.by_name.get(name)
        if known is None:
            if len(self.by_name) >= MOST_POINTS and name not in self.always and not self._made_room(now_s):
                self.refused += 1
                return None
            known = self.by_name[name] = PointHeard(now_s)
        return known

    def _made_room(self, now_s: float) -> bool:
        """Forget one that is gone; looked for when a new one comes, and where there was none not again for a second."""
        if now_s < self._full_until_s:
            return False
        oldest = min((n for n in self.by_name if n not in self.always), key=lambda n: self.by_name[n].at_s, default="")
        if oldest and now_s - self.by_name[oldest].at_s > GONE_S:
            del self.by_name[oldest]
            return True
        self._full_until_s = now_s + SECOND_S
        return False

    def there(self, now_s: float) -> dict[str, PointHeard]:
        """Those that are heard now."""
        return {name: heard for name, heard in self.by_name.items() if now_s - heard.at_s <= QUIET_S}
