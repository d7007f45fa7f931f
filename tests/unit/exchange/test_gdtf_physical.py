"""Speeds, zoom tables and candela of GDTF files.

RealFade, RealAcceleration and the defaults: DIN SPEC 15800, from memory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from bridge.exchange.gdtf_beams import Beam
from bridge.exchange.gdtf_candela import flux_of
from bridge.exchange.gdtf_geometry import Head
from bridge.exchange.gdtf_physical import Function, Motion, Point, Zoom, read_motion, read_zoom

PAN = Function("Pan", -270.0, 270.0, 0, 65535, 65535)
ZOOM = Function("Zoom", 50.0, 5.0, 0, 65535, 65535)
SPOT = Beam("Beam", "Spot", beam_angle=20.0, field_angle=24.0, flux=15_000.0)
HEAD = Head(beams=(SPOT,))
BARE = Head()


def table_of(zoom: Zoom) -> list[list[float]]:
    assert zoom.document is not None, zoom.questions
    table = zoom.document["table"]
    assert isinstance(table, list)
    return table


@given(speed=st.floats(20, 1500), ramp=st.floats(0.05, 2.0), cruise=st.floats(0.1, 10.0))
def test_speed_and_acceleration_are_those_of_a_travel_with_two_ramps(speed: float, ramp: float, cruise: float) -> None:
    """Simulated by its own speeds: up, level, down."""
    profile = np.interp(
        np.linspace(0, 2 * ramp + cruise, 200_001), [0, ramp, ramp + cruise, 2 * ramp + cruise], [0, 1, 1, 0]
    )
    travel = float(np.mean(profile[1:] + profile[:-1]) / 2 * speed * (2 * ramp + cruise))
    pan = PAN._replace(physical_from=travel, physical_to=0.0, real_fade_s=2 * ramp + cruise, real_acceleration_s=ramp)
    motion = read_motion("pan", pan)
    assert motion.speed == pytest.approx(speed, rel=1e-3, abs=0.06)
    if motion.acceleration is not None:
        assert motion.acceleration == pytest.approx(speed / ramp, rel=1e-3, abs=0.06)
    assert f"RealFade {2 * ramp + cruise:g} s" in motion.why


def test_a_ramp_longer_than_half_the_travel_never_reaches_a_level() -> None:
    motion = read_motion("pan", PAN._replace(real_fade_s=2.0, real_acceleration_s=5.0))
    assert (motion.speed, motion.acceleration) == (540.0, 540.0)  # 540 deg = a · 1 s²; v = a · 1 s


def test_without_acceleration_the_mean_of_the_travel_is_taken() -> None:
    motion = read_motion("pan", PAN._replace(real_fade_s=3.0, real_acceleration_s=0.0))
    assert (motion.speed, motion.acceleration) == (180.0, None)
    assert "a mean" in motion.why


@pytest.mark.parametrize("fade", [None, 0.0, -1.0])
def test_nothing_is_said_of_speed_where_the_file_says_nothing(fade: float | None) -> None:
    assert read_motion("pan", PAN._replace(real_fade_s=fade, real_acceleration_s=0.5)) == Motion()
    assert read_motion("pan", PAN._replace(physical_from=None, real_fade_s=3.0)) == Motion()


@pytest.mark.parametrize(("fade", "ramp", "speed"), [(1e-3, None, None), (1e6, None, None), (3.0, 1e-6, 180.0)])
def test_what_no_head_does_is_asked_and_not_taken(fade: float, ramp: float | None, speed: float | None) -> None:
    motion = read_motion("tilt", PAN._replace(real_fade_s=fade, real_acceleration_s=ramp))
    assert (motion.speed, motion.acceleration) == (speed, None)
    (question,) = motion.questions
    assert "tilt" in question
    assert "not taken" in question


def test_a_zoom_is_its_two_ends_with_raw_rising() -> None:
    zoom = read_zoom(ZOOM._replace(raw_from=256, raw_to=60_000), BARE)
    assert zoom.document == {"table": [[256, 50.0], [60_000, 5.0]], "edge": "beam"}
    assert zoom.confirm == ("zoom", "candela")
    assert "full angle" in zoom.why["zoom"]
    assert any("light meter" in question for question in zoom.questions)


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (0.0, 1.0, "stub"), (1.0, 0.0, "stub"), (0.0, 0.0, "stub"), (25.0, 25.0, "both 25"),
        (None, 5.0, "no physical range"), (1e-300, 5.0, "percent"), (25.0, 25.00001, "both 25"),
        (0.0, 100.0, "percent"), (-10.0, 40.0, "found -10 to 40"), (10.0, 360.0, "below 180"),
    ],
)  # fmt: skip
def test_what_is_no_range_of_angles_gives_no_table_and_a_question(start: float | None, end: float, said: str) -> None:
    zoom = read_zoom(ZOOM._replace(physical_from=start, physical_to=end), HEAD)
    assert zoom.document is None
    assert zoom.confirm == ("zoom",)
    assert said in zoom.questions[0]
    assert "2·atan(D / 2r)" in zoom.questions[0]


def test_a_function_that_is_no_range_of_its_channel_gives_no_table() -> None:
    assert read_zoom(ZOOM._replace(raw_from=9, raw_to=9), HEAD).document is None
    assert read_zoom(ZOOM._replace(raw_to=70_000), HEAD).document is None


def test_channel_sets_with_angles_of_their_own_are_points_between() -> None:
    points = (Point(20_000, 30_000, 40.0, 20.0), Point(50_000, 50_000, 8.0, None))
    rows = table_of(read_zoom(ZOOM._replace(points=points), BARE))
    assert rows == [[0, 50.0], [20_000, 40.0], [30_000, 20.0], [50_000, 8.0], [65_535, 5.0]]


@pytest.mark.parametrize(
    "points",
    [
        (Point(100, 200, 60.0, None),),  # wider than the end before it
        (Point(30_000, 30_000, 0.0, None),),
        (Point(30_000, 40_000, 20.0, 20.0),),  # a step, which no table of ours has
        (Point(70_000, 70_000, 3.0, None),),
    ],
)
def test_channel_sets_that_do_not_fit_leave_the_ends(points: tuple[Point, ...]) -> None:
    zoom = read_zoom(ZOOM._replace(points=points), BARE)
    assert table_of(zoom) == [[0, 50.0], [65_535, 5.0]]
    assert zoom.notes


def test_channel_sets_on_the_straight_line_add_nothing() -> None:
    zoom = read_zoom(ZOOM._replace(points=(Point(0, 65_535, 50.0, 5.0), Point(13_107, 13_107, 41.0, None))), BARE)
    assert table_of(zoom) == [[0, 50.0], [65_535, 5.0]]
    assert zoom.notes == ()


def test_the_edge_is_the_fields_where_only_the_field_angle_fits() -> None:
    def edge(beam: float, field: float) -> object:
        zoom = read_zoom(ZOOM, Head(beams=(replace(SPOT, beam_angle=beam, field_angle=field),)))
        return (zoom.document or {})["edge"]

    assert edge(20.0, 24.0) == "beam"
    assert edge(4.0, 5.0) == "field"
    assert edge(100.0, 120.0) == "beam"


def test_a_lens_without_zoom_has_one_row() -> None:
    assert table_of(read_zoom(None, Head(beams=(replace(SPOT, flux=None),)))) == [[0, 20.0]]
    only_field = read_zoom(None, Head(beams=(Beam("b", field_angle=30.0),)))
    assert only_field.document == {"table": [[0, 30.0]], "edge": "field"}
    assert read_zoom(None, BARE).document is None
    assert read_zoom(None, BARE).notes
    assert "standard" in read_zoom(None, Head(beams=(Beam("b", beam_angle=25.0),))).questions[0]
    several = read_zoom(None, Head(beams=(Beam("a", beam_angle=10.0), Beam("b", beam_angle=12.0))))
    assert table_of(several) == [[0, 12.0]]
    assert "10 to 12" in several.questions[0]


@settings(deadline=None)
@given(
    angle=st.floats(2, 60),
    ratio=st.floats(1.15, 2.5),
    lumen=st.floats(500, 90_000).filter(lambda lumen: lumen != 10_000),
    edge=st.sampled_from(["beam", "field"]),
)
def test_candela_gives_the_lumen_back_when_its_beam_is_added_up(
    angle: float, ratio: float, lumen: float, edge: str
) -> None:
    """Against scipy's quadrature over the half sphere, of a beam fixed by both its edges."""
    flux = flux_of([Beam("b", "Spot", 10.0, 10.0 * ratio, lumen)])
    centre = flux.candela(angle, edge)
    half = np.radians(angle / 2) / (ratio if edge == "field" else 1.0)
    power = np.log(np.log2(10)) / np.log(ratio)
    assert 2 ** -(ratio**power) == pytest.approx(0.1)
    whole, _ = quad(
        lambda t: 2 * np.pi * centre * 2 ** -((t / half) ** power) * np.sin(t), 0, np.pi / 2, points=[half], limit=200
    )
    if power <= 12:
        assert whole == pytest.approx(lumen, rel=0.006)  # three digits are kept


def test_a_narrow_gaussian_is_the_closed_form() -> None:
    """I0 = lumen · ln 2 / (pi · h²) for small h: the integral of a Gaussian over a plane."""
    centre = flux_of([Beam("b", "Spot", 25.0, 25.0, 15_000.0)]).candela(2.0, "beam")
    assert centre == pytest.approx(15_000 * np.log(2) / (np.pi * np.radians(1.0) ** 2), rel=0.006)


def test_candela_comes_with_how_it_was_estimated() -> None:
    zoom = read_zoom(ZOOM, HEAD)
    (wide, _, low), (narrow, _, high) = table_of(zoom)
    assert (wide, narrow) == (0, 65_535)
    assert high > 50 * low
    assert "estimate from LuminousFlux 15000 lm" in zoom.why["zoom.candela"]
    assert any("estimate" in question for question in zoom.questions)


@pytest.mark.parametrize("flux", [None, 10_000.0, 1.0, 9e6])
def test_output_that_the_file_does_not_say_is_no_data(flux: float | None) -> None:
    zoom = read_zoom(ZOOM, Head(beams=(replace(SPOT, flux=flux),)))
    assert [len(row) for row in table_of(zoom)] == [2, 2]
    assert "zoom.candela" not in zoom.why
    assert any("light meter" in question for question in zoom.questions)


def test_the_output_of_several_emitters_adds_up() -> None:
    one, three = flux_of([SPOT]), flux_of([replace(SPOT, flux=5_000.0)] * 3)
    assert one.lumen == three.lumen
    assert "3 emitters" in three.why
    assert flux_of([SPOT, replace(SPOT, flux=None)]).lumen is None


NUMBERS = (
    st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([0.0, 1.0, 25.0, 1e-300, 179.999])
)
RAWS = st.integers(-5, 70_000)


@settings(max_examples=300, deadline=None)
@given(
    function=st.builds(
        Function, st.just("Zoom"), NUMBERS, NUMBERS, RAWS, RAWS, st.sampled_from([0, 255, 65_535]), NUMBERS, NUMBERS,
        st.lists(st.builds(Point, RAWS, RAWS, NUMBERS, NUMBERS), max_size=3).map(tuple),
    )
)  # fmt: skip
def test_any_numbers_give_a_table_that_rises_or_none(function: Function) -> None:
    motion, zoom = read_motion("pan", function), read_zoom(function, HEAD)
    assert all(value is None or 0 < value < 1e5 for value in (motion.speed, motion.acceleration))
    if zoom.document is not None:
        raws, angles, candela = (np.array(column) for column in zip(*table_of(zoom), strict=True))
        steps = np.diff(angles)
        assert np.all(np.diff(raws) > 0)
        assert np.all(steps > 0) or np.all(steps < 0)
        assert np.all((angles > 0) & (angles < 180))
        assert np.all((candela > 0) & np.isfinite(candela))
