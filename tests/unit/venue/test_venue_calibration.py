"""What a calibration's error is, against cases worked out by hand and against scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from bridge.rig.fixture import Mechanics, Pose
from bridge.solve.measurements import Sighting
from bridge.venue.calibration import (
    aim,
    aim_errors,
    calibration,
    grid_points,
    other_hang_words,
    sighting_misses,
)
from bridge.venue.invent import invent
from bridge.venue.kinematics import Hangs
from bridge.venue.truth import FixtureTruth, Truth
from tests.unit.venue.rigs import show

TILTED = (0.05, -0.08, 0.6, 0.794)


def test_the_grid_is_that_of_the_facts() -> None:
    points = grid_points(show(1))
    assert points.shape == (70, 3)
    assert points.min(axis=0) == pytest.approx([-6, 0, 0])
    assert points.max(axis=0) == pytest.approx([6, 8, 1.4])


@pytest.mark.parametrize("faces", [(1,), (2,)])
def test_aim_meets_the_point_with_every_mechanical_term(faces: tuple[int, ...]) -> None:
    terms = Mechanics(0.8, 0.4, -0.3, 0.03, -0.04, 0.002)
    pose = Pose((1.0, -5.0, 8.0), TILTED, faces=faces, mechanics=terms)
    truth, points = FixtureTruth(pose.position, pose.rotation, terms), grid_points(show(1))
    assert aim_errors(pose, truth, points).max() < 1e-6
    _, tilt = aim(pose, points)
    assert ((tilt >= 0) == (faces == (1,))).all()


def test_aim_agrees_with_a_generic_optimiser() -> None:
    pose = Pose((1.0, -5.0, 8.0), TILTED, mechanics=Mechanics(tilt_zero=0.8, squareness=0.5))
    hangs = Hangs.of([FixtureTruth(pose.position, pose.rotation, pose.mechanics)])
    point = np.array([[3.0, 6.0, 1.4]])
    pan, tilt = aim(pose, point)

    def off(angles: np.ndarray) -> np.ndarray:
        start, ray = hangs.beam(angles[:1], angles[1:])
        to_point = point - start
        return (to_point / np.linalg.norm(to_point) - ray)[0]

    found = least_squares(off, [pan[0] + 0.2, tilt[0] - 0.1], xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    assert found == pytest.approx([pan[0], tilt[0]], abs=1e-7)


def test_a_pose_moved_sideways_is_off_by_as_much_as_the_beam_is() -> None:
    """Aimed from 10 cm to the left, a beam runs parallel: off by 10 cm times the cosine to that direction."""
    pose = Pose((0.0, 4.0, 8.0), (0.0, 0.0, 0.0, 1.0))
    truth = FixtureTruth((0.1, 4.0, 8.0), (0.0, 0.0, 0.0, 1.0))
    assert aim_errors(pose, truth, np.array([[0.0, 7.0, 0.0]]))[0] == pytest.approx(0.1)
    slant = aim_errors(pose, truth, np.array([[6.0, 4.0, 0.0]]))[0]
    assert slant == pytest.approx(0.1 * 8 / 10)


def test_the_summary_names_what_is_unsolved() -> None:
    rig = show(3)
    truth = invent(rig, 1)
    head = truth.fixtures["foh-1"]
    solved = replace(rig, poses={"foh-1": Pose(head.position, head.rotation, mechanics=head.mechanics)})
    found = calibration(solved, truth)
    assert found["unsolved"] == ["foh-2", "foh-3"]
    assert found["all"]["worst_m"] < 1e-5
    assert calibration(rig, truth)["all"]["rms_m"] is None


def test_sighting_misses_are_measured_on_the_mark() -> None:
    truth = Truth({"foh-1": FixtureTruth((0.0, -5.0, 8.0), (0.0, 0.0, 0.0, 1.0))}, {"A": (0.0, 3.0, 0.0)})
    rig = replace(show(1), sightings=(Sighting("foh-1", "A", 0.0, 45.0), Sighting("foh-1", "A", 180.0, -45.0)))
    assert sighting_misses(rig, truth) == pytest.approx([0.0, 0.0], abs=1e-12)
    rig = replace(rig, sightings=(Sighting("foh-1", "A", 1.0, 45.0),))
    assert sighting_misses(rig, truth) == pytest.approx([2 * 8 * np.sin(np.radians(0.5))])
    assert sighting_misses(show(1), truth).size == 0


def test_poses_of_another_hang_are_told_with_how_far_they_are_off() -> None:
    rig = show(3)
    truth = invent(rig, 7)
    true = {name: Pose(t.position, t.rotation, mechanics=t.mechanics) for name, t in truth.fixtures.items()}
    assert other_hang_words(replace(rig, poses=true), truth) is None
    assert other_hang_words(rig, truth) is None, "no poses, nothing to say"
    turned = true | {"foh-2": replace(true["foh-2"], rotation=(0.0, 0.0, 0.0, 1.0))}
    words = other_hang_words(replace(rig, poses=turned), truth)
    assert words is not None
    off = calibration(replace(rig, poses=turned), truth)["all"]["rms_m"]
    assert off > 1
    assert f"1 of 3 heads miss, all together by {off:.1f} m" in words
    assert "--focus" in words
