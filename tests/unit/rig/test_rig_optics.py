"""Optics of mixed rigs: every head by its own table, each against numpy and scipy one by one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from bridge.rig.fixture import Fixture
from bridge.rig.optics import Optics
from bridge.rig.profile import Profile, ZoomTable

# raw, degrees, candela: many knots, two, one (a lens of fixed angle), and angle rising with raw
ZOOMS = (
    ((0.0, 50.0, 1000.0), (10000.0, 40.0, 2500.0), (30000.0, 20.0, 9000.0), (65535.0, 5.0, 90000.0)),
    ((0.0, 55.0, None), (65535.0, 5.0, None)),
    ((7.0, 19.0, 4000.0),),
    ((0.0, 10.0, 30000.0), (40000.0, 30.0, 6000.0), (65535.0, 45.0, 3000.0)),
    ((100.0, 35.0, 5000.0), (900.0, 25.0, None)),
)
FOCUSES = (
    ((3.0, 60000.0), (8.0, 31000.0), (20.0, 12000.0)),
    ((2.0, 50000.0), (4.0, 40000.0), (6.0, 25000.0), (10.0, 24000.0), (40.0, 100.0)),
    ((5.0, 1234.0),),
    None,
    ((4.0, 48000.0), (16.0, 6000.0)),  # two rows: a straight line in 1/distance
)


@pytest.fixture
def mixed(make_profile: Callable[..., Profile]) -> Optics:
    """Ten heads: the five pairs of tables, then the same in the opposite order."""
    pairs = [*zip(ZOOMS, FOCUSES, strict=True)]
    return Optics(
        [
            Fixture(str(n), make_profile(zoom=ZoomTable(z), focus=f), 1, 1)
            for n, (z, f) in enumerate(pairs + pairs[::-1])
        ]
    )


@pytest.mark.parametrize("angle_deg", [1.0, 5.0, 11.0, 20.0, 29.5, 33.0, 44.0, 49.0, 70.0])
def test_every_head_zooms_by_its_own_table(angle_deg: float, mixed: Optics) -> None:
    throws = np.linspace(4.0, 30.0, 10)
    raw, angle = mixed.zoom_for(2 * throws * np.tan(np.radians(angle_deg) / 2), throws)
    candela = mixed.candela_at(np.full(10, np.radians(angle_deg)))
    for n, rows in enumerate(ZOOMS + ZOOMS[::-1]):
        raws, degrees, candelas = np.array(sorted(rows, key=lambda row: row[1]), dtype=float).T
        assert raw[n] == pytest.approx(np.interp(angle_deg, degrees, raws), abs=1e-6)
        assert np.degrees(angle[n]) == pytest.approx(np.clip(angle_deg, degrees[0], degrees[-1]))
        if np.isnan(candelas).any():
            assert np.isnan(candela[n]), "half a table is none"
        else:
            assert candela[n] == pytest.approx(np.interp(angle_deg, degrees, candelas))


@pytest.mark.parametrize("raw", [-5.0, 0.0, 9000.0, 10000.0, 35000.0, 52000.0, 65535.0, 1e6])
def test_every_raw_value_has_its_angle(raw: float, mixed: Optics) -> None:
    angle = np.degrees(mixed.angle_of(np.full(10, raw)))
    wanted = [np.interp(raw, *np.array([row[:2] for row in rows]).T) for rows in ZOOMS]
    np.testing.assert_allclose(angle, wanted + wanted[::-1])


@pytest.mark.parametrize("distance", [0.0, 1.0, 3.0, 4.5, 7.0, 10.0, 15.0, 25.0, 90.0])
def test_every_head_focuses_by_its_own_table(distance: float, mixed: Optics) -> None:
    found = mixed.focus_for(np.full(10, distance))
    for n, rows in enumerate(FOCUSES + FOCUSES[::-1]):
        if rows is None:
            assert np.isnan(found[n])
        elif len(rows) == 1:
            assert found[n] == rows[0][1], "one row is a lens that is never refocused"
        else:
            near, raw = np.array(sorted((1 / d, r) for d, r in rows)).T
            held = np.clip(1 / max(distance, 1e-3), near[0], near[-1])
            assert found[n] == pytest.approx(float(PchipInterpolator(near, raw)(held)), abs=1e-6)


def test_nearer_than_a_metre_distances_still_count(make_profile: Callable[..., Profile]) -> None:
    """A spot as wide as its throw is long takes 2·atan(1/2) = 53.13 degrees, at any distance."""
    near = ((0.2, 9000.0), (0.5, 5000.0), (2.0, 1000.0))
    optics = Optics([Fixture("a", make_profile(focus=near), 1, 1)])
    for distance in (0.2, 0.5, 2.0):
        _, angle = optics.zoom_for(np.array([distance]), np.array([distance]))
        assert np.degrees(angle[0]) == pytest.approx(53.1301, abs=1e-4)
        assert optics.focus_for(np.array([distance]))[0] == pytest.approx(dict(near)[distance])


def test_a_point_in_the_lens_asks_for_the_widest_spot_not_for_a_division_by_zero(mixed: Optics) -> None:
    with np.errstate(all="raise"):
        _, angle = mixed.zoom_for(np.full(10, 2.0), np.zeros(10))
    widest = [max(row[1] for row in rows) for rows in ZOOMS]
    np.testing.assert_allclose(np.degrees(angle), widest + widest[::-1])


def test_a_fixtures_own_focus_comes_before_its_profiles(make_profile: Callable[..., Profile]) -> None:
    own = Fixture("own", make_profile(), 1, 1, focus_table=((2.0, 500.0), (50.0, 100.0)))
    optics = Optics([Fixture("plain", make_profile(), 1, 101), own])
    np.testing.assert_allclose(optics.focus_for(np.array([3.0, 2.0])), [60000.0, 500.0])


def test_a_rig_without_heads_has_optics_too() -> None:
    none = np.zeros(0)
    optics = Optics([])
    for values in (
        *optics.zoom_for(none, none),
        optics.angle_of(none),
        optics.candela_at(none),
        optics.focus_for(none),
    ):
        assert values.shape == (0,)
