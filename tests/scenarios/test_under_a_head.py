"""A target that passes under a head: the hardest place for a pan-and-tilt head, since pan is undefined there."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bridge.follow.commands.table import Commands
from bridge.follow.engine import Engine
from bridge.geometry.mechanics import miss_distance
from bridge.geometry.stage import Target, Walk
from bridge.rig.fixture import Fixture, Pose
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput

WALK_M_S = 1.4  # ordinary human walking speed (common practice, no source)
FRAME_S = 1 / 44


def cross(make_profile, make_stage, offset_m: float, heading_deg: float, faces=(1, 2)):
    """Walk straight past the nadir of a head 8 m up; worst beam error (m), least level, fastest pan (deg/s)."""
    fixture = Fixture("over", make_profile(), 1, 1)
    rig = Rig.from_fixtures([fixture], {"over": Pose((0.0, 4.0, 8.0), (0.0, 0.0, 0.0, 1.0), faces=faces)})
    engine = Engine(rig, make_stage(targets=(Target("lead", walk=Walk(predict=False)),)), LostInput())
    commands = Commands(engine)
    along = np.array([math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))])
    across = np.array([-along[1], along[0]])
    errors, levels, pans = [], [], []
    for number in range(round(8 / FRAME_S)):
        now_s = number * FRAME_S
        way = -3.0 if now_s < 3.0 else min(-3.0 + WALK_M_S * (now_s - 3.0), 3.0)
        x, y = np.array([0.0, 4.0]) + way * along + offset_m * across
        commands.handle("/target/lead/position", (float(x), float(y)), "here", now_s)
        frame = engine.tick(now_s)
        if now_s > 2.5:
            start, direction = rig.heads.beam(frame.pan_rad, frame.tilt_rad)
            errors.append(miss_distance(start, direction, np.array([[x, y, 1.3]]))[0])
            levels.append(frame.level[0])
            pans.append(frame.pan_rad[0])
    return max(errors), min(levels), math.degrees(np.abs(np.diff(pans)).max() / FRAME_S)


@pytest.mark.parametrize("heading_deg", [0.0, 45.0, 120.0, 250.0])
@pytest.mark.parametrize("offset_m", [0.0, 0.02, 0.1, 0.3, 0.6])
def test_the_beam_stays_on_the_performer_and_the_light_on(make_profile, make_stage, offset_m, heading_deg) -> None:
    """The spot is 2 m wide: half its radius is allowed while crossing; measured: at most 0.44 m, at 0.1 m offset."""
    error_m, level, pan_speed = cross(make_profile, make_stage, offset_m, heading_deg)
    assert error_m < 0.5
    assert level == pytest.approx(1.0)
    assert pan_speed <= 180.0 + 1e-6


def test_straight_under_it_pan_does_not_turn_at_all(make_profile, make_stage) -> None:
    error_m, _, pan_speed = cross(make_profile, make_stage, 0.0, 30.0)
    assert error_m < 0.01
    assert pan_speed < 1.0
