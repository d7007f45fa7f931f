"""The light of each head by itself: what closes it, when it may open again, and the fades between.

A head that has gone dark by itself stays so for a second after its fade, so that heads go dark and come back at most
once a second, whatever a target does at an edge. What an operator asks for (out, still, a sighting) is not held up.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.judging.states import State
from bridge.follow.keeping import NEVER_S, Field, Part, Seats, time_field
from bridge.geometry.frames import Array

DARK_AT_LEAST_S = 1.0


class Gates(Part):
    """Per head (N,): `open`, `fade` 0..1 (linear in level), since when it is out, and the state that closed it.

    `full`: all are open and all fades are over.
    """

    kept = (
        Field("open", "heads", bool),
        Field("fade", "heads", low=0.0, high=1.0),
        time_field("closed_s", "heads"),
        Field("reason", "heads", int, low=0, high=State.LIT),
    )

    def __init__(self, count: int) -> None:
        self.open = np.zeros(count, dtype=bool)
        self.fade = np.zeros(count)
        self.closed_s = np.full(count, NEVER_S)
        self.reason = np.full(count, State.NO_INPUT, dtype=np.int64)
        self._look()

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part."""
        super().restore(data, seats)
        self._look()

    def _look(self) -> None:
        self.full = bool(self.open.all() and self.fade.min(initial=1.0) >= 1.0)

    def shut(self, where: np.ndarray) -> None:
        """Close at once, without a fade, on an operator's word; may open again as soon as all is well."""
        self.open &= ~where
        self.fade[where] = 0.0
        self.closed_s[where] = NEVER_S
        self.reason[where] = State.MOVING
        self.full = self.full and not where.any()

    def begin(self, now_s: float, where: np.ndarray) -> None:
        """Output to these heads (N,) starts: closed, and dark for as long as after any other darkness."""
        self.shut(where)
        self.closed_s[where] = now_s

    def update(self, bad: np.ndarray, reason: np.ndarray, ready: np.ndarray, now_s: float) -> None:
        """Close gates where `bad`, with their `reason`; open those that are well, `ready` and dark for long enough."""
        closing = self.open & bad
        self.closed_s[closing] = now_s
        self.open &= ~bad
        self.reason = np.where(bad, reason, self.reason)
        self.open |= ~bad & ready & (now_s - self.closed_s >= DARK_AT_LEAST_S)

    def advance(self, dt_s: float, fade_in_s: float, fade_out_s: Array, cut: np.ndarray, now_s: float) -> None:
        """Carry the fades on by dt_s; where `cut`, the light is gone at once."""
        up = dt_s / fade_in_s if fade_in_s > 0 else 1.0
        down = np.where(fade_out_s > 0, dt_s / np.where(fade_out_s > 0, fade_out_s, 1.0), 1.0)
        self.fade = np.minimum(np.maximum(self.fade + np.where(self.open, up, -down), 0.0), 1.0)
        self.fade[cut] = 0.0
        self._look()
        self.closed_s[~self.open & (self.fade > 0)] = now_s
