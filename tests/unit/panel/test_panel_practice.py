"""The score of a hand: paths made by hand, so that every figure is known beforehand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bridge.panel.practice import Score
from bridge.venue.walks import walk

CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))


def scored(delay_s: float, offset_m: float = 0.0, kind: str = "stroll", seed: int = 5) -> dict[str, float | None]:
    """A performer told 33 times a second, and a hand that is where it was `delay_s` ago, `offset_m` aside, 30 times."""
    path, score = walk(kind, CORNERS, 25.0, seed), Score()
    for t in np.arange(2.0, 22.0, 0.03):
        score.performer(float(t), *path.at(float(t)))
    for t in np.arange(2.0, 22.0, 1 / 30):
        x, y = path.at(float(t) - delay_s)
        score.hand(float(t), x + offset_m, y, 2.0)
    return score.figures()


@pytest.mark.parametrize("delay_s", [0.0, 0.1, 0.237, 0.6, 1.1])
def test_the_delay_of_a_late_hand_is_found(delay_s: float) -> None:
    for seed in range(5):
        found = scored(delay_s, seed=seed)["delay"]
        assert found is not None
        assert found == pytest.approx(delay_s, abs=0.02), f"seed {seed}"


def test_a_hand_aside_shows_its_distance_and_no_delay() -> None:
    found = scored(0.0, offset_m=0.4)
    assert found["rms"] == pytest.approx(0.4, abs=0.01)
    assert found["share"] == 1.0
    assert found["delay"] == pytest.approx(0.0, abs=0.02)


def test_a_performer_outside_the_pool_counts_against_the_share() -> None:
    assert scored(0.0, offset_m=1.2)["share"] == 0.0


def test_a_standing_performer_tells_no_delay() -> None:
    score = Score()
    for k in range(200):
        score.performer(k * 0.03, 1.0, 2.0)
        score.hand(k * 0.03, 1.0, 2.0 + 0.3 * math.sin(k), 2.0)
    assert score.figures()["delay"] is None


def test_the_beginning_has_no_figures() -> None:
    score = Score()
    assert score.figures()["rms"] is None
    for k in range(20):
        score.performer(k * 0.03, 0.0, 0.0)
        score.hand(k * 0.03, 0.0, 0.0, 2.0)
    assert score.figures()["rms"] is None
