"""Our MVR and GDTF against their reference readers, pymvr and pygdtf, which know nothing of our code."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pygdtf
import pytest
from hypothesis import given, settings
from scipy.spatial.transform import Rotation

from bridge.exchange.gdtf_out import gdtf_of
from bridge.exchange.mvr_out import new_mvr
from bridge.rig.fixture import Pose
from bridge.rig.profile import Axis, Profile
from bridge.show.folder import built_in_profiles, read_tree
from bridge.show.profile import read_profile
from tests.unit.exchange.made_show import (
    by_pymvr,
    fixtures_by_pymvr,
    harbour_hall,
    place_by_pymvr,
    poses,
    solved,
    turn_between_rad,
)

BUILT_IN = {name: read_profile(read_tree(path)[0]) for name, path in built_in_profiles().items()}


@settings(deadline=None)
@given(poses())
def test_pymvr_alone_reads_back_any_pose_to_a_micrometre_and_a_microradian(pose: Pose) -> None:
    octets = new_mvr(solved({"mid-3": pose}))
    at, rotation = place_by_pymvr(fixtures_by_pymvr(octets)["mid-3"])
    assert np.linalg.norm(at - pose.position) < 1e-6
    assert turn_between_rad(rotation, Rotation.from_quat(pose.rotation).as_matrix()) < 1e-6


def test_pymvr_reads_names_numbers_patch_and_types() -> None:
    show = solved({}, foh_2={"number": "102"}, mid_3={"number": "2"})
    found = fixtures_by_pymvr(new_mvr(show))
    assert list(found) == [fixture.name for fixture in show.fixtures]
    assert (found["foh-2"].fixture_id, found["foh-2"].fixture_id_numeric) == ("102", 102)
    assert (found["foh-1"].fixture_id, found["foh-3"].fixture_id) == ("1", "3"), "2 is mid-3's own"
    assert len({each.fixture_id for each in found.values()}) == len({each.uuid for each in found.values()}) == 12
    for fixture in show.fixtures:
        (address,) = found[fixture.name].addresses.addresses
        assert (address.dmx_break, address.universe, address.address) == (0, fixture.universe, fixture.address)
        assert found[fixture.name].gdtf_mode == "Standard"


def test_pymvr_finds_the_trusses_as_positions() -> None:
    octets = new_mvr(solved({}))
    names = {position.uuid: position.name for position in by_pymvr(octets).scene.aux_data.positions}
    trusses = {name: names[fixture.position] for name, fixture in fixtures_by_pymvr(octets).items()}
    assert trusses == {fixture.name: fixture.truss for fixture in harbour_hall().fixtures}


def test_every_type_that_the_scene_names_is_inside_and_pygdtf_reads_it(tmp_path: Path) -> None:
    octets = new_mvr(solved({}))
    archive = zipfile.ZipFile(io.BytesIO(octets))
    for fixture in fixtures_by_pymvr(octets).values():
        kind = by_pygdtf(archive.read(fixture.gdtf_spec), tmp_path)
        assert [mode.name for mode in kind.dmx_modes] == [fixture.gdtf_mode]


@pytest.mark.parametrize("profile", BUILT_IN.values(), ids=BUILT_IN)
def test_pygdtf_reads_the_channels_that_the_profile_has(profile: Profile, tmp_path: Path) -> None:
    (mode,) = by_pygdtf(gdtf_of(profile), tmp_path).dmx_modes
    assert mode.dmx_channels_count == profile.footprint
    found = {str(channel.logical_channels[0].attribute): channel for channel in mode.dmx_channels}
    words = {"pan": "Pan", "tilt": "Tilt", "dimmer": "Dimmer", "zoom": "Zoom", "focus": "Focus1"}
    for name, offsets in profile.channels.items():
        assert found[words[name]].offset == list(offsets)
    for name, axis in (("Pan", profile.pan), ("Tilt", profile.tilt)):
        function = found[name].logical_channels[0].channel_functions[0]
        assert (function.physical_from.value, function.physical_to.value) == (axis.from_deg, axis.to_deg)
        assert function.real_fade == pytest.approx(travel_s(axis), abs=1e-3)
    held = {
        channel.offset[0]: channel.logical_channels[0].channel_functions[0].default.value
        for channel in mode.dmx_channels
        if str(channel.logical_channels[0].attribute) == "NoFeature"
    }
    assert {slot: value for slot, value in held.items() if value} == {k: v for k, v in profile.fixed.items() if v}


def test_pygdtf_finds_the_axes_where_the_profile_has_them(tmp_path: Path) -> None:
    profile = harbour_hall().fixtures[0].profile
    (base,) = by_pygdtf(gdtf_of(profile), tmp_path).geometries
    (yoke,) = base.geometries
    (head,) = yoke.geometries
    moved = np.eye(4)
    for geometry in (base, yoke, head):
        moved = moved @ np.array(geometry.position.matrix, dtype=np.float64)
    assert moved[:3, 3] == pytest.approx(profile.axes_at)
    assert [type(each).__name__ for each in (yoke, head, *head.geometries)] == [
        "GeometryAxis",
        "GeometryAxis",
        "GeometryBeam",
    ]


def travel_s(axis: Axis) -> float:
    """Seconds for the whole travel by half a million steps: full acceleration, full speed, full braking."""
    span, step = abs(axis.to_deg - axis.from_deg), 2e-5
    times = np.arange(0, 10, step)
    half = np.cumsum(np.minimum(axis.acceleration * times, axis.speed)) * step  # until the middle; braking mirrors it
    return float(2 * times[np.searchsorted(half, span / 2)])


def by_pygdtf(octets: bytes, folder: Path) -> Any:
    path = folder / "made.gdtf"
    path.write_bytes(octets)
    return pygdtf.FixtureType(str(path))
