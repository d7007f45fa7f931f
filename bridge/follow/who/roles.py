"""One role for every head in a frame: what it does, and at whose word. Derived here, and nowhere else."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Role:
    """Numbers of the roles; of several that hold for a head, the lowest is the one it has."""

    STILL, DESK, OUT, FOUND, BY_HAND, UNSOLVED, WALKED, HELD, FOLLOWS = range(9)


class Cast(NamedTuple):
    """Who does what in a frame: `role` (N,) of Role and the same as masks (N,).

    `desk`: in the desk's hands; `changing`: those that are on their way there (None: nobody is, without a desk).
    `aims`: goes where an aim of its own says (follows, or walked). `switched`: a check walk has begun or ended with
    this frame. `usual`: there is nothing unusual about this frame, because every head follows a target, and none of
    them nobody; whatever is done only for others may be passed over.
    """

    role: np.ndarray
    still: np.ndarray
    desk: np.ndarray
    out: np.ndarray
    found: np.ndarray
    by_hand: np.ndarray
    unsolved: np.ndarray
    held: np.ndarray
    aims: np.ndarray
    usual: bool
    walking: bool
    switched: bool
    changing: np.ndarray | None


def cast(
    holds: dict[int, np.ndarray],
    count: int,
    walking: bool,
    switched: bool,
    short_ways: bool = True,
    changing: np.ndarray | None = None,
) -> Cast:
    """The roles of `count` heads. `holds` says by Role for whom (N,) it is asked; who is left over follows.

    `short_ways` off: no frame is taken for a usual one, and all must come to the same (tests/scenarios).
    """
    role = np.full(count, Role.WALKED if walking else Role.FOLLOWS)
    for number in sorted(holds, reverse=True):
        if not (walking and number == Role.HELD):  # a walk takes held heads along
            role[holds[number]] = number
    masks = {number: role == number for number in range(9)}
    return Cast(
        role,
        masks[Role.STILL],
        masks[Role.DESK],
        masks[Role.OUT],
        masks[Role.FOUND],
        masks[Role.BY_HAND],
        masks[Role.UNSOLVED],
        masks[Role.HELD],
        masks[Role.FOLLOWS] | masks[Role.WALKED],
        short_ways and bool(masks[Role.FOLLOWS].all()),
        walking,
        switched,
        changing,
    )
