"""Moves in black: a target that jumps further than its heads can follow in a set time is left in the dark.

All heads of a target go together: out where they stand, then move, then in again when the last has arrived. A head
that is away on its own (handed over, back from out or from a sighting, at a pan stop, slower than a runner, turning to
its other face) goes on its own, also in the dark, and takes nobody with it; once arrived it is `settled` and belongs to
the group.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.keeping import NEVER_S, Field, Part, Seats, time_field
from bridge.geometry.frames import Array

ARRIVED_SHARE = 0.05
BEHIND_SHARE, CAUGHT_UP_SHARE = 0.25, 0.2
"""Of its spot: a beam that passes its point by more is behind, until it passes it by less."""
LONGEST_S = 6.0
STOPS_IN = 2.0
"""Lags until a head that comes from far stands where it was sent: its lag is that of a steady motion, and braking at
its motors' limit it falls further behind."""


class Jumps(Part):
    """Per target (T,): `moving` and since when; per head (N,): `settled`, and `arrived` at what it is to light, and
    `behind`: it follows in the light, but its motors do not keep up.

    `steady` says that at the last look all heads were both and no target was moving, and that nothing happened since:
    then nobody waits, is under way or joins.
    """

    kept = (
        Field("moving", "targets", bool),
        time_field("_since", "targets"),
        Field("settled", "heads", bool),
        Field("arrived", "heads", bool),
        Field("behind", "heads", bool),
        Field("_in_the_dark", "heads", bool),
        Field("_turning", "heads", bool),
        time_field("_away_s", "heads"),
        Field("steady", kind=bool),
    )

    def __init__(self, heads: int, targets: int, after_s: float) -> None:
        self._after = after_s
        self.moving = np.zeros(targets, dtype=bool)
        self._since = np.full(targets, NEVER_S)
        self.steady = False
        self.settled = np.zeros(heads, dtype=bool)
        self.arrived, self.behind = np.zeros(heads, dtype=bool), np.zeros(heads, dtype=bool)
        self._in_the_dark, self._turning = np.zeros(heads, dtype=bool), np.zeros(heads, dtype=bool)
        self._away_s = np.full(heads, NEVER_S)

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part; heads that were not there before are on their way."""
        super().restore(data, seats)
        self.steady = self.steady and bool(self.settled.all() and self.arrived.all() and not self.moving.any())
        self.behind &= not self.steady

    def begin(self, lost: np.ndarray, time_s: Array, leapt: np.ndarray, follows: np.ndarray, now_s: float) -> None:
        """For heads that have lost their target (N,) and will not reach it again in time: start a move of the whole
        group if the target leapt (T,); a head that is left behind otherwise goes on its own."""
        lost = lost & self.settled & (time_s > self._after)
        for target in set(follows[lost & leapt[follows]].tolist()):
            if not self.moving[target]:
                self.moving[target], self._since[target], self.steady = True, now_s, False
        self.leave(lost & ~self.moving[follows])

    def join(self, alight: np.ndarray, time_s: Array) -> None:
        """Heads that come to their target alight (N,), as after a hold, and are there in time do so in the light."""
        self.settled |= alight & ~self.settled & ~self._in_the_dark & (time_s <= self._after)

    def under_way(self, follows: np.ndarray) -> np.ndarray:
        """Heads (N,) that are on such a move, with their group or on their own."""
        return np.where(self.settled, self.moving[follows], ~self.arrived)

    def waiting(self, follows: np.ndarray, fade: Array) -> np.ndarray:
        """Heads (N,) that must stand until their light, or that of all heads of their group, is out."""
        alight = np.zeros(len(self.moving), dtype=bool)
        alight[follows[self.settled & self.moving[follows] & (fade > 0)]] = True
        return self.under_way(follows) & np.where(self.settled, alight[follows], fade > 0)

    def update(self, miss: Array, size: Array, lag: Array, able: np.ndarray, follows: np.ndarray, now_s: float) -> None:
        """Note who of the `able` has arrived (for its lag, so that the lamp is there too); end complete moves."""
        self._away_s = np.where(miss > ARRIVED_SHARE * size, now_s, self._away_s)
        lag = np.where(self._in_the_dark, STOPS_IN * lag, lag)
        self.arrived = (now_s - self._away_s >= lag) & (miss <= ARRIVED_SHARE * size) & ~self._turning
        if self.moving.any():
            late = np.zeros_like(self.moving)
            late[follows[able & self.settled & ~self.arrived]] = True
            self.moving &= late & (now_s - self._since < LONGEST_S)
        self.settled = able & (self.settled | self.arrived)
        self._in_the_dark &= ~self.arrived
        self.steady = bool(self.settled.all() and self.arrived.all() and not self.moving.any())

    def note_behind(self, miss: Array, size: Array, trailing: np.ndarray, follows: np.ndarray) -> None:
        """Who is behind, after `update`. `trailing` (N,): those of the able whose motors are not where they are to be.

        Nobody is while `steady`: who has arrived is not behind.
        """
        if self.steady or not (trailing.any() or self.behind.any()):
            self.behind = np.zeros_like(self.behind)
            return
        share = np.where(self.behind, CAUGHT_UP_SHARE, BEHIND_SHARE)
        self.behind = trailing & ~self.under_way(follows) & (miss > share * size)

    def turn(self, where: np.ndarray) -> None:
        """These heads go over to another face: in the dark, though their beams are still where they belong."""
        if where.any():
            self.leave(where, in_the_dark=True)
            self._turning = self._turning | where

    def turned(self, where: np.ndarray) -> None:
        """These heads are where they were to go."""
        if self._turning.any():
            self._turning = self._turning & ~where

    def leave(self, where: np.ndarray, in_the_dark: bool = False) -> None:
        """These heads belong to no group until they have arrived again; `in_the_dark` however short the way."""
        self.steady = False
        self.settled &= ~where
        self.arrived &= ~where
        if in_the_dark:
            self._in_the_dark |= where
