"""Every show folder that comes with the project loads without a warning, and hangs as its description says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely import Point, Polygon

import bridge
from bridge.geometry.frames import pan_tilt_of, rotation_from_hang, rotation_from_quaternion
from bridge.rig.fixture import Fixture, Pose
from bridge.show import Show, load
from bridge.show.folder import built_in_profiles, read_tree
from bridge.show.profile import read_profile
from bridge.show.rig import axis_range

ROOT = Path(__file__).parents[3]
DEMO = Path(bridge.__file__).parent / "demo_show"
SHOWS = [*sorted((ROOT / "configs").iterdir()), DEMO]


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.name)
def test_loads_without_a_warning(path: Path) -> None:
    assert load(path).warnings == ()


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.name)
def test_speaks_to_this_machine_only(path: Path) -> None:
    network = load(path).network
    assert {network.osc.host, network.sacn.interface, network.panel.host} == {"127.0.0.1"}
    assert network.osc.allow == ("127.0.0.0/8",)


def test_the_sizes_that_were_promised() -> None:
    tour, house, demo = (
        load(path) for path in (ROOT / "configs/harbour-hall-tour", ROOT / "configs/harbour-hall-house", DEMO)
    )
    for show in (tour, demo):
        assert len(show.fixtures) == 12
        assert len({fixture.truss for fixture in show.fixtures}) == 3
    assert len(house.fixtures) == 48
    assert {fixture.universe for fixture in house.fixtures} == {1, 2, 3, 4}
    assert house.stage.floors
    assert house.stage.no_light
    assert house.stage.more_areas
    assert house.stage.level_map
    assert len(house.stage.targets) == 2
    assert (house.stage.targets[0].sizes["tight"], house.stage.targets[0].heights["seated"]) == (0.8, 0.9)
    assert any("reset" in fixture.profile.actions for fixture in house.fixtures)
    assert len(tour.poses) == 12
    assert len(house.poses) == 48
    assert demo.poses == {}


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.name)
def test_every_head_follows_the_whole_polygon_on_face_1_without_a_pan_stop(path: Path) -> None:
    show = load(path)
    points = _points_over(show)
    outline = Polygon(show.stage.polygon.area.corners)
    for fixture in show.fixtures:
        position, rotation = _pose(fixture, show.poses.get(fixture.name))
        assert not outline.covers(Point(position[:2])), f"{fixture.name} hangs above the polygon"
        pan, tilt = (np.degrees(angle) for angle in pan_tilt_of((points - position) @ rotation))
        low, high = fixture.pan_limits or axis_range(fixture.profile.pan)
        lowest, highest = fixture.tilt_limits or axis_range(fixture.profile.tilt)
        assert low < pan.min(), fixture.name
        assert pan.max() < high, fixture.name
        assert np.ptp(pan) < 180, f"{fixture.name}: the polygon reaches round the head"
        assert lowest < tilt.min(), fixture.name
        assert tilt.max() < highest, fixture.name
        assert np.linalg.norm(points - position, axis=1).min() > fixture.profile.min_distance, fixture.name


def _points_over(show: Show) -> np.ndarray:
    area = show.stage.polygon.area
    outline = Polygon(area.corners)
    left, front, right, back = outline.bounds
    plan = [
        (x, y)
        for x in np.linspace(left, right, 13)
        for y in np.linspace(front, back, 13)
        if outline.covers(Point(x, y))
    ]
    return np.array([(x, y, z) for x, y in plan for z in (*area.height, 1.3)])


def _pose(fixture: Fixture, pose: Pose | None) -> tuple[np.ndarray, np.ndarray]:
    if pose is not None:
        return np.array(pose.position), rotation_from_quaternion(pose.rotation)
    hang = np.radians([fixture.hang.yaw, fixture.hang.pitch, fixture.hang.roll])
    return np.array(fixture.at), rotation_from_hang(*hang)


def test_poses_made_by_hand_agree_with_the_plot() -> None:
    """Within 0.5 m and 10 degrees: a pose booked to the wrong head would be metres off."""
    for name in ("harbour-hall-tour", "harbour-hall-house"):
        show = load(ROOT / "configs" / name)
        for fixture in show.fixtures:
            position, rotation = _pose(fixture, show.poses[fixture.name])
            nominal_position, nominal = _pose(fixture, None)
            assert np.linalg.norm(position - nominal_position) < 0.5
            assert np.degrees(np.arccos((np.trace(nominal.T @ rotation) - 1) / 2)) < 10


def test_built_in_profiles_load_and_cover_the_kinds() -> None:
    profiles = {name: read_profile(read_tree(path)[0]) for name, path in built_in_profiles().items()}
    assert {"spot-16bit", "wash-8bit", "spot-24bit"} <= set(profiles)
    assert [
        len(profiles["spot-16bit"].channels[channel]) for channel in ("pan", "tilt", "dimmer", "zoom", "focus")
    ] == [2] * 5
    assert {len(offsets) for offsets in profiles["wash-8bit"].channels.values()} == {1}
    assert "focus" not in profiles["wash-8bit"].channels
    assert profiles["spot-24bit"].full_scale("pan") == 256**3 - 1
    assert any(profile.pan.from_deg > profile.pan.to_deg for profile in profiles.values())
    assert {"reset", "quiet-fans"} == profiles["spot-16bit"].actions.keys()
