"""/sight/FIXTURE/near MARK: "aim near the mark by the best pose known, solved or from the plot"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

MARK_E = np.array([0.5, 4.0, 0.0])  # tests/conftest.py


def changed(**of_foh_1: Any) -> Callable[[Any], Any]:
    """foh-1 with other fields; "pose": None takes its pose."""
    pose = of_foh_1.pop("pose", True)

    def change(made: Any) -> Any:
        first, *rest = made.fixtures
        poses = {name: p for name, p in made.poses.items() if pose or name != "foh-1"}
        return replace(made, fixtures=(replace(first, **of_foh_1), *rest), poses=poses)

    return change


def test_a_solved_head_puts_its_beam_on_the_mark(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    for name in ("foh-1", "mid-3", "back-2"):
        bridge.say(f"/sight/{name}/near", "E")
    bridge.run(3.0, lambda _: bridge.say("/target/lead/alive"))
    where = [bridge.number(name) for name in ("foh-1", "mid-3", "back-2")]
    assert bridge.misses(MARK_E)[where].max() < 1e-6
    assert {bridge.state(name) for name in ("foh-1", "mid-3", "back-2")} == {"sighting"}
    np.testing.assert_allclose(bridge.frame.level[where], 0.2)


def test_a_nudge_starts_from_there(bridge: Any) -> None:
    bridge.say("/sight/foh-1/near", "E")
    bridge.say("/sight/foh-1/nudge", 0.5, 0.0)
    bridge.run(3.0)
    assert 0.02 < bridge.misses(MARK_E)[0] < 0.2


def test_an_unsolved_head_goes_by_the_plot(make_bridge: Callable[..., Any]) -> None:
    """Hanging level and unturned at its place: pan turns left of upstage, tilt from straight down (conventions.md)."""
    bridge = make_bridge(change=changed(pose=None))
    bridge.say("/sight/foh-1/near", "E")
    bridge.run(3.0)
    dx, dy, dz = MARK_E - np.array(bridge.door.show.fixtures[0].at)
    pan, tilt = np.degrees(np.arctan2(-dx, dy)), np.degrees(np.arctan2(np.hypot(dx, dy), -dz))
    assert bridge.angles("foh-1") == (pytest.approx(pan), pytest.approx(tilt))
    assert bridge.level("foh-1") == pytest.approx(0.2)


def test_it_takes_the_face_and_turn_that_are_nearest(bridge: Any) -> None:
    bridge.say("/sight/foh-1/near", "E")
    bridge.run(3.0)
    pan, tilt = bridge.angles("foh-1")
    bridge.say("/sight/foh-1/point", pan + 180.0 if pan < 0 else pan - 180.0, -tilt)
    bridge.run(4.0)
    bridge.say("/sight/foh-1/near", "E")
    bridge.run(3.0)
    assert np.sign(bridge.angles("foh-1")[1]) == -np.sign(tilt), "it stays on the other face"
    assert bridge.misses(MARK_E)[0] < 1e-6


@pytest.mark.parametrize(
    ("change", "args", "reason"),
    [
        ({"pose": None, "at": None}, ("E",), "unsolved"),
        ({"tilt_limits": (-5.0, 5.0)}, ("E",), "out-of-reach"),
        ({"pose": None, "tilt_limits": (-5.0, 5.0)}, ("E",), "out-of-reach"),
        ({}, ("Z",), "unknown-name"),
        ({}, (), "arguments"),
        ({}, (1.5,), "arguments"),
    ],
)
def test_where_it_cannot_be_it_is_refused_and_the_head_goes_on(
    make_bridge: Callable[..., Any], change: dict[str, Any], args: tuple[Any, ...], reason: str
) -> None:
    bridge = make_bridge(change=changed(**change))
    assert bridge.refused("/sight/foh-1/near", *args).reason == reason
    bridge.run(0.5)
    assert bridge.state("foh-1") != "sighting"


def test_a_head_that_is_still_does_not_go(bridge: Any) -> None:
    bridge.say("/fixture/foh-1/still", 1)
    assert bridge.refused("/sight/foh-1/near", "E").reason == "still"
