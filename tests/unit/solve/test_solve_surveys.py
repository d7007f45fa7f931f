"""What all heads share: travels of a profile, tapes, heights and the scale; told once, and no sighting is blamed."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Datum, Mark, Tape
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.contradictions import height_test, tape_test
from bridge.solve.fit import fit_case
from bridge.solve.result import Lifted, Resized, SharedRange, Taped
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = np.array(rigs.FIVE, float)
PAIRS = ((0, 1), (0, 2), (1, 3), (2, 4))


def tapes_of(rng, places, wrong: int | None = None, by: float = 0.5, pairs=PAIRS):
    """Tapes good to a centimetre, one of them `by` metres wrong."""
    return tuple(
        Tape(
            (rigs.NAMES[a], rigs.NAMES[b]),
            float(np.linalg.norm(places[a] - places[b]) + rng.normal(0, 0.01) + (by if k == wrong else 0.0)),
        )
        for k, (a, b) in enumerate(pairs)
    )


def untrusted(answer):
    """The first suspect of an answer of which nothing is trusted and no head is blamed."""
    assert all(s.fixture is None for s in answer.suspects), [suspect_words(s) for s in answer.suspects]
    assert not any(f.trusted for f in answer.fixtures.values())
    return answer.suspects[0], suspect_words(answer.suspects[0])


def with_profile(fixtures, name: str, every: int):
    """Every so many fixtures get a profile of that name."""
    return [replace(f, profile=replace(f.profile, name=name)) if i % every else f for i, f in enumerate(fixtures)]


@pytest.mark.parametrize(("axis", "factor"), [("pan", 537 / 540), ("pan", 630 / 540), ("pan", -1.0), ("tilt", 1.12)])
def test_a_travel_that_all_heads_of_a_type_share_is_told_once(axis: str, factor: float) -> None:
    """Six heads of nine; the other type is sound, so reversed pans are no mirror."""
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 9)
    fixtures = with_profile(rigs.fixtures(heads), "sort two", 3)
    odd = {f.name for f in fixtures if f.profile.name == "sort two"}
    seen = [
        replace(s, **{axis: getattr(s, axis) / factor}) if s.fixture in odd else s for s in rigs.sight(rng, heads, FIVE)
    ]
    answer = calibrate(fixtures, rigs.stage(FIVE), seen)
    suspect, text = untrusted(answer)
    assert len(answer.suspects) == 1
    assert isinstance(suspect.detail, SharedRange)
    assert (suspect.detail.profile, suspect.detail.axis, suspect.detail.heads) == ("sort two", axis, 6)
    assert suspect.detail.factor == pytest.approx(factor, abs=0.002 if axis == "pan" else 0.02)
    assert "all 6 of type sort two" in text


def test_one_head_of_a_type_does_not_speak_for_all() -> None:
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 6)
    seen = [replace(s, pan=s.pan * 0.9) if s.fixture == "h1" else s for s in rigs.sight(rng, heads, FIVE)]
    suspects = calibrate(rigs.fixtures(heads), rigs.stage(FIVE), seen).suspects
    assert {s.fixture for s in suspects} == {"h1"}


@pytest.mark.parametrize("surveyed", [True, False])
@pytest.mark.parametrize("wrong", range(4))
def test_a_wrong_tape_is_named_and_no_sighting_is(wrong: int, surveyed: bool) -> None:
    rng = np.random.default_rng(wrong)
    heads = rigs.rig(rng, 9)
    marks = FIVE if surveyed else [Mark(n, None, height=0.0) for n in "ABCDE"]
    more = {} if surveyed else {"datum": Datum("A", "B")}
    place = rigs.stage(marks, tapes=tapes_of(rng, FIVE, wrong), **more)
    suspect, text = untrusted(calibrate(rigs.fixtures(heads), place, rigs.sight(rng, heads, FIVE)))
    ends = tuple(rigs.NAMES[k] for k in PAIRS[wrong])
    assert (suspect.kind, {suspect.mark, suspect.instead}, suspect.sure) == ("tape", set(ends), True)
    assert isinstance(suspect.detail, Taped)
    assert suspect.detail.said - suspect.detail.seen == pytest.approx(0.5, abs=0.08)
    assert text.startswith(f"the tape between {ends[0]} and {ends[1]} seems to be wrong by ")


@pytest.mark.parametrize("mark", range(5))
def test_a_mark_on_a_riser_is_told_by_its_height(mark: int) -> None:
    rng = np.random.default_rng(mark)
    heads, places = rigs.rig(rng, 9), FIVE.copy()
    places[mark, 2] = 0.4
    answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE), rigs.sight(rng, heads, places))
    suspect, text = untrusted(answer)
    assert (suspect.kind, suspect.mark) == ("mark", rigs.NAMES[mark])
    assert isinstance(suspect.detail, Lifted)
    assert suspect.detail.seen == pytest.approx(0.4, abs=0.1)
    assert "riser" in text


def hung(heads, rng, off: float, sigma: float | None = None):
    more = {} if sigma is None else {"at_sigma": (sigma,) * 3}
    return [
        replace(f, at=tuple(map(float, h.p + off * rng.standard_normal(3))), **more)
        for f, h in zip(rigs.fixtures(heads), heads, strict=True)
    ]


@pytest.mark.parametrize(
    ("off", "sigma", "taped", "words"),
    [
        (None, None, True, "nothing else decides"),
        (0.1, None, True, "the survey seems stretched"),
        (0.08, None, False, "the marks or the plot seem stretched"),
        (0.05, 0.05, False, "the marks or the plot seem stretched"),
    ],
    ids=["tapes alone", "tapes and plot", "a rough plot", "at_sigma"],
)
def test_a_survey_stretched_by_two_percent_is_told_by_what_knows_lengths(off, sigma, taped, words) -> None:
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 12)
    fixtures = rigs.fixtures(heads) if off is None else hung(heads, rng, off, sigma)
    more = {"tapes": tapes_of(rng, FIVE)} if taped else {}
    answer = calibrate(fixtures, rigs.stage(FIVE * 1.02, **more), rigs.sight(rng, heads, FIVE))
    suspect, text = untrusted(answer)
    assert len(answer.suspects) == 1
    assert suspect.kind == "scale"
    assert isinstance(suspect.detail, Resized)
    assert suspect.detail.scale == pytest.approx(1 / 1.02, abs=0.007)
    assert "scale" in text
    assert words in text


def test_tapes_stretched_by_two_percent_are_told_where_the_plot_agrees_with_the_marks() -> None:
    rng = np.random.default_rng(4)
    heads = rigs.rig(rng, 12)
    tapes = tuple(replace(t, metres=t.metres * 1.02) for t in tapes_of(rng, FIVE))
    place = rigs.stage(FIVE, tapes=tapes)
    suspect, text = untrusted(calibrate(hung(heads, rng, 0.1), place, rigs.sight(rng, heads, FIVE)))
    assert (suspect.kind, suspect.sure) == ("scale", True)
    assert "the tapes seem stretched" in text


def test_a_plot_in_another_frame_says_nothing_of_the_scale() -> None:
    """Moved and turned as a whole by a few degrees, still to scale."""
    rng = np.random.default_rng(5)
    heads = rigs.rig(rng, 12)
    turn = rigs.rz(np.radians(4.0))
    fixtures = [replace(f, at=tuple(turn @ np.array(f.at) + [0.4, 0.3, 0.2])) for f in hung(heads, rng, 0.05)]
    assert calibrate(fixtures, rigs.stage(FIVE), rigs.sight(rng, heads, FIVE)).trusted


def test_tests_of_heights_and_tapes_are_what_freeing_each_brings() -> None:
    """Deletion: the statistic is the chi-squared that freeing that one measurement takes away."""
    rng = np.random.default_rng(6)
    heads, places = rigs.rig(rng, 6), FIVE.copy()
    places[1, 2] = 0.08
    place = rigs.stage(FIVE, tapes=tapes_of(rng, FIVE, 2, by=0.06))
    case = build_case(rigs.fixtures(heads), place, rigs.sight(rng, heads, places))
    fit = fit_case(case, place)
    heights, tapes = height_test(fit.case, fit.joint), tape_test(fit.case, fit.joint)
    for k, expected in enumerate(tapes):
        weight = case.border.tape_weight.copy()
        weight[k] = 1e-3
        freed = fit_case(replace(case, border=replace(case.border, tape_weight=weight)), place)
        assert expected == pytest.approx(fit.joint.chi2 - freed.joint.chi2, rel=0.05, abs=0.02)
    for mark, expected in enumerate(heights):
        weight = case.border.point_weight.copy()
        weight[mark, 2] = 1e-3
        freed = fit_case(replace(case, border=replace(case.border, point_weight=weight)), place)
        assert expected == pytest.approx(fit.joint.chi2 - freed.joint.chi2, rel=0.05, abs=0.02)
    assert np.argmax(tapes) == 2
