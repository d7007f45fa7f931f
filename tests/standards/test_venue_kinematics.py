"""The venue's forward kinematics and landing places against a MuJoCo model of the head (mujoco.mj_ray)."""

from __future__ import annotations

import mujoco
import numpy as np
import pytest

from bridge.geometry.stage import Floor
from bridge.rig.fixture import Mechanics
from bridge.venue.kinematics import Hangs
from bridge.venue.surfaces import Ground
from bridge.venue.truth import FixtureTruth

# Seen from conventions.md: base (pose) > pan joint about z > squareness about y > tilt joint about x > lens site.
MODEL = """
<mujoco><compiler angle="radian" autolimits="false"/><worldbody>
  <geom name="ground" type="plane" size="100 100 1" pos="0 0 0"/>
  <geom name="riser" type="box" size="2 1.5 0.3" pos="0 6.5 0.3"/>
  <body pos="{pos}" quat="{quat}">
    <body><joint name="pan" type="hinge" axis="0 0 1"/>
      <inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
      <body euler="0 {squareness} 0"><joint name="tilt" type="hinge" axis="1 0 0"/>
        <inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
        <site name="lens" pos="{lens_x} {lens_y} 0" euler="0 {collimation} 0"/>
  </body></body></body></worldbody></mujoco>
"""
RISER = Floor("riser", ((-2, 5), (2, 5), (2, 8), (-2, 8)), 0.6)
HANGING = (0.0, 0.0, 0.0, 1.0)
STANDING = (1.0, 0.0, 0.0, 0.0)  # roll 180
POSES = {
    "hanging": FixtureTruth((-3.0, -6.0, 8.0), HANGING),
    "standing": FixtureTruth((1.0, -2.0, 1.2), STANDING),
    "tilted": FixtureTruth((2.0, 9.0, 7.0), tuple(np.array([0.3, -0.2, 0.5, 0.7]) / np.sqrt(0.87))),
    "imperfect": FixtureTruth((0.5, -4.0, 6.0), (0.02, -0.03, 0.6, 0.8), Mechanics(0.6, 0.4, -0.3, 0.03, -0.02, 0.002)),
}


def _mujoco_beam(truth: FixtureTruth, pan: float, tilt: float) -> tuple[np.ndarray, np.ndarray, float]:
    x, y, z, w = np.asarray(truth.rotation) / np.linalg.norm(truth.rotation)
    terms = truth.mechanics
    model = mujoco.MjModel.from_xml_string(
        MODEL.format(
            pos=" ".join(map(repr, map(float, truth.position))),
            quat=f"{float(w)!r} {float(x)!r} {float(y)!r} {float(z)!r}",
            squareness=np.radians(terms.squareness),
            collimation=np.radians(terms.collimation),
            lens_x=terms.lens_x,
            lens_y=terms.lens_y,
        )
    )
    data = mujoco.MjData(model)
    data.joint("pan").qpos[0] = (1 + terms.pan_scale) * pan
    data.joint("tilt").qpos[0] = tilt + np.radians(terms.tilt_zero)
    mujoco.mj_forward(model, data)
    site = data.site("lens")
    ray = site.xmat.reshape(3, 3) @ np.array([0.0, 0.0, -1.0])
    geom = np.zeros(1, dtype=np.int32)
    distance = mujoco.mj_ray(model, data, site.xpos, ray, None, 1, -1, geom)
    return site.xpos.copy(), ray, float(distance)


@pytest.mark.parametrize("name", list(POSES))
def test_beams_start_point_and_land_as_in_mujoco(name: str) -> None:
    truth, rng = POSES[name], np.random.default_rng(4)
    hangs, ground = Hangs.of([truth]), Ground([RISER])
    landed = 0
    for pan, tilt in zip(rng.uniform(-4.7, 4.7, 60), rng.uniform(-2.3, 2.3, 60), strict=True):
        start, ray = hangs.beam(np.array([pan]), np.array([tilt]))
        expected_start, expected_ray, expected_distance = _mujoco_beam(truth, pan, tilt)
        assert start[0] == pytest.approx(expected_start, abs=1e-9)
        assert ray[0] == pytest.approx(expected_ray, abs=1e-9)
        distance, _ = ground.land(start, ray)
        if 0 < expected_distance < 100:  # MuJoCo's plane ends at 100 m
            landed += 1
            assert distance[0] == pytest.approx(expected_distance, abs=1e-6)
        elif expected_distance < 0 and abs(ray[0, 2]) > 0.1:
            assert np.isnan(distance[0])
    assert landed >= 15, "too few rays met anything: the comparison would be empty"


def test_check_values_of_conventions() -> None:
    """design/conventions.md: pan 0, tilt 90 -> (0, 1, 0); pan 90 -> (-1, 0, 0); pan -90 -> (1, 0, 0)."""
    hangs = Hangs.of([FixtureTruth((0, 0, 5), HANGING)] * 3)
    _, ray = hangs.beam(np.radians([0.0, 90.0, -90.0]), np.radians([90.0] * 3))
    assert ray == pytest.approx(np.array([[0, 1, 0], [-1, 0, 0], [1, 0, 0]]), abs=1e-12)
