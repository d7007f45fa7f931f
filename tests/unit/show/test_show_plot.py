"""What the plot alone says: poses before the solve, and how far the solve may be from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.rig.fixture import Fixture, Hang
from bridge.show.plot import off_the_plot, plot_poses
from tests.conftest import spot_profile

HEAD = Fixture("a", spot_profile(), 1, 1, Hang(yaw=30, pitch=10, roll=180), at=(1.0, 2.0, 0.4))


def test_a_head_of_the_plot_hangs_as_hang_says_and_is_never_trusted() -> None:
    """conventions.md: R = Rz(yaw) Ry(pitch) Rx(roll); scipy says the same."""
    (pose,) = plot_poses([HEAD], {}).values()
    expected = Rotation.from_euler("ZYX", [30, 10, 180], degrees=True)
    assert (Rotation.from_quat(pose.rotation) * expected.inv()).magnitude() == pytest.approx(0, abs=1e-9)
    assert (pose.position, pose.trusted, pose.verified) == ((1.0, 2.0, 0.4), False, False)


def test_heads_without_a_place_or_with_a_pose_have_none_by_the_plot() -> None:
    pose = plot_poses([HEAD], {})["a"]
    assert plot_poses([HEAD, replace(HEAD, name="b", at=None)], {"a": pose}) == {}


@pytest.mark.parametrize(
    ("sigma", "moved", "told"),
    [
        (None, (0.4, 0.4, 0.4), False),  # 0.69 m
        (None, (0.5, 0.4, 0.4), True),  # 0.75 m
        ((0.3, 0.3, 0.1), (0.8, -0.8, 0.2), False),
        ((0.3, 0.3, 0.1), (1.0, 0.0, 0.0), True),
        ((0.3, 0.3, 0.1), (0.0, 0.0, 0.35), True),
    ],
)
def test_a_solve_far_from_the_plot_is_told(sigma, moved, told) -> None:
    head = replace(HEAD, at_sigma=sigma)
    place = tuple(float(v) for v in np.add(HEAD.at, moved))
    found = off_the_plot([head], {"a": place})
    assert list(found) == (["a"] if told else [])
    if told:
        assert f"dx {moved[0]:+.2f}, dy {moved[1]:+.2f}, dz {moved[2]:+.2f}" in found["a"]


def test_of_a_verified_pose_nobody_asks_whether_its_sightings_are_wrong() -> None:
    place = {"a": (1.0, 9.0, 0.4)}
    assert "or are its sightings" in off_the_plot([HEAD], place)["a"]
    assert off_the_plot([HEAD], place, {"a"})["a"].endswith("could hide so much: mend `at`")


def test_a_head_that_was_solved_where_another_hangs_names_it() -> None:
    other = replace(HEAD, name="b", at=(4.0, 2.0, 0.4))
    found = off_the_plot([HEAD, other], {"a": (4.1, 2.0, 0.5), "b": (1.0, 2.1, 0.4)})
    assert "where the plot has b" in found["a"]
    assert "where the plot has a" in found["b"]
    assert "the plot has" not in off_the_plot([HEAD, other], {"a": (1.0, 9.0, 0.4)})["a"].split("dx")[1]
