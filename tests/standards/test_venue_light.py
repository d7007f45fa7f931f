"""Spots and light against geometry and photometry that others have published."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bridge.geometry.stage import Area
from bridge.venue.kinematics import Hangs
from bridge.venue.surfaces import Ground, NoLightPrisms
from bridge.venue.thrown_beams import ThrownBeams, cone_rays, ellipses, illuminance, no_light_hits, throw
from bridge.venue.truth import FixtureTruth
from bridge.venue.virtual_heads import HeadState


def _state(pan_deg: list[float], tilt_deg: list[float], zoom_deg: float, candela: float = math.nan) -> HeadState:
    n = len(pan_deg)
    zero = np.zeros(n)
    return HeadState(
        np.radians(pan_deg), np.radians(tilt_deg), zero, zero, np.ones(n), np.full(n, math.radians(zoom_deg)),
        np.full(n, candela), np.full(n, np.nan), np.ones(n, bool), np.ones((n, 3)),
    )  # fmt: skip


def _hanging(n: int, height: float) -> Hangs:
    return Hangs.of([FixtureTruth((0.0, 0.0, height), (0.0, 0.0, 0.0, 1.0))] * n)


def _edge_points(beams: ThrownBeams) -> np.ndarray:
    """Where sampled rays on the cone's edge meet z = 0, (n, 16, 3): an answer without any conic formula."""
    start, ray = cone_rays(beams)
    points = start - ray * (start[:, 2:] / ray[:, 2:])
    return points.reshape(len(beams.length), -1, 3)[:, -16:]


def test_the_ellipse_passes_through_sampled_edge_rays() -> None:
    pan, tilt = [0.0, 30.0, -170.0, 80.0, 12.0], [0.0, 20.0, 45.0, 60.0, -50.0]
    beams = throw(_hanging(5, 9.0), _state(pan, tilt, 14.0), Ground([]))
    spot = ellipses(beams)
    for i, points in enumerate(_edge_points(beams)):
        a, b = np.linalg.norm(spot.long[i]), np.linalg.norm(spot.short[i])
        from_centre = points - spot.centre[i]
        u, v = from_centre @ spot.long[i] / a, from_centre @ spot.short[i] / b
        assert (u / a) ** 2 + (v / b) ** 2 == pytest.approx(np.ones(16), abs=1e-9)


def test_a_beam_straight_down_draws_the_handbook_circle() -> None:
    """Spot diameter D = 2 r tan(angle/2): 10 deg at 10 m gives 1.75 m (any lantern's data sheet; from memory)."""
    beams = throw(_hanging(1, 10.0), _state([0.0], [0.0], 10.0), Ground([]))
    assert ellipses(beams).diameter()[0] == pytest.approx(1.75, abs=0.005)
    assert np.linalg.norm(ellipses(beams).long[0]) == pytest.approx(np.linalg.norm(ellipses(beams).short[0]))


def test_eccentricity_of_a_cone_cut_by_a_plane() -> None:
    """e = sin(incidence) / cos(half angle), Apollonius; from memory. 45 deg, half angle 5 deg: e = 0.70980."""
    beams = throw(_hanging(1, 7.0), _state([0.0], [45.0], 10.0), Ground([]))
    points = _edge_points(beams)[0]
    along = (points[:, 1].max() - points[:, 1].min()) / 2  # the two spokes in the plane of incidence
    fitted = np.linalg.lstsq(np.c_[points[:, 0] ** 2, points[:, 1] ** 2, points[:, 1]], np.ones(16), rcond=None)[0]
    ratio = math.sqrt(fitted[1] / fitted[0])  # b / a of x^2 A + y^2 B + y C = 1
    assert math.sqrt(1 - ratio**2) == pytest.approx(0.70980, abs=1e-4)
    spot = ellipses(beams)
    assert np.linalg.norm(spot.long[0]) == pytest.approx(along, rel=1e-9)
    assert np.linalg.norm(spot.short[0]) / np.linalg.norm(spot.long[0]) == pytest.approx(ratio, rel=1e-9)


def test_a_cone_that_reaches_the_horizon_is_no_spot() -> None:
    beams = throw(_hanging(1, 3.0), _state([0.0], [85.0], 12.0), Ground([]))
    assert np.isnan(ellipses(beams).centre[0]).all()


def test_inverse_square_and_cosine_law() -> None:
    """E = I cos(i) / r^2 (CIE S 017, e.g. 10 000 cd at 5 m: 400 lx, at 10 m: 100 lx; from memory)."""
    for height, tilt, expected in ((5.0, 0.0, 400.0), (10.0, 0.0, 100.0), (5.0, 60.0, 10_000 * 0.5 / 10.0**2)):
        state = _state([0.0], [tilt], 10.0, candela=10_000.0)
        beams = throw(_hanging(1, height), state, Ground([]))
        assert illuminance(beams, state)[0] == pytest.approx(expected, rel=1e-9)


def test_light_in_a_no_light_prism_is_seen_by_cone_and_by_axis() -> None:
    """Against random points of the beam's volume: light is inside when some point of the cone is."""
    areas = NoLightPrisms([Area("rows", ((-3, -5), (3, -5), (3, -3), (-3, -3)), (0.0, 2.0))])
    tilts = [0.0, 10.0, 16.0, 20.0, 30.0, 50.0]
    state = _state([180.0] * 6, tilts, 8.0)
    beams = throw(_hanging(6, 8.0), state, Ground([]))
    found = no_light_hits(beams, np.ones(6, bool), Ground([]), areas)["rows"]
    rng = np.random.default_rng(5)
    for i in range(6):
        radius = np.tan(beams.half_rad[i]) * np.sqrt(rng.uniform(0, 1, 20000))
        turn = rng.uniform(0, 2 * np.pi, 20000)
        u = np.cross(beams.ray[i], [1.0, 0.0, 0.0])
        v = np.cross(beams.ray[i], u / np.linalg.norm(u))
        ray = beams.ray[i] + radius[:, None] * (
            np.cos(turn)[:, None] * u / np.linalg.norm(u) + np.sin(turn)[:, None] * v
        )
        point = beams.start[i] + ray * (rng.uniform(0, 1, 20000) * -8.0 / ray[:, 2])[:, None]
        x, y, z = point.T
        expected = bool(((np.abs(x) < 3) & (y > -5) & (y < -3) & (z < 2) & (z >= 0)).any())
        assert bool(found[i]) == expected, f"tilt {tilts[i]}"
    assert found.any()
    assert not found.all()
