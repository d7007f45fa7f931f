"""Which observations count: old ones and duplicates do not, and a stray must be confirmed. One `Hearing` per row.

A row whose observations come often enough is a stream. In a stream an observation that would need too much speed from
the one before is held back until a second one near it confirms it; a row that is none takes what it is told at once.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from enum import Enum, auto
from math import dist

from bridge.follow.keeping import NEVER_S
from bridge.geometry.stage import Point3

GAP_S = 0.3
"""After this long without an observation a row is no stream any more."""
STREAM = 4
"""So many observations without a gap make a stream."""
CONFIRMS_S = 0.2
"""A second observation near one that was held back counts as its confirmation within this time."""
TAKEN_S = 0.3
"""For so long after somebody took the row a far observation is believed at once."""
SLACK_M, SLACK_SIGMAS = 0.2, 6.0
"""So far an observation may always be from the one before."""
AGAIN = 0.8
"""The same place once more, after less than this share of the usual time between observations, is a duplicate."""
OVERDUE_S, OVERDUE = 0.06, 2.5
"""The next observation is overdue after this time, and after this share of the usual time between two."""
KEPT = 4
"""So many observations are kept of each row, the last one last."""
FLAT = 3 + 4 + 4 * KEPT
"""Numbers in which all of a row is kept."""

TOGETHER_S = 0.04
"""Observations of one row this near in time count as one."""

Spot = tuple[float, Point3]
"""A time and a place."""
Group = list[tuple[Spot, Point3 | None]]
"""Observations of one row that count as one, in the order of their times, and the speeds that came with them."""
NOWHERE: Spot = (NEVER_S, (0.0, 0.0, 0.0))


class Verdict(Enum):
    """What became of an observation."""

    NOTHING = auto()  # old, a duplicate, or held back
    BEGINS = auto()  # it says where the row is, and nothing before it counts
    JUMPS = auto()  # so too, and the row was elsewhere just before
    FOLLOWS = auto()


class Hearing:
    """One row: what was accepted last, and what waits for its confirmation."""

    __slots__ = ("count", "fastest", "held", "last", "spots", "strays", "taken_s", "usual_s")

    def __init__(self, fastest: float) -> None:
        self.fastest = fastest
        self.spots = deque([NOWHERE] * KEPT, KEPT)
        self.last = NOWHERE
        self.count = 0
        self.usual_s = 0.0
        self.held = NOWHERE
        self.strays = 0
        self.taken_s = NEVER_S

    def hear(self, spot: Spot, sigma: float) -> Verdict:
        """Judge it; `sigma` m is how noisy the row is known to be."""
        since_s = spot[0] - self.last[0]
        if since_s < 0.0 or (since_s <= AGAIN * self.usual_s and any(spot[1] == each[1] for each in self.spots)):
            return Verdict.NOTHING
        if self.count == 0 or since_s > GAP_S:
            return self._begin(spot, Verdict.BEGINS)
        if self._near(self.last, spot, sigma):
            self._forget_held()
            if spot[1] != self.last[1]:
                self.usual_s += (since_s - self.usual_s) * (0.1 if self.usual_s else 1.0)
            self._keep(spot)
            self.count = min(self.count + 1, STREAM)
            return Verdict.FOLLOWS
        if self.count < STREAM or self.taken_s <= spot[0] <= self.taken_s + TAKEN_S:
            return self._begin(spot, Verdict.BEGINS)
        if spot[0] - self.held[0] <= CONFIRMS_S and self._near(self.held, spot, sigma):
            self.held = NOWHERE
            return self._begin(spot, Verdict.JUMPS)
        self._forget_held()
        self.held = spot
        return Verdict.NOTHING

    def put(self, spot: Spot) -> None:
        """It is there, whatever was heard."""
        self.count, self.held = 0, NOWHERE
        self._keep(spot)

    def overdue(self, at_s: float) -> bool:
        """Whether another observation should have come by now, even if one was lost."""
        return NEVER_S < self.last[0] < at_s - max(OVERDUE_S, OVERDUE * self.usual_s)

    def forget(self) -> None:
        """It was heard of never before."""
        self.spots.extend([NOWHERE] * KEPT)
        self.last = NOWHERE
        self.count, self.held = 0, NOWHERE

    def drop_held(self, now_s: float) -> bool:
        """What nothing confirmed in time was a stray; True if something still waits."""
        if self.held[0] < now_s - CONFIRMS_S:
            self._forget_held()
        return self.held is not NOWHERE

    def _forget_held(self) -> None:
        """It was a stray: another came that is not near it, or none."""
        if self.held is not NOWHERE:
            self.strays += 1
            self.held = NOWHERE

    def _near(self, before: Spot, spot: Spot, sigma: float) -> bool:
        slack = max(SLACK_M, SLACK_SIGMAS * sigma)
        return dist(before[1], spot[1]) <= self.fastest * (spot[0] - before[0]) + slack

    def _begin(self, spot: Spot, verdict: Verdict) -> Verdict:
        self._keep(spot)
        self.count, self.usual_s = 1, 0.0
        return verdict

    def _keep(self, spot: Spot) -> None:
        self.spots.append(spot)
        self.last = spot

    # Kept

    def flat(self) -> list[float]:
        """All of it as FLAT numbers."""
        spots = [value for at_s, place in self.spots for value in (at_s, *place)]
        return [self.count, self.usual_s, self.strays, self.held[0], *self.held[1], *spots]

    def take_up(self, flat: Sequence[float]) -> None:
        """What `flat` gave."""
        self.count, self.usual_s, self.strays = int(flat[0]), flat[1], int(flat[2])
        spots = [(flat[i], (flat[i + 1], flat[i + 2], flat[i + 3])) for i in range(3, FLAT, 4)]
        self.held = spots[0] if spots[0][0] > NEVER_S else NOWHERE
        self.spots.extend(spots[1:])
        self.last = spots[-1]


def add_to(groups: list[Group], spot: Spot, velocity: Point3 | None) -> None:
    """Add it to the last of these groups, or begin another."""
    if groups and spot[0] - groups[-1][0][0][0] <= TOGETHER_S:
        groups[-1].append((spot, velocity))
    else:
        groups.append([(spot, velocity)])


def merged(group: Group) -> tuple[float, ...]:
    """Mean time, mean place, and how many they are; what is the same in all stays exactly so."""
    (at_s, (x, y, z)), _ = group[0]
    count = len(group)
    if count == 1:
        return at_s, x, y, z, 1.0
    off_s, off_x, off_y, off_z = 0.0, 0.0, 0.0, 0.0
    for (other_s, (other_x, other_y, other_z)), _ in group[1:]:
        off_s, off_x, off_y, off_z = (
            off_s + other_s - at_s,
            off_x + other_x - x,
            off_y + other_y - y,
            off_z + other_z - z,
        )
    return at_s + off_s / count, x + off_x / count, y + off_y / count, z + off_z / count, count
