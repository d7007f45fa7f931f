"""Zoom, focus and intensity against handbook values of stage lighting and scipy's interpolators."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from bridge.rig.fixture import Fixture
from bridge.rig.optics import Optics
from bridge.rig.profile import Axis, Profile, ZoomTable

ROWS = ((0.0, 60.0, 8000.0), (20000.0, 30.0, 40000.0), (65535.0, 5.0, 900000.0))
FOCUS = ((3.0, 60000.0), (8.0, 31000.0), (20.0, 12000.0))


def one(make_profile: Callable[..., Profile], **changes: object) -> Optics:
    return Optics([Fixture("a", make_profile(zoom=ZoomTable(ROWS), focus=FOCUS, **changes), 1, 1)])


def a(value: float) -> np.ndarray:
    return np.array([value])


# Beam diameter D = 2 r tan(angle / 2). Lens tables print it as a factor per metre of throw: from memory, as printed for
# fixed lenses of these angles (10 deg 0.175, 19 deg 0.335, 26 deg 0.462, 36 deg 0.650, 50 deg 0.933).
@pytest.mark.parametrize(
    ("angle_deg", "diameter_per_m"), [(10, 0.175), (19, 0.335), (26, 0.462), (36, 0.650), (50, 0.933)]
)
@pytest.mark.parametrize("throw_m", [5.0, 10.0, 20.0])
def test_a_spot_of_the_tables_diameter_asks_for_the_lens_of_that_angle(
    angle_deg: float, diameter_per_m: float, throw_m: float, make_profile: Callable[..., Profile]
) -> None:
    _, angle = one(make_profile).zoom_for(a(diameter_per_m * throw_m), a(throw_m))
    assert np.degrees(angle[0]) == pytest.approx(angle_deg, abs=0.03)  # three printed digits


def test_ten_degrees_at_ten_metres_is_a_metre_seventy_five(make_profile: Callable[..., Profile]) -> None:
    _, angle = one(make_profile).zoom_for(a(1.75), a(10.0))
    assert np.degrees(angle[0]) == pytest.approx(10.0, abs=0.01)


@pytest.mark.parametrize(("size_m", "angle_deg", "raw"), [(100.0, 60.0, 0), (0.001, 5.0, 65535)])
def test_zoom_is_held_at_the_ends_of_its_table(
    size_m: float, angle_deg: float, raw: int, make_profile: Callable[..., Profile]
) -> None:
    found, angle = one(make_profile).zoom_for(a(size_m), a(10.0))
    assert (np.degrees(angle[0]), found[0]) == (pytest.approx(angle_deg), pytest.approx(raw, abs=1e-6))


@given(wanted_deg=st.floats(5, 60))
def test_zoom_is_numpys_linear_interpolation_and_comes_back(wanted_deg: float) -> None:
    # the other way round too: angle rising with raw
    for rows in (ROWS, tuple((65535.0 - raw, angle, cd) for raw, angle, cd in reversed(ROWS))):
        optics = Optics([Fixture("a", _plain(ZoomTable(rows)), 1, 1)])
        size = 2 * 10 * np.tan(np.radians(wanted_deg) / 2)
        raw, angle = optics.zoom_for(a(size), a(10.0))
        raws, angles, candela = np.array(sorted(rows, key=lambda row: row[1])).T
        assert raw[0] == pytest.approx(np.interp(wanted_deg, angles, raws), abs=1e-6)
        assert np.degrees(optics.angle_of(raw))[0] == pytest.approx(wanted_deg, abs=1e-9)
        assert optics.candela_at(angle)[0] == pytest.approx(np.interp(wanted_deg, angles, candela), rel=1e-9)


def _plain(zoom: ZoomTable) -> Profile:
    from bridge.rig.profile import Axis

    channels = {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,), "zoom": (6, 7)}
    return Profile("plain", 7, channels, Axis(-270, 270), Axis(-135, 135), zoom=zoom)


@given(distance=st.floats(3.0, 20.0))
def test_focus_is_scipys_pchip_over_one_over_distance(distance: float) -> None:
    profile = _plain(ZoomTable(ROWS))
    optics = Optics([Fixture("a", profile, 1, 1, focus_table=FOCUS)])
    near, raw = np.array(sorted((1 / d, r) for d, r in FOCUS)).T
    assert optics.focus_for(a(distance))[0] == pytest.approx(float(PchipInterpolator(near, raw)(1 / distance)))


def test_focus_is_monotone_and_never_beyond_its_table(make_profile: Callable[..., Profile]) -> None:
    optics = one(make_profile)
    found = np.array([optics.focus_for(a(d))[0] for d in np.geomspace(0.5, 200, 400)])
    assert np.all(np.diff(found) <= 1e-9)
    assert (found[0], found[-1]) == (pytest.approx(60000), pytest.approx(12000))


def test_what_a_head_has_not_is_not_a_number(make_profile: Callable[..., Profile]) -> None:
    bare = Fixture("bare", make_profile(zoom=None, focus=None), 1, 1)
    fitted = Fixture("fitted", make_profile(zoom=ZoomTable(ROWS), focus=FOCUS), 1, 101)
    both = Optics([bare, fitted])
    two = np.array([10.0, 10.0])
    _, angle = both.zoom_for(np.array([2.0, 2.0]), two)
    for values in (angle, both.candela_at(angle), both.focus_for(two)):
        assert list(np.isnan(values)) == [True, False]


def test_a_fixtures_own_tables_come_before_its_profiles(make_profile: Callable[..., Profile]) -> None:
    own = Fixture("own", make_profile(), 1, 1, zoom_table=((0.0, 20.0, None), (65535.0, 10.0, None)))
    raw, angle = Optics([own]).zoom_for(a(2 * 10 * np.tan(np.radians(7.5))), a(10.0))
    assert (np.degrees(angle[0]), raw[0]) == (pytest.approx(15.0), pytest.approx(65535 / 2))


def test_a_head_without_zoom_has_no_raw_zoom() -> None:
    bare = Profile("bare", 5, {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,)}, Axis(-270, 270), Axis(-135, 135))
    raw, _ = Optics([Fixture("a", bare, 1, 1)]).zoom_for(np.array([2.0]), np.array([10.0]))
    assert np.isnan(raw[0])
