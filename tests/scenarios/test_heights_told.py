"""`outside` alone sends people to look at the wrong thing: what is outside only by its height is told so."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.mark.parametrize(("z", "words"), [(5.5, "too high"), (-1.25, "too low")])
def test_a_target_that_is_outside_only_by_its_height_is_told_so(bridge: Any, z: float, words: str) -> None:
    bridge.stand(1.0, 3.0, z)
    assert not bridge.frame.level.any()
    faults = bridge.engine.place.height_faults()
    assert set(faults) == {"lead"}
    assert words in faults["lead"]
    assert f"{z:.2f} m" in faults["lead"]


def test_a_height_that_was_set_too_high_is_told(bridge: Any) -> None:
    bridge.say("/target/lead/height", 4.5)
    bridge.stand(1.0, 3.0)
    assert "too high: it is lit at 4.50 m, and 4 m is the highest" in bridge.engine.place.height_faults()["lead"]


@pytest.mark.parametrize("place", [(1.0, 3.0), (60.0, -40.0), (60.0, -40.0, 9.0)])
def test_who_is_inside_or_beside_the_area_is_neither(bridge: Any, place: tuple[float, ...]) -> None:
    bridge.stand(*place)
    assert bridge.engine.place.height_faults() == {}


def test_an_area_that_is_off_allows_nothing_and_is_not_named(bridge: Any) -> None:
    bridge.stand(0.0, -1.5, 5.5)
    assert bridge.engine.place.height_faults() == {}
    bridge.say("/area/thrust", 1)
    bridge.stand(0.0, -1.5, 5.5)
    assert "thrust allows" in bridge.engine.place.height_faults()["lead"]
