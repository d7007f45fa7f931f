"""Maps of the predicted aim error: the same numbers as `aim_error` at the same places, against a simulation between
them, and a grid that covers what may be lit."""

import json
from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Area, Floor, PerformancePolygon
from bridge.solve import maps as solve_maps
from bridge.solve.calibrate import calibrate_fit
from bridge.solve.focus_json import focus_json, maps_json
from bridge.solve.maps import aim_maps, p95_at, rows_of
from bridge.solve.places import MOST_PLACES, at_both_heights, map_grid, plan_grid
from tests.unit.solve import rigs_for_solve as rigs

NAMES = ["h0", "h1", "h2", "h3"]
TURNED = ((0.0, -4.0), (9.0, 5.0), (4.0, 10.0), (-5.0, 1.0))


def solved(count=4, wrong=(), both=False, **more):
    """A rig, its stage, the answer and the fit; `wrong` are (head, mark) that were sighted 5 degrees off."""
    rng = np.random.default_rng(21)
    heads = rigs.rig(rng, count, terms=both)
    faces = ((1, None), (2, (0, 1, 2, 3))) if both else ((1, None),)
    seen = rigs.sight(rng, heads, rigs.FIVE, faces=faces)
    seen = [replace(s, tilt=s.tilt + 5) if (s.fixture, s.mark) in wrong else s for s in seen]
    place = rigs.stage(rigs.FIVE, **more)
    return (heads, place, *calibrate_fit(rigs.fixtures(heads), place, seen))


@pytest.mark.parametrize("both", [False, True])
def test_the_worst_place_is_that_of_aim_error_over_the_same_places(both: bool) -> None:
    _, place, answer, fit = solved(both=both)
    plan = plan_grid(place, 7, 5)
    p95 = p95_at(fit, rows_of(answer, fit), at_both_heights(place, plan), heights=2)
    for miss, f in zip(p95, answer.fixtures.values(), strict=True):
        worst = np.argmin(np.linalg.norm(plan - np.array(f.worst_at[:2]), axis=1))
        assert miss[worst] == pytest.approx(f.worst_p95, rel=1e-6)
        assert miss.max() == pytest.approx(f.worst_p95, rel=0.03)  # the place that is worst by rms
        assert miss.min() < f.aim_p95 < miss.max()


def test_a_head_whose_sightings_contradict_each_other_has_a_wider_map() -> None:
    """By as much as its prediction is stretched."""
    _, place, answer, fit = solved(wrong=[("h1", "C")])
    row = list(answer.fixtures).index("h1")
    assert fit.stretch[row] > 2
    plan = plan_grid(place, 7, 5)
    p95 = p95_at(fit, rows_of(answer, fit), at_both_heights(place, plan), heights=2)
    assert p95[row].max() == pytest.approx(answer.fixtures["h1"].worst_p95, rel=0.03)


def test_beams_miss_between_the_marks_as_the_map_says() -> None:
    """The same rig sighted anew 250 times: 95 % of the misses, measured with plain trigonometry, at five places."""
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 2, level_deg=0.5)
    points = np.array([(-5, 1, 0), (0, 4, 0), (5, 7, 0), (3, 1, 0), (-2, 6, 0)], float)
    misses = np.zeros((2, 250, len(points)))
    predicted = np.zeros((2, 250, len(points)))
    for n in range(250):
        surveyed = np.array(rigs.FIVE[:4]) + 0.01 * rng.standard_normal((4, 3))
        tipped = rigs.stage([tuple(at) for at in surveyed], sighted_by="axis")
        answer, fit = calibrate_fit(rigs.fixtures(heads), tipped, rigs.sight(rng, heads, rigs.FIVE[:4]))
        predicted[:, n] = p95_at(fit, rows_of(answer, fit), points, heights=1)
        for i, head in enumerate(heads):
            aimed = rigs.believed(answer.fixtures[f"h{i}"])
            misses[i, n] = [np.linalg.norm(head.miss(p, *np.radians(aimed.angles_to(p)))) for p in points]
    assert np.quantile(misses, 0.95, axis=1) == pytest.approx(np.mean(predicted, axis=1), rel=0.2)


@pytest.mark.parametrize(
    "corners", [rigs.CORNERS, TURNED, [(0, 0), (40, 0), (40, 30), (0, 30)], [(0, 0), (1, 0), (1, 1)]]
)
def test_the_grid_covers_the_polygon_with_a_bounded_number_of_places(corners) -> None:
    place = replace(rigs.stage([]), polygon=PerformancePolygon(Area("performance_polygon", tuple(corners))))
    x, y, inside = map_grid(place)
    assert inside.shape == (len(y), len(x))
    assert 15 <= np.count_nonzero(inside) <= MOST_PLACES
    assert (x[0], x[-1]) == (min(c[0] for c in corners), max(c[0] for c in corners))
    if corners == rigs.CORNERS:
        assert inside.all()
        assert 0.5 <= x[1] - x[0] <= 0.7


def test_other_areas_are_on_the_map_also_those_that_are_off_and_what_is_between_is_not() -> None:
    runway = Area("runway", ((-1.0, -6.0), (1.0, -6.0), (1.0, -2.0), (-1.0, -2.0)), on=False)
    _, place, answer, fit = solved(
        more_areas=(runway,), floors=(Floor("riser", ((2, 2), (5, 2), (5, 5), (2, 5)), 0.6),)
    )
    told = aim_maps(answer, fit, place)
    at = {(round(x, 3), round(y, 3)): told.inside[j, i] for j, y in enumerate(told.y) for i, x in enumerate(told.x)}
    for (x, y), inside in at.items():
        on_runway, on_stage = abs(x) <= 1 and -6 <= y <= -2, abs(x) <= 6 and 0 <= y <= 8
        assert inside == (on_runway or on_stage), (x, y)
    assert np.array_equal(np.isfinite(told.p95[0]), told.inside)


def test_the_worst_is_that_of_the_sound_heads_alone() -> None:
    _, place, answer, fit = solved(wrong=[("h1", "C")])
    told = maps_json(aim_maps(answer, fit, place), answer)
    assert {n: (m["trusted"], m["sound"]) for n, m in told["fixtures"].items()} == {
        f"h{i}": (i != 1, i != 1) for i in range(4)
    }
    maps = {name: np.array(m["p95"], float) for name, m in told["fixtures"].items()}
    sound = np.array([maps[name] for name in ("h0", "h2", "h3")])
    assert np.array_equal(np.array(told["worst"]["p95"], float), sound.max(axis=0))
    for j, row in enumerate(told["worst"]["fixture"]):
        for i, name in enumerate(row):
            assert maps[name][j, i] == sound[:, j, i].max()
    assert maps["h1"].max() > sound.max()


def test_the_document_is_plain_json_with_null_outside() -> None:
    place = PerformancePolygon(Area("performance_polygon", TURNED))
    _, stage, answer, fit = solved()
    told = json.loads(json.dumps(focus_json(NAMES, answer, fit, replace(stage, polygon=place)), allow_nan=False))[
        "maps"
    ]
    rows = told["fixtures"]["h0"]["p95"]
    assert (len(rows), {len(row) for row in rows}) == (len(told["y"]), {len(told["x"])})
    empty = [[value is None for value in row] for row in rows]
    assert empty[0][0]
    assert [[value is None for value in row] for row in told["worst"]["p95"]] == empty
    assert [[name is None for name in row] for row in told["worst"]["fixture"]] == empty


def test_many_heads_are_the_same_in_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    _, place, answer, fit = solved(5)
    whole = aim_maps(answer, fit, place)
    monkeypatch.setattr(solve_maps, "HEADS_AT_ONCE", 2)
    assert np.array_equal(aim_maps(answer, fit, place).p95, whole.p95, equal_nan=True)
