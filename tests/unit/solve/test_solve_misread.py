"""Surveys that were misread as a whole: one fault is told once, and nothing of such a solve is trusted."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Tape
from bridge.solve.calibrate import calibrate
from bridge.solve.readings import FOOT
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = np.array(rigs.FIVE, float)
SYMMETRIC = np.array([*rigs.FIVE[:4], (0.0, 4.0, 0.0)])
FAULTS = {
    "left and right": (lambda m: m * [-1, 1, 1], "mirror"),
    "front and back": (lambda m: m * [1, -1, 1], "mirror"),
    "x and y": (lambda m: m[:, [1, 0, 2]], "mirror"),
    "from the other side": (lambda m: m * [1, -1, 1] + [0, 8, 0], "mirror"),
    "feet": (lambda m: m / FOOT, "feet"),
    "metres": (lambda m: m * FOOT, "feet"),
    "corner": (lambda m: np.stack([-m[:, 1], m[:, 0], m[:, 2]], axis=1), "corner"),
}


def hung(heads, rng, off=0.4, sigma=None):
    """Fixtures with a plot that is `off` metres wrong per axis."""
    more = {} if sigma is None else {"at_sigma": (sigma,) * 3}
    return [
        replace(f, at=tuple(map(float, h.p + off * rng.standard_normal(3))), **more)
        for f, h in zip(rigs.fixtures(heads), heads, strict=True)
    ]


def only(answer):
    """The one suspect of an answer, of which nothing is trusted."""
    assert [s.fixture for s in answer.suspects] == [None]
    assert not any(f.trusted for f in answer.fixtures.values())
    return answer.suspects[0], suspect_words(answer.suspects[0])


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("marks", [2, 4, 5])
@pytest.mark.parametrize("sigma", [None, 0.05])
def test_the_plot_tells_which_way_the_whole_survey_was_misread(fault: str, marks: int, sigma: float | None) -> None:
    rng = np.random.default_rng(marks)
    heads, places = rigs.rig(rng, 9), FIVE[[0, 2, 3, 1, 4][:marks]]
    wrong, word = FAULTS[fault]
    fixtures = hung(heads, rng, sigma or 0.4, sigma)
    suspect, text = only(calibrate(fixtures, rigs.stage(wrong(places)), rigs.sight(rng, heads, places)))
    assert suspect.kind == word
    assert word in text


@pytest.mark.parametrize("fault", ["left and right", "feet"])
def test_beside_a_misread_survey_nothing_is_told_that_only_follows_from_it(fault: str) -> None:
    """No mark far outside, no next mark with a prediction of poses in doubt, no share of the pool."""
    rng = np.random.default_rng(5)
    heads, (wrong, _) = rigs.rig(rng, 9), FAULTS[fault]
    answer = calibrate(hung(heads, rng), rigs.stage(wrong(FIVE)), rigs.sight(rng, heads, FIVE))
    assert answer.next_marks
    assert answer.advice == (suspect_words(answer.suspects[0]),)
    assert answer.notes == ()


@pytest.mark.parametrize("places", [FIVE, SYMMETRIC], ids=["lopsided", "symmetric"])
def test_without_a_plot_a_mirror_and_reversed_pans_are_told_as_one_fault(places) -> None:
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 8)
    suspect, text = only(
        calibrate(rigs.fixtures(heads), rigs.stage(places * [-1, 1, 1]), rigs.sight(rng, heads, places))
    )
    assert (suspect.kind, suspect.sure) == ("mirror", False)
    assert "every pan runs the other way" in text
    assert ("A is really B" in text) is (places is SYMMETRIC)


def test_with_a_plot_reversed_pans_are_not_taken_for_a_mirror() -> None:
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 8)
    turned = [replace(s, pan=-s.pan) for s in rigs.sight(rng, heads, FIVE)]
    suspect, text = only(calibrate(hung(heads, rng), rigs.stage(FIVE), turned))
    assert (suspect.kind, suspect.sure) == ("profile", True)
    assert "every pan runs the other way" in text
    assert "mirror" not in text


def test_feet_show_without_a_plot_where_marks_leave_the_polygon() -> None:
    rng = np.random.default_rng(4)
    heads = rigs.rig(rng, 8)
    suspect, text = only(calibrate(rigs.fixtures(heads), rigs.stage(FIVE / FOOT), rigs.sight(rng, heads, FIVE)))
    assert (suspect.kind, suspect.sure) == ("feet", True)
    assert "0.3048" in text


def test_hands_three_times_as_rough_as_said_are_not_feet() -> None:
    """Marks in the polygon, heads at usual heights: noise alone says nothing of a scale."""
    rng = np.random.default_rng(5)
    heads = rigs.rig(rng, 8)
    answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE), rigs.sight(rng, heads, FIVE, hand=0.1))
    assert "feet" not in [s.kind for s in answer.suspects]


@pytest.mark.parametrize("seed", range(12))
def test_a_sound_show_raises_no_doubt_of_its_survey(seed: int) -> None:
    """Symmetric layouts, plots up to a metre off, tapes: nothing is misread."""
    rng = np.random.default_rng(seed)
    heads, places = rigs.rig(rng, 6), (FIVE, SYMMETRIC, FIVE[:4], FIVE[:2])[seed % 4]
    tapes = tuple(
        Tape(
            (rigs.NAMES[a], rigs.NAMES[b]), float(np.linalg.norm(places[a] - places[b]) + 0.01 * rng.standard_normal())
        )
        for a, b in ((0, 1), (0, len(places) - 1))[: len(places) - 1]
    )
    survey = places + 0.01 * rng.standard_normal(places.shape)
    fixtures = hung(heads, rng, (0.1, 0.7)[seed // 4 % 2]) if seed < 8 else rigs.fixtures(heads)
    answer = calibrate(fixtures, rigs.stage(survey, tapes=tapes), rigs.sight(rng, heads, places))
    assert answer.trusted, [suspect_words(s) for s in answer.suspects]
