"""The states of a fixture, in the order in which one hides the next (design/interface.md)."""

from __future__ import annotations

import numpy as np


class State:
    """Numbers of the states; a lower one hides a higher. Plain ints: they index arrays in every frame."""

    STILL, DARK, DESK, OUT, SIGHTING, UNSOLVED, NO_LIGHT, TOO_NEAR = range(8)
    OUT_OF_REACH, OUTSIDE, NO_INPUT, MOVING, LIMIT, HELD, LIT = range(8, 15)


WORDS = (
    *("still", "dark", "desk", "out", "sighting", "unsolved", "no-light", "too-near"),
    *("out-of-reach", "outside", "no-input", "moving", "limit", "held", "lit"),
)
CLOSING = range(State.NO_LIGHT, State.MOVING + 1)


class Conditions:
    """What holds for each of N heads, one row per state; closing ones (CLOSING) close its gate.

    `anything` is False as long as no condition has been set: all is well with all heads.
    """

    def __init__(self, heads: int) -> None:
        self._holds = np.zeros((len(WORDS), heads), dtype=bool)
        self._holds[State.LIT] = True
        self._closes = np.zeros((len(CLOSING), heads), dtype=bool)
        self.anything = False
        self._all_lit = np.full(heads, State.LIT)

    def set(self, state: int, holds: np.ndarray | bool, closes: np.ndarray | None = None) -> None:
        """Note a condition; a closing one closes gates where it holds, or where `closes` says."""
        self.anything = True
        self._holds[state] = holds
        if state in CLOSING:
            self._closes[state - CLOSING[0]] = holds if closes is None else closes

    def __getitem__(self, state: int) -> np.ndarray:
        return self._holds[state]

    @property
    def bad(self) -> np.ndarray:
        """Heads (N,) whose gate must be closed."""
        return np.asarray(self._closes.any(axis=0))

    @property
    def reason(self) -> np.ndarray:
        """The first State (N,) that closes each gate; only of use where `bad`."""
        return self._closes.argmax(axis=0) + CLOSING[0]

    def states(self, gate_open: np.ndarray, gate_reason: np.ndarray) -> np.ndarray:
        """The State (N,) to show: the first that holds; what shut a gate where that is still shut and well."""
        if not self.anything and gate_open.all():
            return self._all_lit
        shown = self._holds.argmax(axis=0)
        closes = (shown < State.MOVING) | ((shown == State.MOVING) & self._closes[State.MOVING - CLOSING[0]])
        return np.where(closes | (shown == State.HELD) | gate_open, shown, gate_reason)
