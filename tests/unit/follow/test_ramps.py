"""Values on their way, and what a damaged file makes of them."""

import math
import warnings

import numpy as np
import pytest

from bridge.follow.keeping import Roster, Seats
from bridge.follow.ramps import Ramps

ROSTER = Roster(("a", "b"), ("lead",))


def test_one_value_on_its_way_beside_one_that_never_moved_is_reckoned_without_a_warning() -> None:
    """A warning of numpy would go to standard error by itself, from within the loop."""
    ramps = Ramps(np.array([1.0, 0.25]))
    ramps.set(0, 0.5, 10.0, 2.0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert [ramps.at(now_s).tolist() for now_s in (10.0, 11.0, 12.0)] == [[1.0, 0.25], [0.75, 0.25], [0.5, 0.25]]


@pytest.mark.parametrize("name", ["begin_s", "end_s"])
@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_way_without_a_beginning_or_an_end_is_over(name: str, value: float) -> None:
    ramps = Ramps(np.array([1.0, 0.25]), "heads")
    ramps.set(0, 0.5, 10.0, 2.0)
    state = ramps.state()
    state[name][0] = value
    fresh = Ramps(np.array([1.0, 1.0]), "heads")
    fresh.restore(state, Seats(ROSTER.state(), ROSTER))
    assert fresh.at(11.0).tolist() == [0.5, 0.25]
