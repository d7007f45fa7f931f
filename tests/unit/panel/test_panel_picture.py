"""A frame for the page, from rows that a bridge has told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bridge.panel.beams import Beams
from bridge.panel.heard import Heard
from bridge.panel.picture import Picture
from bridge.show.load import load
from bridge.show.model import Show
from bridge.wire import osc

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
BRIDGE = ("/feed/bridge", True, False, False, 1.0, 2, 0, 10, 1, 0, 99, False)


@pytest.fixture(scope="module")
def show() -> Show:
    return load(TOUR)


def frame(show: Show, *messages: tuple[Any, ...]) -> dict[str, Any]:
    heard = Heard(lambda news: None, lambda: None)
    heard.take(osc.encode_bundle([osc.encode(*message) for message in (BRIDGE, *messages)]), 1.0, 1e9)
    assert heard.odd == 0
    return Picture(show, Beams(show.fixtures, show.poses, show.stage)).frame(heard, 1.1, False, ["Ann"])


def test_a_target_that_is_led_has_a_point_ahead_and_one_that_stands_has_none(show: Show) -> None:
    stands = ("/feed/target", "lead", 1.0, 2.0, 1.5, True, 20.0)
    assert frame(show, stands)["targets"][0]["ahead"] is None
    led = frame(show, stands, ("/feed/ahead", "lead", 1.25, 2.0, 1.5))
    assert led["targets"][0]["ahead"] == [1.25, 2.0, 1.5]
    ended = frame(show, stands, ("/feed/ahead", "lead", 1.005, 2.0, 1.5))
    assert ended["targets"][0]["ahead"] is None


def test_tracking_inputs_are_in_the_picture(show: Show) -> None:
    assert frame(show)["inputs"] == []
    told = frame(show, ("/feed/input", "tags", "otp", 3, 60.0, 0.5, 12.0, 0, "1/7", "", 4))
    assert told["inputs"][0] == {
        "name": "tags", "protocol": "otp", "points": 3, "rate": 60.0, "jitter": 0.5, "age": 12.0, "framed": 0,
        "followed": "1/7", "lost": "", "refused": 4,
    }  # fmt: skip
