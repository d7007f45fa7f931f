"""Plan polygons against OpenCV's pointPolygonTest; where a beam meets stepped floors against MuJoCo's ray casting."""

from __future__ import annotations

import math

import cv2
import mujoco
import numpy as np
import pytest

from bridge.geometry.areas import Floors, Polygon, Prism
from bridge.geometry.stage import Area, Floor

SEED = 11
FLOAT32_M = 1e-5  # OpenCV keeps corners and points of some ten metres in 32-bit floats

STAR = tuple((r * math.cos(a), r * math.sin(a)) for a, r in zip(np.arange(10) * math.pi / 5, [5, 2] * 5, strict=True))
SHAPES = {
    "rectangle": ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0)),
    "clockwise": ((-6.0, 8.0), (6.0, 8.0), (6.0, 0.0), (-6.0, 0.0)),
    "triangle": ((0.0, 0.0), (9.0, 1.0), (-2.0, 5.0)),
    "thrust": ((-6.0, 0.0), (-2.0, 0.0), (-2.0, -4.0), (2.0, -4.0), (2.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0)),
    "star": STAR,
}


def opencv_outside_by(corners: tuple[tuple[float, float], ...], points: np.ndarray) -> np.ndarray:
    """OpenCV's signed distance with our sign: positive outside."""
    contour = np.asarray(corners, dtype=np.float32).reshape(-1, 1, 2)
    return np.array([-cv2.pointPolygonTest(contour, (float(x), float(y)), True) for x, y in points])


def plan_points() -> np.ndarray:
    return np.random.default_rng(SEED).uniform(-10, 12, (400, 2)).astype(np.float32).astype(np.float64)


@pytest.mark.parametrize("corners", SHAPES.values(), ids=SHAPES)
def test_signed_distance_and_inside_are_opencvs(corners: tuple[tuple[float, float], ...]) -> None:
    points = plan_points()
    expected = opencv_outside_by(corners, points)
    polygon = Polygon(corners)
    np.testing.assert_allclose(polygon.outside_by(points), expected, atol=FLOAT32_M)
    clear = np.abs(expected) > FLOAT32_M
    assert np.array_equal(polygon.contains(points)[clear], expected[clear] < 0)


def test_random_polygons_are_opencvs() -> None:
    rng = np.random.default_rng(SEED)
    for _ in range(30):
        angles = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 12)))
        radii = rng.uniform(0.5, 8, len(angles))
        corners = tuple(zip(radii * np.cos(angles), radii * np.sin(angles), strict=True))
        points = rng.uniform(-9, 9, (60, 2))
        np.testing.assert_allclose(
            Polygon(corners).outside_by(points), opencv_outside_by(corners, points), atol=FLOAT32_M
        )


@pytest.mark.parametrize("corners", SHAPES.values(), ids=SHAPES)
def test_points_on_the_outline_are_neither_in_nor_out(corners: tuple[tuple[float, float], ...]) -> None:
    a, b = np.asarray(corners), np.roll(np.asarray(corners), -1, axis=0)
    on_it = np.concatenate([a, (a + b) / 2, 0.25 * a + 0.75 * b])
    np.testing.assert_allclose(Polygon(corners).outside_by(on_it), 0.0, atol=1e-12)


@pytest.mark.parametrize("corners", SHAPES.values(), ids=SHAPES)
def test_the_inner_point_is_inside_for_opencv_too(corners: tuple[tuple[float, float], ...]) -> None:
    assert opencv_outside_by(corners, np.array([Polygon(corners).inner_point()]))[0] < -0.1


def test_a_polygon_bent_round_its_middle_still_has_an_inner_point() -> None:
    horseshoe = ((0.0, 0.0), (6.0, 0.0), (6.0, 1.0), (1.0, 1.0), (1.0, 5.0), (6.0, 5.0), (6.0, 6.0), (0.0, 6.0))
    assert opencv_outside_by(horseshoe, np.array([Polygon(horseshoe).inner_point()]))[0] < -0.1


@pytest.mark.parametrize("corners", SHAPES.values(), ids=SHAPES)
def test_the_grid_covers_the_polygon_and_nothing_else(corners: tuple[tuple[float, float], ...]) -> None:
    polygon = Polygon(corners)
    grid = polygon.grid(0.5)
    assert opencv_outside_by(corners, grid).max() < FLOAT32_M
    inside = plan_points()[polygon.contains(plan_points())]
    nearest = np.linalg.norm(inside[:, None] - grid, axis=-1).min(axis=1)
    assert nearest.max() < 1.0


@pytest.mark.parametrize(
    ("point", "outside_by"),
    [
        ((0.0, 4.0, 1.0), -1.5),  # 4 m from every edge in plan, 1.5 m above the lower end
        ((7.0, 4.0, 1.0), 1.0),
        ((0.0, 4.0, 4.5), 0.5),
        ((0.0, 4.0, -0.7), 0.2),
        ((6.1, 4.0, 4.4), 0.4),
    ],
)
def test_a_prism_is_left_sideways_upwards_or_downwards(point: tuple[float, ...], outside_by: float) -> None:
    prism = Prism(Area("stage", SHAPES["rectangle"], (-0.5, 4.0)))
    assert prism.outside_by(point) == pytest.approx(outside_by)


RISERS = (
    Floor("riser", ((-2.0, 5.0), (2.0, 5.0), (2.0, 8.0), (-2.0, 8.0)), 0.6),
    Floor("upper", ((-1.0, 6.0), (1.0, 6.0), (1.0, 8.0), (-1.0, 8.0)), 1.0),
)


@pytest.mark.parametrize(
    ("place", "height"),
    [((0, 0), 0.0), ((-1.5, 7), 0.6), ((0, 7), 1.0), ((2, 6), 0.6), ((-2, 5), 0.6), ((1, 6), 1.0), ((2.01, 6), 0.0)],
)
def test_the_highest_floor_counts_and_its_edge_belongs_to_it(place: tuple[float, float], height: float) -> None:
    assert Floors(RISERS).height_at(place) == height


def test_a_floor_moves_live_and_a_pit_is_below_the_stage() -> None:
    floors = Floors([*RISERS, Floor("pit", ((-6, -2), (6, -2), (6, 0), (-6, 0)), -1.5)])
    floors.set_height("riser", 1.2)
    np.testing.assert_array_equal(floors.height_at([(0, 7), (0, -1), (0, 2)]), [1.2, -1.5, 0.0])
    assert floors.lowest == -1.5
    with pytest.raises(KeyError):
        floors.set_height("rizer", 1.0)


def floors_in_mujoco(above_m: float) -> mujoco.MjModel:
    """The stage and each riser as solid boxes, their tops lifted by `above_m`."""
    boxes = [f'<geom type="box" size="500 500 50" pos="0 0 {above_m - 50}"/>']
    for floor in RISERS:
        low, high = np.min(floor.corners, axis=0), np.max(floor.corners, axis=0)
        (x, y), (half_x, half_y) = (low + high) / 2, (high - low) / 2
        half_z = 5.0
        z = floor.height + above_m - half_z
        boxes.append(f'<geom type="box" size="{half_x} {half_y} {half_z}" pos="{x} {y} {z}"/>')
    return mujoco.MjModel.from_xml_string(f"<mujoco><worldbody>{''.join(boxes)}</worldbody></mujoco>")


@pytest.mark.parametrize("above_m", [0.0, 1.3])
def test_a_beam_first_meets_the_risers_where_mujoco_says(above_m: float) -> None:
    model = floors_in_mujoco(above_m)
    data = mujoco.MjData(model)
    mujoco.mj_kinematics(model, data)
    rng, floors, geom = np.random.default_rng(SEED), Floors(RISERS), np.zeros(1, dtype=np.int32)
    seen = set()
    for _ in range(300):
        # low and from all sides, so that upright faces are met as well as tops
        start = np.array([*rng.uniform(-12, 12, 2), rng.uniform(2.5, 9)])
        aim = np.array([rng.uniform(-3, 3), rng.uniform(4, 9), 0.3])
        direction = (aim - start) / np.linalg.norm(aim - start)
        distance = mujoco.mj_ray(model, data, start, direction, None, True, -1, geom)
        met = floors.first_meeting(start, direction, above_m)
        assert met is not None
        np.testing.assert_allclose(met, start + distance * direction, atol=1e-6)
        seen.add(int(geom[0]))
    assert seen == {0, 1, 2}, "the rays must have met the stage and both risers"


def test_a_beam_that_goes_up_meets_nothing() -> None:
    assert Floors(RISERS).first_meeting(np.array([0.0, 0.0, 5.0]), np.array([0.0, 0.6, 0.8]), 1.3) is None


def test_a_standing_head_meets_floor_plus_height_from_below() -> None:
    """A ray of 45 deg from 0.4 m rises 0.9 m over 0.9 m of way in plan (plain trigonometry)."""
    met = Floors([]).first_meeting(np.array([0.0, 0.0, 0.4]), np.array([0.0, 0.5**0.5, 0.5**0.5]), 1.3)
    assert met is not None
    np.testing.assert_allclose(met, [0, 0.9, 1.3], atol=1e-6)
