"""Where the pool of a cone of light lies on a floor: conic sections in closed form against rays cast one by one.

The closed form is that of any text on conic sections, from memory: Dandelin's two spheres (1822) touch the plane in the
foci of the section, and its eccentricity is sin(incidence) / cos(half angle).
"""

from __future__ import annotations

import numpy as np
import pytest

CASES = [(2.0, 0.0), (2.0, 60.0), (4.0, 30.0), (4.0, 65.0), (6.0, 45.0), (6.0, 70.0), (15.0, 50.0), (27.5, 40.0)]


def foci(half, incidence, drop):
    """Distances of the two foci from the foot of the lens, away from it, by Dandelin's spheres (radians, metres).

    A sphere centred on the axis `s` from the apex touches the cone with radius s sin(half); it touches the plane where
    its centre is as far above (or below) it, and there is the focus, straight below (or above) the centre.
    """
    s = drop / (np.cos(incidence) + np.array([1, -1]) * np.sin(half))
    return s * np.sin(incidence)


def closed_form(half, incidence, drop):
    """Centre (from the foot), half long axis and half short axis of the section."""
    spread = np.cos(incidence) ** 2 - np.sin(half) ** 2
    centre = drop * np.sin(incidence) * np.cos(incidence) / spread
    long = drop * np.sin(half) * np.cos(half) / spread
    return centre, long, long * np.sqrt(1 - (np.sin(incidence) / np.cos(half)) ** 2)


def cast(apex, axis, half, floor, rays=360):
    """Where `rays` edge rays of the cone meet the plane z = floor (rays, 3)."""
    side = np.cross(axis, [0.3, -0.5, 0.8])
    side /= np.linalg.norm(side)
    turn = np.linspace(0, 2 * np.pi, rays, endpoint=False)[:, None]
    round_ = np.cos(turn) * side + np.sin(turn) * np.cross(axis, side)
    rays = np.cos(half) * axis + np.sin(half) * round_
    assert np.all(rays[:, 2] < 0)
    return apex + rays * ((floor - apex[2]) / rays[:, 2])[:, None]


def fitted(points):
    """Centre (2,) and half axes, long first, of the conic through points (N, 2): algebraic, by singular values."""
    middle, size = points.mean(axis=0), np.std(points)
    x, y = ((points - middle) / size).T
    *_, Vt = np.linalg.svd(np.column_stack([x * x, x * y, y * y, x, y, np.ones_like(x)]))
    a, b, c, d, e, f = Vt[-1]
    M = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(2 * M, [-d, -e])
    level = -(f + np.array([d, e]) @ centre / 2)
    axes = np.sqrt(level / np.linalg.eigvalsh(M))
    return middle + size * centre, np.sort(axes)[::-1] * size


def axis_of(incidence, heading):
    """Beam at `incidence` from straight down, towards `heading` in plan."""
    plan = np.sin(incidence) * np.array([np.cos(heading), np.sin(heading)])
    return np.array([*plan, -np.cos(incidence)])


@pytest.mark.parametrize(("half_deg", "incidence_deg"), CASES)
def test_rays_of_a_cone_draw_the_ellipse_of_the_closed_form(half_deg, incidence_deg) -> None:
    half, incidence, heading = np.radians([half_deg, incidence_deg, 37.0])
    apex, floor = np.array([1.0, -2.0, 8.6]), 0.6
    section = cast(apex, axis_of(incidence, heading), half, floor)
    centre, axes = fitted(section[:, :2])
    away, long, short = closed_form(half, incidence, apex[2] - floor)
    assert centre == pytest.approx(apex[:2] + away * np.array([np.cos(heading), np.sin(heading)]), abs=1e-6)
    assert axes == pytest.approx([long, short], rel=1e-6)


@pytest.mark.parametrize(("half_deg", "incidence_deg"), CASES)
def test_dandelins_spheres_touch_the_floor_in_the_foci(half_deg, incidence_deg) -> None:
    """Their middle is the centre, and the distances of every cast ray's end to both sum to the long axis."""
    half, incidence, drop = np.radians(half_deg), np.radians(incidence_deg), 8.0
    at = foci(half, incidence, drop)
    away, long, _ = closed_form(half, incidence, drop)
    assert np.mean(at) == pytest.approx(away, rel=1e-12, abs=1e-12)
    section = cast(np.array([0, 0, drop]), axis_of(incidence, 0.0), half, 0.0)
    to_foci = sum(np.linalg.norm(section - [x, 0, 0], axis=1) for x in at)
    assert to_foci == pytest.approx(np.full(len(section), 2 * long), rel=1e-9)


@pytest.mark.parametrize(("half_deg", "incidence_deg"), CASES)
def test_the_centre_lies_midway_between_the_edge_rays_of_the_upright_plane(half_deg, incidence_deg) -> None:
    """The two ends of the long axis; the axis itself meets the floor nearer than the centre, unless it is upright."""
    half, incidence, drop = np.radians(half_deg), np.radians(incidence_deg), 8.0
    ends = drop * np.tan([incidence - half, incidence + half])
    away, long, _ = closed_form(half, incidence, drop)
    assert (np.mean(ends), np.ptp(ends) / 2) == pytest.approx((away, long), abs=1e-9)
    assert away >= drop * np.tan(incidence) - 1e-12
