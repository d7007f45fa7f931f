"""Where beams land. Held against the simulated venue, which has its own kinematics and floors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Floor, Stage
from bridge.panel.beams import Beams
from bridge.rig.rig import Rig
from bridge.venue.kinematics import Hangs
from bridge.venue.surfaces import Ground
from bridge.venue.truth import FixtureTruth

RISER = Floor("riser", ((-3.0, 4.0), (3.0, 4.0), (3.0, 8.0), (-3.0, 8.0)), 0.8)
STEP = Floor("step", ((-1.0, 5.0), (1.0, 5.0), (1.0, 7.0), (-1.0, 7.0)), 1.4)


@pytest.mark.parametrize("floors", [(), (RISER,), (RISER, STEP)])
def test_beams_land_where_the_venue_throws_them(
    make_rig: Callable[..., object], make_stage: Callable[..., Stage], floors: tuple[Floor, ...]
) -> None:
    rng = np.random.default_rng(11)
    for seed in range(20):
        rig = make_rig(seed=seed)
        stage = make_stage(floors=floors)
        beams = Beams(rig.fixtures, rig.poses, stage)
        pan, tilt = rng.uniform(-180, 180, len(rig.fixtures)), rng.uniform(-75, 75, len(rig.fixtures))
        landed = beams.land(pan, tilt, {})
        hangs = Hangs.of([FixtureTruth(p.position, p.rotation, p.mechanics) for p in rig.poses.values()])
        start, ray = hangs.beam(np.radians(pan), np.radians(tilt))
        length, on_top = Ground(floors).land(start, ray)
        thrown = start + length[:, None] * ray
        both = np.isfinite(landed[:, 0]) & np.isfinite(thrown[:, 0]) & on_top  # the sides of risers are the venue's
        assert both.sum() >= 8, f"seed {seed}"
        assert np.abs(landed - thrown)[both].max() < 1e-6, f"seed {seed}"


def test_a_floor_that_was_moved_counts_as_it_stands(
    make_rig: Callable[..., object], make_stage: Callable[..., Stage]
) -> None:
    rig, stage = make_rig(level_deg=0.0), make_stage(floors=(RISER,))
    beams = Beams(rig.fixtures, rig.poses, stage)
    heads = Rig.from_fixtures(rig.fixtures, rig.poses).heads
    pan, tilt, _ = heads.aim(np.tile([0.0, 6.0, 0.8], (len(rig.fixtures), 1)))
    angles = np.degrees(pan[:, 0]), np.degrees(tilt[:, 0])
    assert np.abs(beams.land(*angles, {}) - (0.0, 6.0, 0.8)).max() < 1e-6
    sunk = beams.land(*angles, {"riser": -0.5})[:, 2]
    reached = np.isfinite(sunk)  # flat beams meet the upright side of the pit, which is not looked at
    assert reached.sum() >= 8
    assert np.abs(sunk[reached] + 0.5).max() < 1e-9


def test_a_beam_into_the_sky_and_a_head_without_a_pose_land_nowhere(
    make_rig: Callable[..., object], make_stage: Callable[..., Stage]
) -> None:
    rig = make_rig(level_deg=0.0)
    some = dict(list(rig.poses.items())[1:])
    beams = Beams(rig.fixtures, some, make_stage())
    landed = beams.land(np.zeros(len(rig.fixtures)), np.full(len(rig.fixtures), 120.0), {})
    assert np.isnan(landed).all()
    down = beams.land(np.zeros(len(rig.fixtures)), np.zeros(len(rig.fixtures)), {})
    assert np.isnan(down[0]).all()
    assert np.isfinite(down[1:]).all()


def test_an_axis_passes_a_height_on_its_own_line(
    make_rig: Callable[..., object], make_stage: Callable[..., Stage]
) -> None:
    rig = make_rig(seed=3)
    beams = Beams(rig.fixtures, rig.poses, replace(make_stage()))
    pan, tilt = np.full(len(rig.fixtures), 40.0), np.full(len(rig.fixtures), 30.0)
    low = beams.at_height(pan, tilt, np.zeros(len(rig.fixtures)))
    high = beams.at_height(pan, tilt, np.full(len(rig.fixtures), 1.3))
    starts = np.array([pose.position for pose in rig.poses.values()])
    lit = np.isfinite(low[:, 0])
    assert lit.any()
    assert np.abs(np.cross(high - starts, low - starts))[lit].max() < 1e-6
    assert np.abs(high[lit, 2] - 1.3).max() < 1e-9
