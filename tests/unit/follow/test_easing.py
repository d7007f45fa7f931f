"""The slow way to new poses ends, whatever a damaged file says of its end."""

import math

import numpy as np
import pytest

from bridge.follow.keeping import Roster, Seats
from bridge.follow.moving.motors import EASE_S, Easing

ROSTER = Roster(("a", "b"), ("lead",))


def test_an_offset_is_taken_back_evenly_until_nothing_is_left() -> None:
    easing, goal = Easing(2), np.zeros((2, 2))
    assert easing.over(10.0)
    easing.begin(np.array([[0.4, 0.0], [0.0, -0.8]]), 10.0)
    assert not easing.over(10.0)
    np.testing.assert_allclose(easing.apply(goal, 10.0), [[0.4, 0.0], [0.0, -0.8]])
    np.testing.assert_allclose(easing.apply(goal, 10.0 + EASE_S / 2), [[0.2, 0.0], [0.0, -0.4]])
    assert easing.over(10.0 + EASE_S)


@pytest.mark.parametrize("until_s", [math.nan, math.inf, -math.inf, 1e300])
def test_an_end_that_no_beginning_has_set_is_none(until_s: float) -> None:
    easing, fresh = Easing(2), Easing(2)
    easing.begin(np.ones((2, 2)), 10.0)
    fresh.restore({**easing.state(), "_until_s": until_s}, Seats(ROSTER.state(), ROSTER))
    assert fresh.over(10.5)
    assert (fresh.apply(np.zeros((2, 2)), 10.5) == 0.0).all()
