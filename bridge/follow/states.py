"""The states of a fixture, in the order in which one hides the next (design/interface.md)."""

from __future__ import annotations

from enum import IntEnum


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
