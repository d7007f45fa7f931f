"""Who is behind: off by a quarter of the spot, until it is a fifth; only who follows and whose motors trail."""

from typing import Any

import numpy as np

from bridge.follow.keeping import Roster, Seats
from bridge.follow.moving.jumps import Jumps

FOLLOWS, SIZE = np.zeros(1, dtype=np.intp), np.array([2.0])
YES, NO = np.array([True]), np.array([False])
ROSTER = Roster(("a",), ("lead",))


def following() -> Jumps:
    """One head that has arrived, and follows."""
    jumps = Jumps(1, 1, 0.6)
    look(jumps, 0.0, 100.0)
    return jumps


def look(jumps: Jumps, miss_m: float, now_s: float, trailing: Any = YES) -> bool:
    miss = np.array([miss_m])
    jumps.update(miss, SIZE, np.array([0.1]), YES, FOLLOWS, now_s)
    jumps.note_behind(miss, SIZE, trailing, FOLLOWS)
    return bool(jumps.behind[0])


def test_the_word_does_not_flicker_at_its_bound() -> None:
    jumps = following()
    misses = [0.3, 0.49, 0.51, 0.49, 0.51, 0.41, 0.49, 0.39, 0.41, 0.49, 0.51, 0.0]
    said = [look(jumps, miss, 101.0 + number) for number, miss in enumerate(misses)]
    assert said == [False, False, True, True, True, True, True, False, False, False, True, False]


def test_a_beam_beside_its_point_whose_motors_are_where_they_belong_is_not_behind() -> None:
    jumps = following()  # as one that a guide points, with a trim
    assert not look(jumps, 0.9, 101.0, NO)
    assert look(jumps, 0.9, 102.0)
    assert not look(jumps, 0.9, 103.0, NO)


def test_who_is_on_its_way_in_the_dark_is_not_behind() -> None:
    jumps = following()
    assert look(jumps, 0.9, 101.0)
    jumps.leave(YES, in_the_dark=True)
    assert not look(jumps, 0.9, 102.0)


def test_a_file_that_says_both_that_all_is_steady_and_somebody_behind_is_not_believed() -> None:
    jumps, other = following(), Jumps(1, 1, 0.6)
    other.restore(jumps.state() | {"behind": [True]}, Seats(ROSTER.state(), ROSTER))
    assert other.steady
    assert not other.behind.any()
