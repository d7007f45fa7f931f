"""When a sender sampled what it sends, on our clock: its own stamps, mapped by those packets that were delayed least.

arrival = stamp + offset + delay, and delay is never negative: so of (stamp, arrival - stamp) the lower envelope over
the last WINDOW_S is the sender's clock, but for the smallest delay, which nobody can see. The line under all of them
that is nearest to them in sum is an edge of their convex hull (the one over their mean); its slope is the drift.

A clock is believed once its stamps have kept pace with ours for TRIAL_S, so stamps that stand still, are random or in
another unit are never used. One that is set, or begins anew, is put on trial again; until then times of arrival stand.
"""

from __future__ import annotations

import math
from collections import OrderedDict, deque
from itertools import pairwise

WINDOW_S, MOST_ROWS = 15.0, 32
TRIAL_S, TRIAL_OFF_S, TRIAL_STAMPS = 1.0, 0.25, 5
OLDEST_S = 1.0
SOON_S = 0.25
"""A stamp that is so much ahead is not one of a packet that was faster than any before."""
LATE_S = 0.1
"""When nothing of a whole second was nearer than this, packets take another way now, or the clock was set back."""
FINE_S = 50e-6
"""What is so little sooner waits for the next second's line."""
SOONER_S = 0.02
"""A packet so much faster than all before says that what was known of them is of no use, as a clock set ahead does."""
STRANGE = 5
"""So many in a row that cannot be: the clock was set."""
MOST_DRIFT = 300e-6
DRIFT_FROM_S = 5.0
"""So much must be known of a clock before its drift is more than what its jitter feigns."""
MOST_CLOCKS = 64


class Timebase:
    """Clocks of one input's senders. Pure: times are given; seconds on our clock, whole microseconds on theirs."""

    def __init__(self) -> None:
        self._clocks: OrderedDict[str, _Clock] = OrderedDict()

    def seen_s(self, clock: str, sampled_us: int | None, arrival_s: float) -> float:
        """When it was sampled on our clock: never after `arrival_s`, and at most OLDEST_S before."""
        if sampled_us is None:
            return arrival_s
        known = self._clocks.get(clock)
        if known is None:
            if len(self._clocks) >= MOST_CLOCKS:  # made up by whoever sends: they must not fill memory
                self._clocks.popitem(last=False)
            known = self._clocks[clock] = _Clock(sampled_us, arrival_s)
        return known.seen_s(sampled_us, arrival_s)

    def trusts(self, clock: str) -> bool:
        """Whether this clock's stamps are used now."""
        return clock in self._clocks and self._clocks[clock].trusted


class _Clock:
    """The clock of one sender: `rows` hold per second of ours the least delayed (stamp, arrival - stamp), in s."""

    def __init__(self, stamp_us: int, arrival_s: float) -> None:
        self._slope = 0.0
        self._given = (math.nan, 0, 0.0)
        self._try(stamp_us, arrival_s)

    def _try(self, stamp_us: int, arrival_s: float) -> None:
        """Begin anew with this stamp; times are counted from it, so that large ones lose nothing."""
        self.trusted = False
        self._first_us, self._first_s, self._last_us, self._stamps = stamp_us, arrival_s, stamp_us, 1
        self._rows: deque[tuple[float, float]] = deque([(0.0, arrival_s)], MOST_ROWS)
        self._second, self._least_s, self._strange = math.floor(arrival_s), 0.0, 0
        self._fit()

    def seen_s(self, stamp_us: int, arrival_s: float) -> float:
        """The same for all points of a packet that were sampled at once."""
        if self._given[0] != arrival_s or self._given[1] != stamp_us:
            self._given = arrival_s, stamp_us, self._map(stamp_us, arrival_s)
        return self._given[2]

    def _map(self, stamp_us: int, arrival_s: float) -> float:
        stamp_s = (stamp_us - self._first_us) / 1e6
        off_s = arrival_s - stamp_s
        if not self.trusted:
            self._judge(stamp_us, stamp_s, arrival_s)
        if not self.trusted:
            return arrival_s
        late_s = off_s - self._line(stamp_s)
        if not -SOON_S <= late_s <= OLDEST_S:
            self._strange += 1
            if self._strange >= STRANGE:
                self._try(stamp_us, arrival_s)
                return arrival_s
            return arrival_s if late_s < 0.0 else arrival_s - OLDEST_S
        self._strange = 0
        self._keep(stamp_s, off_s, late_s, arrival_s)
        return arrival_s - max(0.0, min(off_s - self._line(stamp_s), OLDEST_S))

    def _judge(self, stamp_us: int, stamp_s: float, arrival_s: float) -> None:
        """Whether the stamps keep pace with our clock since the first one."""
        since_s = arrival_s - self._first_s
        self._stamps += stamp_us != self._last_us
        self._last_us = stamp_us
        if abs(stamp_s - since_s) > TRIAL_OFF_S + 0.01 * since_s:
            self._try(stamp_us, arrival_s)
            return
        self._keep(stamp_s, arrival_s - stamp_s, 0.0, arrival_s)
        self.trusted = since_s >= TRIAL_S and self._stamps >= TRIAL_STAMPS
        if self.trusted:
            self._fit()

    def _keep(self, stamp_s: float, off_s: float, late_s: float, arrival_s: float) -> None:
        second = math.floor(arrival_s)
        if late_s < -SOONER_S:
            self._rows.clear()
            self._rows.append((stamp_s, off_s))
        if second > self._second:
            if self.trusted and self._least_s > LATE_S:
                self._rows = deque([self._rows[-1]], MOST_ROWS)
            self._second, self._least_s = second, math.inf
            while self._rows and self._rows[0][0] < stamp_s - WINDOW_S:
                self._rows.popleft()
            self._rows.append((stamp_s, off_s))
            self._fit()
        elif off_s < self._rows[-1][1]:
            self._rows[-1] = (stamp_s, off_s)
        self._least_s = min(self._least_s, late_s)
        if late_s < -FINE_S:
            self._fit()

    def _line(self, stamp_s: float) -> float:
        return self._off_s + self._slope * stamp_s

    def _fit(self) -> None:
        """The line under all rows: the hull's edge over their mean, no steeper than a clock can be."""
        rows = self._rows
        if rows[-1][0] - rows[0][0] >= DRIFT_FROM_S:
            (s, d), (t, e) = _edge(sorted(rows))
            self._slope = max(-MOST_DRIFT, min((e - d) / (t - s), MOST_DRIFT))
        self._off_s = min(d - self._slope * s for s, d in rows)


def _edge(rows: list[tuple[float, float]]) -> tuple[tuple[float, float], tuple[float, float]]:
    """The edge of the lower convex hull over the mean of the rows' first coordinate; at least two of them differ."""
    hull: list[tuple[float, float]] = []
    for s, d in rows:
        while len(hull) > 1 and _above(hull[-2], hull[-1], (s, d)):
            hull.pop()
        hull.append((s, d))
    mean = sum(s for s, _ in rows) / len(rows)
    for left, right in pairwise(hull):
        if right[0] > mean or right == hull[-1]:
            return left, right
    raise AssertionError("a hull of one row")


def _above(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Whether b lies on or above the line from a to c."""
    return (b[0] - a[0]) * (c[1] - a[1]) <= (b[1] - a[1]) * (c[0] - a[0])
