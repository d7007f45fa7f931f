"""A no-light area ends at the lowest floor; where a floor is moved live, so is that end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Area, Floor

CORNERS = ((-3.0, 0.0), (3.0, 0.0), (3.0, 3.0), (-3.0, 3.0))
PLACE = (0.0, 1.5, 0.0)


@pytest.fixture
def pit(make_bridge: Callable[..., Any]) -> Any:
    """An orchestra pit, its lift up at stage level, with music stands that no light may reach."""
    pit = make_bridge(floors=(Floor("pit", CORNERS, 0.0),), no_light=(Area("stands", CORNERS, (-3.0, -0.5)),))
    pit.stand(*PLACE)
    pit.assert_lit(PLACE)
    return pit


def test_a_floor_that_sinks_uncovers_the_area_and_one_that_rises_covers_it(pit: Any) -> None:
    pit.say("/floor/pit", -2.5)
    pit.stand(*PLACE)
    pit.assert_dark("no-light")
    pit.say("/floor/pit", 0.0)
    pit.stand(*PLACE)
    pit.assert_lit(PLACE)


def test_a_state_that_was_kept_has_the_area_as_the_floor_stood(pit: Any) -> None:
    pit.say("/floor/pit", -2.5)
    pit.stand(*PLACE)
    state = pit.engine.state()
    pit.say("/floor/pit", 0.0)
    pit.stand(*PLACE)
    pit.engine.restore(state)
    pit.engine.tick(pit.now_s + 0.1)
    assert not np.any(pit.engine.frame.level)
    pit.begin_tape()


def test_while_no_floor_moves_nothing_is_made_anew(pit: Any) -> None:
    prisms = pit.engine.judge._no_light._prisms
    pit.stand(*PLACE)
    assert pit.engine.judge._no_light._prisms is prisms
