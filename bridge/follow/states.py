"""The states of a fixture, in the order in which one hides the next (design/interface.md)."""

from __future__ import annotations

from enum import IntEnum

import numpy as np


class State(IntEnum):
    """A lower number hides a higher one."""

    STILL = 0
    DARK = 1
    OUT = 2
    SIGHTING = 3
    UNSOLVED = 4
    NO_LIGHT = 5
    TOO_NEAR = 6
    OUT_OF_REACH = 7
    OUTSIDE = 8
    NO_INPUT = 9
    MOVING = 10
    LIMIT = 11
    HELD = 12
    LIT = 13

    @property
    def word(self) -> str:
        """The state as it is written on the wire and on screens."""
        return self.name.lower().replace("_", "-")


WORDS = tuple(state.word for state in State)
CLOSING = tuple(State(number) for number in range(State.NO_LIGHT, State.MOVING + 1))


class Conditions:
    """What holds for each of N heads, one row per State; closing ones (CLOSING) close its gate."""

    def __init__(self, heads: int) -> None:
        self._holds = np.zeros((len(State), heads), dtype=bool)
        self._holds[State.LIT] = True
        self._closes = np.zeros((len(CLOSING), heads), dtype=bool)

    def set(self, state: State, holds: np.ndarray | bool, closes: np.ndarray | None = None) -> None:
        """Note a condition; a closing one closes gates where it holds, or where `closes` says."""
        self._holds[state] = holds
        if state in CLOSING:
            self._closes[state - CLOSING[0]] = holds if closes is None else closes

    def __getitem__(self, state: State) -> np.ndarray:
        return self._holds[state]

    @property
    def bad(self) -> np.ndarray:
        """Heads (N,) whose gate must be closed."""
        return np.asarray(self._closes.any(axis=0))

    @property
    def reason(self) -> np.ndarray:
        """The first State (N,) that closes each gate; only of use where `bad`."""
        return self._closes.argmax(axis=0) + int(CLOSING[0])

    def states(self, gate_open: np.ndarray, gate_reason: np.ndarray) -> np.ndarray:
        """The State (N,) to show: the first that holds; where all is well but a gate is still shut, what shut it."""
        shown = self._holds.argmax(axis=0)
        return np.where((shown >= State.LIMIT) & (shown != State.HELD) & ~gate_open, gate_reason, shown)
