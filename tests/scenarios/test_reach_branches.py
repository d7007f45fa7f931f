"""Faces and turns of pan: a head stays on one branch over the whole polygon, in its limits, and never aims wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.follow.moving.reach import Aim, Reach, Terrain
from bridge.geometry.areas import Polygon
from bridge.geometry.mechanics import miss_distance
from bridge.rig.rig import Rig

CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
SMALL_M = 0.02  # a step of the walk; heads are 7 m up, so a head that does not flip turns by well under this in rad


def ground(height_m: float = 1.3) -> Terrain:
    polygon = Polygon(CORNERS)
    plan = polygon.grid(0.5)
    points = np.column_stack([plan, np.full(len(plan), height_m)])
    return Terrain(polygon, points, np.array([*polygon.inner_point(), height_m]))


def walk(seed: int, steps: int = 1500) -> np.ndarray:
    """Straight stretches between random places in the polygon, points (steps, 3) SMALL_M apart."""
    rng, points, here = np.random.default_rng(seed), [], np.array([0.0, 4.0])
    while len(points) < steps:
        there = rng.uniform((-6, 0), (6, 8))
        count = max(1, int(np.linalg.norm(there - here) / SMALL_M))
        points.extend(np.linspace(here, there, count, endpoint=False))
        here = there
    return np.column_stack([points, np.full(len(points), 1.3)])[:steps]


def follow(rig: Rig, path: np.ndarray) -> tuple[Reach, list[Aim]]:
    """Aims along a path; the commanded pan is the aimed one, as with motors that keep up."""
    reach = Reach(rig, ground())
    pan, aims = reach.home.pan, []
    for point in path:
        aims.append(reach.aim(np.broadcast_to(point, (len(rig), 3)), pan))
        pan = aims[-1].pan
    return reach, aims


@pytest.mark.parametrize("seed", range(4))
def test_heads_that_cover_the_polygon_never_flip_jump_or_miss(seed: int, make_rig: Callable[..., Any]) -> None:
    made = make_rig(seed, level_deg=3.0)
    rig, path = Rig.from_fixtures(made.fixtures, made.poses), walk(seed)
    reach, aims = follow(rig, path)
    covered = (reach.home.coverage == 1.0) & ~reach.home.winds
    assert covered.sum() >= 8, "most of the rig hangs clear of the polygon and reaches all of it"
    faces, pans = np.array([aim.face for aim in aims]), np.array([aim.pan for aim in aims])
    assert np.all(faces[:, covered] == faces[0, covered])
    assert np.abs(np.diff(pans[:, covered], axis=0)).max() < np.radians(20)
    for point, aim in list(zip(path, aims, strict=True))[::50]:
        start, direction = rig.heads.beam(aim.pan, aim.tilt)
        missed = miss_distance(start, direction, np.broadcast_to(point, (len(rig), 3)))
        assert missed[covered].max() < 1e-9
        assert not (aim.clamped | aim.beyond)[covered].any()
        np.testing.assert_allclose(aim.distance, np.linalg.norm(point - start, axis=1), atol=1e-9)


@pytest.mark.parametrize("faces", [(1,), (2,)])
def test_a_sighted_face_is_the_only_one_used(faces: tuple[int, ...], make_rig: Callable[..., Any]) -> None:
    made = make_rig(3)
    poses = {name: replace(pose, faces=faces) for name, pose in made.poses.items()}
    _, aims = follow(Rig.from_fixtures(made.fixtures, poses), walk(3, 400))
    assert {int(face) for aim in aims for face in aim.face} == set(faces)
    assert all(np.all((aim.free_tilt >= 0) == (faces == (1,))) for aim in aims)


def with_limits(made: Any, pan: tuple[float, float], tilt: tuple[float, float]) -> Rig:
    fixtures = [replace(f, pan_limits=pan, tilt_limits=tilt) for f in made.fixtures]
    return Rig.from_fixtures(fixtures, made.poses)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("limits", [((-200, 200), (-110, 110)), ((-90, 60), (-80, 20)), ((10, 40), (30, 31))])
def test_no_aim_leaves_the_soft_limits_and_a_clamped_one_says_so(
    seed: int, limits: tuple[tuple[float, float], tuple[float, float]], make_rig: Callable[..., Any]
) -> None:
    rig, path = with_limits(make_rig(seed), *limits), walk(seed, 600)
    _, aims = follow(rig, path)
    for point, aim in list(zip(path, aims, strict=True))[::20]:
        for angle, (low, high) in ((aim.pan, limits[0]), (aim.tilt, limits[1])):
            assert np.all((np.degrees(angle) >= low - 1e-9) & (np.degrees(angle) <= high + 1e-9))
        missed = miss_distance(*rig.heads.beam(aim.pan, aim.tilt), np.broadcast_to(point, (len(rig), 3)))
        assert np.all(aim.clamped | aim.beyond | (missed < 1e-6)), "a beam that misses must say so"
        assert np.all(missed[~aim.clamped] < 1e-6)


def test_a_whole_turn_is_used_where_the_range_does_not_hold_the_nearest_one(make_rig: Callable[..., Any]) -> None:
    # A range from 180 to 540 deg holds every direction, but none of them within half a turn of 0.
    made = make_rig(1)
    turned = replace(made.fixtures[0].profile, pan=replace(made.fixtures[0].profile.pan, from_deg=180.0, to_deg=720.0))
    rig = Rig.from_fixtures([replace(f, profile=turned) for f in made.fixtures], made.poses)
    reach, aims = follow(rig, walk(1, 400))
    covered = (reach.home.coverage == 1.0) & ~reach.home.winds
    assert covered.sum() >= 8
    for aim in aims:
        assert np.all((np.degrees(aim.pan) >= 180 - 1e-9) & (np.degrees(aim.pan) <= 720 + 1e-9))
        assert not aim.clamped[covered].any()


def test_the_home_avoids_a_pan_stop_that_face_1_would_run_into(make_rig: Callable[..., Any]) -> None:
    # Level, unturned heads downstage of the polygon look upstage: pan near 0 on face 1, near 180 on face 2. Limits that
    # hold only (90, 270) leave face 2 alone; limits that hold only (-90, 90) leave face 1.
    made = make_rig(1, level_deg=0.0, yaw_deg=0.0)
    foh = [fixture for fixture in made.fixtures if fixture.truss == "foh"]
    for limits, face in (((-90.0, 90.0), 1), ((90.0, 270.0), 2)):
        rig = Rig.from_fixtures([replace(f, pan_limits=limits) for f in foh], made.poses)
        reach, aims = follow(rig, walk(2, 400))
        assert np.all(reach.home.coverage == 1.0)
        assert {int(f) for aim in aims for f in aim.face} == {face}


def test_what_no_angle_of_the_profile_reaches_is_beyond(make_rig: Callable[..., Any]) -> None:
    made = make_rig(1, level_deg=0.0)
    rig = Rig.from_fixtures(made.fixtures, made.poses)
    above = np.array([[*pose.position[:2], pose.position[2] + 3.0] for pose in made.poses.values()])
    aim = Reach(rig, ground()).aim(above, np.zeros(len(rig)))
    assert aim.beyond.all(), "straight up is tilt 180, past a range of 135"
