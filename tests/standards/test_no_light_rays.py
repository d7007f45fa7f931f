"""Cones against no-light areas, beside a cone of a few thousand rays cast by MuJoCo: the areas are boxes there.

Both ways: a ray that lands in the area must be seen (else light falls on people), and a cone that is called
touching must have a ray in the area once it is a little wider (else heads go dark for nothing).
"""

from __future__ import annotations

import math

import mujoco
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.follow.judging.no_light import NoLight
from bridge.geometry.stage import Area

SEED = 5
WIDER_RAD = math.radians(0.6)
BOX_LOW, BOX_HIGH = np.array([-5.0, -6.0, 0.0]), np.array([5.0, -1.0, 2.0])
CORNERS = ((-5.0, -6.0), (5.0, -6.0), (5.0, -1.0), (-5.0, -1.0))
ROWS = Area("first-rows", CORNERS, (0.0, 2.0))


def box_in_mujoco() -> tuple[mujoco.MjModel, mujoco.MjData]:
    half, middle = (BOX_HIGH - BOX_LOW) / 2, (BOX_HIGH + BOX_LOW) / 2
    words = [" ".join(str(v) for v in vector) for vector in (half, middle)]
    xml = f'<mujoco><worldbody><geom type="box" size="{words[0]}" pos="{words[1]}"/></worldbody></mujoco>'
    model = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(model)
    mujoco.mj_kinematics(model, data)
    return model, data


def cone_of_rays(direction: np.ndarray, half_rad: float) -> np.ndarray:
    """Directions spread evenly over a cone (a sunflower), and its rim."""
    count = 4000
    share = np.sqrt((np.arange(count) + 0.5) / count)
    off = np.concatenate([half_rad * share, np.full(720, half_rad)])
    around = np.concatenate([np.arange(count) * math.pi * (3 - math.sqrt(5)), np.arange(720) * math.pi / 360])
    local = np.stack([np.sin(off) * np.cos(around), np.sin(off) * np.sin(around), np.cos(off)], axis=-1)
    turn, _ = Rotation.align_vectors([direction], [[0, 0, 1]])
    return np.concatenate([[direction], turn.apply(local)])


def any_ray_hits(start: np.ndarray, direction: np.ndarray, half_rad: float) -> bool:
    model, data = box_in_mujoco()
    geom = np.zeros(1, dtype=np.int32)
    for ray in cone_of_rays(direction, half_rad):
        if mujoco.mj_ray(model, data, start, ray, None, True, -1, geom) >= 0:
            return True
    return False


def random_cones(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(SEED)
    start = np.column_stack([rng.uniform(-9, 9, count), rng.uniform(-14, 10, count), rng.uniform(0.3, 10, count)])
    aim = np.column_stack([rng.uniform(-9, 9, count), rng.uniform(-9, 6, count), rng.uniform(0, 3, count)])
    direction = (aim - start) / np.linalg.norm(aim - start, axis=1, keepdims=True)
    return start, direction, np.radians(rng.uniform(1, 25, count))


def test_cones_touch_what_rays_touch() -> None:
    start, direction, half = random_cones(300)
    touched = NoLight([ROWS], 0.0).touched(start, direction, half)
    assert 0.2 < touched.mean() < 0.8, "the cases must be of both kinds"
    for n in range(len(start)):
        if touched[n]:
            assert any_ray_hits(start[n], direction[n], half[n] + WIDER_RAD), f"cone {n} (seed {SEED}) is clear"
        else:
            assert not any_ray_hits(start[n], direction[n], half[n]), f"cone {n} (seed {SEED}) lights the area"


# From a head at (0, 8, 8) the area's far top edge, (0, -6, 2), is seen atan(6 / 14) = 23.2 deg below the horizon. The
# axis passes 5 deg over it, clear of the whole area: so does a cone of 4 deg to a side, and one of 6 deg does not.
@pytest.mark.parametrize(("half_deg", "touches"), [(4.0, False), (6.0, True)])
def test_the_cone_counts_not_the_axis(half_deg: float, touches: bool) -> None:
    down = math.atan2(6.0, 14.0) - math.radians(5.0)
    direction = np.array([[0.0, -math.cos(down), -math.sin(down)]])
    found = NoLight([ROWS], 0.0).touched(np.array([[0.0, 8.0, 8.0]]), direction, np.radians([half_deg]))
    assert bool(found[0]) == touches


def test_light_past_the_target_counts_down_to_the_floor() -> None:
    # The performer at (0, 1, 1.3) is in front of the area: the beam goes on, into the first rows.
    start = np.array([[0.0, 9.0, 7.0]])
    direction = np.array([[0.0, 1.0, 1.3]]) - start
    direction /= np.linalg.norm(direction)
    assert NoLight([ROWS], 0.0).touched(start, direction, np.radians([2.0]))[0]


def test_an_area_switched_off_or_under_the_floor_counts_for_nothing() -> None:
    down = (np.array([[0.0, -3.0, 9.0]]), np.array([[0.0, 0.0, -1.0]]), np.radians([5.0]))
    areas = NoLight([ROWS], 0.0)
    assert areas.touched(*down)[0]
    areas.on[0] = False
    assert not areas.touched(*down)[0]
    assert not NoLight([Area("cellar", CORNERS, (-3.0, -1.0))], 0.0).touched(*down)[0]
    assert NoLight([Area("pit", CORNERS, (-3.0, -1.0))], -2.0).touched(*down)[0]


def test_a_column_without_end_is_hit_from_the_side_and_from_inside() -> None:
    column = NoLight([Area("column", CORNERS)], 0.0)
    level, inside = np.array([[0.0, 9.0, 5.0]]), np.array([[0.0, -3.0, 5.0]])
    assert column.touched(level, np.array([[0.0, -1.0, 0.0]]), np.radians([1.0]))[0]
    assert column.touched(inside, np.array([[0.0, 0.0, 1.0]]), np.radians([1.0]))[0]
    assert not column.touched(level, np.array([[0.0, 1.0, 0.0]]), np.radians([1.0]))[0]
