"""The light of each head by itself: what closes it, when it may open again, and the fades between.

A head that has gone dark by itself stays so for a second after its fade, so that heads go dark and come back at most
once a second, whatever a target does at an edge. What an operator asks for (out, still, a sighting) is not held up.
"""

from __future__ import annotations

import numpy as np

from bridge.follow.states import State
from bridge.geometry.frames import Array

DARK_AT_LEAST_S = 1.0


class Gates:
    """Per head (N,): `open`, `fade` 0..1 (linear in level), since when it is out, and the state that closed it."""

    def __init__(self, count: int) -> None:
        self.open = np.zeros(count, dtype=bool)
        self.fade = np.zeros(count)
        self.closed_s = np.full(count, -np.inf)
        self.reason = np.full(count, State.NO_INPUT, dtype=np.int64)

    @property
    def full(self) -> bool:
        """Whether all gates are open and all fades are over."""
        return bool(self.open.all() and self.fade.min(initial=1.0) >= 1.0)

    def shut(self, where: np.ndarray) -> None:
        """Close at once, without a fade, on an operator's word; may open again as soon as all is well."""
        self.open &= ~where
        self.fade[where] = 0.0
        self.closed_s[where] = -np.inf
        self.reason[where] = State.MOVING

    def blank(self) -> None:
        """Everything dark at once; open gates fade in again afterwards."""
        self.fade[:] = 0.0

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
        self.closed_s[~self.open & (self.fade > 0)] = now_s
