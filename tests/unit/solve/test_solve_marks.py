"""Marks: what is known of each, first places for those nobody surveyed, and where the next ones help."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.errors import ShowError
from bridge.geometry.stage import Datum, Mark, Tape
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.relabel import symmetric_orders
from bridge.solve.shape import first_marks
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE
PLACES = np.array([(0, 0, 0), (11, 0, 0), (11, 7, 0), (0.5, 7.5, 0), (5, 4, 0)], float)


def exact(count: int = 3):
    """Level heads and sightings without noise: the first places must be exact."""
    rng = np.random.default_rng(6)
    heads = rigs.rig(rng, count, level_deg=0.0)
    return heads, rigs.sight(rng, heads, PLACES, hand=0.0)


def unknown(names: str, height: float | None = 0.0):
    return [Mark(n, None, height=height) for n in names]


def tape(a, b, p, q):
    return Tape((a, b), float(np.linalg.norm(np.subtract(p, q))))


@pytest.mark.parametrize("known", ["tape", "tape to a head", "heights of heads", "two marks", "mark and tape", "plot"])
def test_first_places_are_exact_without_noise(known: str) -> None:
    heads, seen = exact()
    fixtures, marks, more = rigs.fixtures(heads), unknown("ABCDE"), {"datum": Datum("A", "B")}
    if known == "tape":
        more["tapes"] = (tape("B", "D", PLACES[1], PLACES[3]),)
    elif known == "tape to a head":
        more["tapes"] = (tape("C", "h1", PLACES[2], heads[1].p),)
    elif known == "heights of heads":
        fixtures = [replace(f, at=tuple(h.p), at_sigma=(9.0, 9.0, 0.05)) for f, h in zip(fixtures, heads, strict=True)]
    elif known == "two marks":
        marks, more = [Mark("A", tuple(PLACES[0])), Mark("B", tuple(PLACES[1])), *unknown("CDE")], {}
    elif known == "mark and tape":
        fixtures = [
            replace(f, at=tuple(h.p), at_sigma=(0.05, 0.05, 0.05)) for f, h in zip(fixtures, heads, strict=True)
        ]
        marks, more = (
            [Mark("A", tuple(PLACES[0])), *unknown("BCDE")],
            {"tapes": (tape("B", "D", PLACES[1], PLACES[3]),)},
        )
    else:
        fixtures = [
            replace(f, at=tuple(h.p), at_sigma=(0.05, 0.05, 0.05)) for f, h in zip(fixtures, heads, strict=True)
        ]
        more = {}
    place = rigs.stage(marks, **more)
    found = first_marks(build_case(fixtures, place, seen), place)
    assert found[:5] == pytest.approx(PLACES, abs=1e-5)
    if known == "tape to a head":
        assert found[5] == pytest.approx(heads[1].p, abs=1e-5)


def test_a_tape_that_climbs_is_read_on_the_slope() -> None:
    """From a mark on the floor to one on a riser: the length in plan is the root of what is left."""
    heads, _ = exact()
    places = PLACES.copy()
    places[3, 2] = 2.0
    seen = rigs.sight(np.random.default_rng(1), heads, places, hand=0.0)
    marks = [*unknown("ABC"), *unknown("D", 2.0), *unknown("E")]
    answer = calibrate(
        rigs.fixtures(heads),
        rigs.stage(marks, datum=Datum("A", "B"), tapes=(tape("B", "D", places[1], places[3]),)),
        seen,
    )
    for name, at in zip("ABCDE", places, strict=True):
        assert answer.marks[name] == pytest.approx(at, abs=0.01)


def test_a_wrong_sighting_bends_no_mark_that_nobody_surveyed() -> None:
    """The head that does not fit the marks of the others is left out, and the marks stay."""
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 5)
    good = rigs.sight(rng, heads, PLACES, hand=0.01)
    wrong = [replace(s, tilt=s.tilt + 6) if (s.fixture, s.mark) == ("h1", "C") else s for s in good]
    ends = ((0, 1), (0, 2), (1, 3))
    tapes = tuple(tape(rigs.NAMES[a], rigs.NAMES[b], PLACES[a], PLACES[b]) for a, b in ends)
    place = rigs.stage(unknown("ABCDE"), datum=Datum("A", "B"), tapes=tapes)
    answer = calibrate(rigs.fixtures(heads), place, wrong)
    assert [(s.fixture, s.mark) for s in answer.suspects] == [("h1", "C")]
    plain = calibrate(rigs.fixtures(heads), place, good)
    for name in "ABCDE":
        assert answer.marks[name] == pytest.approx(plain.marks[name], abs=0.01)


def test_a_mark_of_unknown_height_is_found_and_one_of_known_height_held() -> None:
    rng = np.random.default_rng(5)
    heads = rigs.rig(rng, 6, level_deg=0.3)
    places = [*FIVE[:4], (-1, 4.5, 0.4)]
    seen = rigs.sight(rng, heads, places, hand=0.005)
    for height, expected, within in ((None, 0.4, 0.03), (0.39, 0.39, 0.012)):
        mark = Mark("E", None, height=height, height_sigma=0.002)
        answer = calibrate(rigs.fixtures(heads), rigs.stage([*FIVE[:4], mark]), seen)
        assert answer.marks["E"][2] == pytest.approx(expected, abs=within)


def test_a_tape_to_a_fixture_holds_its_axis_point() -> None:
    """Two marks and a hand of 3 cm leave the place to decimetres; the tape says how far it is from mark A."""
    rng = np.random.default_rng(8)
    heads = rigs.rig(rng, 3)
    seen = rigs.sight(rng, heads, FIVE[:2])
    tapes = (Tape(("A", "h1"), float(np.linalg.norm(heads[1].p - FIVE[0])), 0.002),)
    off = []
    for place in (rigs.stage(FIVE[:2]), rigs.stage(FIVE[:2], tapes=tapes)):
        found = calibrate(rigs.fixtures(heads), place, seen)
        reach = np.linalg.norm(np.subtract(found.fixtures["h1"].position, found.marks["A"]))
        off.append(abs(reach - tapes[0].metres))
    assert off[0] > 0.05
    assert off[1] < 0.004


def test_a_mark_that_only_a_tape_knows_is_as_good_as_unknown() -> None:
    heads, seen = exact()
    marks = [*(Mark(n, tuple(at)) for n, at in zip("ABCDE", PLACES.tolist(), strict=True)), *unknown("F")]
    place = rigs.stage(marks, tapes=(Tape(("A", "F"), 3.0),))
    answer = calibrate(rigs.fixtures(heads), place, seen)
    assert answer.mark_sigma["F"] > 10
    assert answer.mark_sigma["A"] < 0.01


def test_a_datum_is_exact_by_definition() -> None:
    heads, seen = exact()
    place = rigs.stage(unknown("ABCDE"), datum=Datum("A", "B"), tapes=(tape("A", "B", PLACES[0], PLACES[1]),))
    answer = calibrate(rigs.fixtures(heads), place, seen)
    assert answer.mark_sigma["A"] < 1e-4
    assert 0.003 < answer.mark_sigma["B"] < 0.02  # along x by the tape, 1 cm; across by definition


def test_a_mark_that_is_less_well_surveyed_moves_more_and_says_so() -> None:
    rng = np.random.default_rng(7)
    heads = rigs.rig(rng, 6)
    seen = rigs.sight(rng, heads, FIVE, hand=0.003)
    off = (FIVE[4][0] + 0.08, FIVE[4][1], 0.0)
    marks = [*(Mark(n, tuple(map(float, at)), sigma=0.002) for n, at in zip("ABCD", FIVE, strict=False))]
    answer = calibrate(rigs.fixtures(heads), rigs.stage([*marks, Mark("E", off, sigma=0.1)], aim_sigma=0.003), seen)
    assert answer.trusted
    assert answer.marks["E"][0] == pytest.approx(FIVE[4][0], abs=0.01)
    assert answer.mark_sigma["A"] < 0.002 < answer.mark_sigma["E"] < 0.01


@pytest.mark.parametrize(("pan", "fits"), [(270.005, True), (-270.005, True), (270.5, False), (-270.5, False)])
def test_angles_past_the_profiles_range_are_refused_but_for_rounding(pan: float, fits: bool) -> None:
    heads, seen = exact()
    changed = [replace(seen[0], pan=pan), *seen[1:]]
    if fits:
        build_case(rigs.fixtures(heads), rigs.stage(PLACES), changed)
    else:
        with pytest.raises(ShowError, match=r"-270 \.\. 270"):
            build_case(rigs.fixtures(heads), rigs.stage(PLACES), changed)


def test_next_marks_are_three_places_each_after_the_one_before() -> None:
    rng = np.random.default_rng(14)
    heads = rigs.rig(rng, 4)
    answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE[:3]), rigs.sight(rng, heads, FIVE[:3]))
    first, second, third = answer.next_marks
    assert len({first.at, second.at, third.at}) == 3
    assert (second.before, third.before) == (pytest.approx(first.after), pytest.approx(second.after))
    assert first.before - first.after > second.before - second.after > third.before - third.after > 0
    worst = max(answer.fixtures.values(), key=lambda f: f.aim_rms)
    assert first.fixture == worst.name


def test_a_mark_that_brings_nothing_is_not_advised() -> None:
    """Thirty sightings to a millimetre: another brings less than two millimetres."""
    rng = np.random.default_rng(15)
    heads = rigs.rig(rng, 3)
    marks = [Mark(n, tuple(map(float, at)), sigma=0.001) for n, at in zip("ABCDE", FIVE, strict=True)]
    seen = rigs.sight(rng, heads, FIVE, hand=0.001)
    answer = calibrate(rigs.fixtures(heads), rigs.stage(marks, aim_sigma=0.001), seen)
    assert not any("next mark" in text for text in answer.advice)
    few = calibrate(rigs.fixtures(heads), rigs.stage(FIVE[:3]), [s for s in seen if s.mark in "ABC"])
    assert any("next mark helps most" in text for text in few.advice)


@pytest.mark.parametrize(("off", "told"), [(13.0, False), (17.0, True)])
def test_a_mark_is_asked_about_from_fifteen_metres_outside(off: float, told: bool) -> None:
    rng = np.random.default_rng(15)
    heads, places = rigs.rig(rng, 3), [*FIVE[:4], (0, 8 + off, 0)]
    answer = calibrate(rigs.fixtures(heads), rigs.stage(places), rigs.sight(rng, heads, places))
    assert any("outside the performance polygon" in text for text in answer.advice) is told


@pytest.mark.parametrize(
    ("places", "count"),
    [
        ([(0, 0), (4, 0), (4, 4), (0, 4)], 3),  # quarter, half and three quarters of a circle
        ([(0, 0), (6, 0), (6, 4), (0, 4)], 1),
        ([(0, 0), (6, 0), (6, 4.3), (0, 4)], 1),  # to within SYMMETRIC
        ([(0, 0), (6, 0), (6, 6.5), (0, 4)], 0),
        ([(np.cos(a), np.sin(a)) for a in 2 * np.pi * np.arange(3) / 3], 2),
    ],
)
def test_turns_that_put_a_layout_onto_itself(places, count: int) -> None:
    plan = np.column_stack([np.array(places, float), np.zeros(len(places))])
    orders = symmetric_orders(plan)
    assert len(orders) == count
    assert all(sorted(order) == list(range(len(places))) for order in orders)
    assert list(range(len(places))) not in [list(order) for order in orders]


def test_two_of_six_marks_exchanged_for_all_are_found() -> None:
    rng = np.random.default_rng(6)
    heads, places = rigs.rig(rng, 4), [*FIVE, (2.0, 2.0, 0.0)]
    seen = rigs.sight(rng, heads, places)
    labels = {"B": "F", "F": "B"}
    wrong = [replace(s, mark=labels.get(s.mark, s.mark)) for s in seen]
    answer = calibrate(rigs.fixtures(heads), rigs.stage(places), wrong)
    assert [(s.fixture, {s.mark, s.instead}, s.kind) for s in answer.suspects] == [(None, {"B", "F"}, "swap")]
    assert "B and F are exchanged" in suspect_words(answer.suspects[0])
    assert not any(f.trusted for f in answer.fixtures.values())
