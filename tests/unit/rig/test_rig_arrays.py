"""The rig as arrays: units, defaults, limits and poses, against design/conventions.md and scipy's rotations."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.rig.fixture import Fixture, Hang, Mechanics, Pose
from bridge.rig.profile import Axis, Profile
from bridge.rig.rig import Rig

QUARTER = (0.0, 0.0, 0.5**0.5, 0.5**0.5)  # 90 degrees about z, [x, y, z, w]
MECHANICS = Mechanics(tilt_zero=1.0, squareness=2.0, collimation=3.0, lens_x=0.04, lens_y=0.05, pan_scale=0.006)
POSE = Pose((1.0, 2.0, 3.0), QUARTER, (2,), MECHANICS, aim_error_p95=0.03)
TERMS = [*np.radians([1.0, 2.0, 3.0]), 0.04, 0.05, 0.006]


def head(make_profile: Callable[..., Profile], name: str = "a", **fields: object) -> Fixture:
    return Fixture(name, make_profile(), 1, 1, **fields)  # type: ignore[arg-type]


def mixed(make_profile: Callable[..., Profile]) -> Rig:
    """Heads a and c without a pose, b with one."""
    names = [("a", (7.0, 8.0, 9.0)), ("b", None), ("c", None)]
    return Rig.from_fixtures([head(make_profile, name, at=at) for name, at in names], {"b": POSE})


def test_a_pose_comes_in_radians_metres_and_as_a_turn(make_profile: Callable[..., Profile]) -> None:
    rig = mixed(make_profile)
    assert (len(rig), rig.names) == (3, ("a", "b", "c"))
    assert rig.has_pose.tolist() == [False, True, False]
    assert rig.heads.position[1].tolist() == [1.0, 2.0, 3.0]
    np.testing.assert_allclose(rig.heads.rotation[1], Rotation.from_quat(QUARTER).as_matrix(), atol=1e-12)
    np.testing.assert_allclose(rig.heads.terms[1], TERMS)
    assert rig.aim_error.tolist() == [0.0, 0.03, 0.0]


def test_a_head_without_a_pose_hangs_as_the_plot_says(make_profile: Callable[..., Profile]) -> None:
    """conventions.md: R = Rz(yaw) Ry(pitch) Rx(roll), which scipy writes "ZYX"."""
    hang = Hang(yaw=20.0, pitch=-30.0, roll=170.0)
    rig = Rig.from_fixtures([head(make_profile, hang=hang, at=(7.0, 8.0, 9.0)), head(make_profile, "b")], {})
    turn = Rotation.from_euler("ZYX", [20.0, -30.0, 170.0], degrees=True).as_matrix()
    np.testing.assert_allclose(rig.heads.rotation, [turn, np.eye(3)], atol=1e-12)
    assert rig.heads.position.tolist() == [[7.0, 8.0, 9.0], [0.0, 0.0, 0.0]]
    assert not rig.heads.terms.any()
    assert not rig.has_pose.any()
    assert rig.faces.all(), "what was never sighted may use either face"


@pytest.mark.parametrize(("faces", "may"), [((1,), [True, False]), ((2,), [False, True]), ((1, 2), [True, True])])
def test_only_the_faces_that_were_sighted_may_be_used(
    faces: tuple[int, ...], may: list[bool], make_profile: Callable[..., Profile]
) -> None:
    pose = Pose((0.0, 0.0, 5.0), QUARTER, faces)
    rig = Rig.from_fixtures([head(make_profile)], {"a": pose})
    assert rig.faces.tolist() == [may]
    assert rig.aim_error.tolist() == [0.0], "nothing is known of the error"


def test_the_motors_come_in_radians(make_profile: Callable[..., Profile]) -> None:
    profile = make_profile(pan=Axis(-270.0, 270.0, 180.0, 600.0), tilt=Axis(120.0, -135.0, 150.0, 500.0))
    rig = Rig.from_fixtures([Fixture("a", profile, 1, 1)], {})
    for axes, low, high, speed, acceleration in (
        (rig.pan, -270.0, 270.0, 180.0, 600.0),
        (rig.tilt, -135.0, 120.0, 150.0, 500.0),  # a profile may run from the larger angle
    ):
        found = np.degrees([axes.low, axes.high, axes.range_low, axes.range_high, axes.speed, axes.acceleration]).T
        np.testing.assert_allclose(found, [[low, high, low, high, speed, acceleration]])
        assert axes.rest.tolist() == [0.0]


def test_limits_are_the_rigs_and_the_range_stays_the_profiles(make_profile: Callable[..., Profile]) -> None:
    one = head(make_profile, pan_limits=(-90.0, 45.0), tilt_limits=(10.0, 60.0), rest=(30.0, 40.0))
    rig = Rig.from_fixtures([one], {})
    for axes, low, high, end, rest in ((rig.pan, -90.0, 45.0, 270.0, 30.0), (rig.tilt, 10.0, 60.0, 135.0, 40.0)):
        found = np.degrees([axes.low, axes.high, axes.range_low, axes.range_high, axes.rest]).T
        np.testing.assert_allclose(found, [[low, high, -end, end, rest]])


@pytest.mark.parametrize(("rest", "stays"), [((-120.0, 100.0), (-90.0, 60.0)), ((50.0, 0.0), (45.0, 10.0))])
def test_a_head_rests_inside_its_limits(
    rest: tuple[float, float], stays: tuple[float, float], make_profile: Callable[..., Profile]
) -> None:
    one = head(make_profile, pan_limits=(-90.0, 45.0), tilt_limits=(10.0, 60.0), rest=rest)
    rig = Rig.from_fixtures([one], {})
    assert np.degrees([rig.pan.rest[0], rig.tilt.rest[0]]) == pytest.approx(stays)


def test_without_a_rest_it_rests_at_zero_or_the_nearest_that_is_allowed(make_profile: Callable[..., Profile]) -> None:
    rig = Rig.from_fixtures([head(make_profile, tilt_limits=(10.0, 60.0))], {})
    assert (rig.pan.rest[0], np.degrees(rig.tilt.rest[0])) == (0.0, pytest.approx(10.0))


def test_the_optics_are_those_of_the_fixtures(make_profile: Callable[..., Profile]) -> None:
    own = head(make_profile, "b", zoom_table=((0.0, 20.0, None), (65535.0, 10.0, None)))
    rig = Rig.from_fixtures([head(make_profile), own], {})
    np.testing.assert_allclose(np.degrees(rig.optics.angle_of(np.zeros(2))), [55.0, 20.0])


def test_a_fixtures_own_lag_comes_before_its_profiles(make_profile: Callable[..., Profile]) -> None:
    rig = Rig.from_fixtures(
        [head(make_profile), head(make_profile, "b", lag=0.0), head(make_profile, "c", lag=0.3)], {}
    )
    assert rig.lag.tolist() == [0.1, 0.0, 0.3]
    assert rig.min_distance.tolist() == [2.0, 2.0, 2.0]


def test_new_poses_change_the_heads_that_they_name_and_no_others(make_profile: Callable[..., Profile]) -> None:
    before = mixed(make_profile)
    new = Pose((4.0, 5.0, 6.0), (1.0, 0.0, 0.0, 0.0), (1,), aim_error_p95=0.07)
    after = before.with_poses({"c": new, "nobody": POSE})
    assert after.fixtures == before.fixtures
    assert after.has_pose.tolist() == [False, True, True]
    assert after.faces.tolist() == [[True, True], [False, True], [True, False]]
    assert after.aim_error.tolist() == [0.0, 0.03, 0.07]
    assert after.heads.position.tolist() == [[7.0, 8.0, 9.0], [1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]
    np.testing.assert_allclose(after.heads.rotation[1], before.heads.rotation[1])
    np.testing.assert_allclose(after.heads.rotation[2], np.diag([1.0, -1.0, -1.0]), atol=1e-12)
    np.testing.assert_allclose(after.heads.terms, [[0.0] * 6, TERMS, [0.0] * 6])
    again = after.with_poses({"b": new})
    assert again.heads.position[1].tolist() == [4.0, 5.0, 6.0]
    assert not again.heads.terms.any(), "what was known of the old pose's mechanics goes with it"
    assert before.has_pose.tolist() == [False, True, False], "a rig never changes"


def test_a_rig_may_be_empty() -> None:
    rig = Rig.from_fixtures([], {})
    assert (len(rig), rig.names) == (0, ())
    assert (rig.heads.position.shape, rig.heads.rotation.shape, rig.heads.terms.shape) == ((0, 3), (0, 3, 3), (0, 6))
    assert rig.pan.low.shape == rig.tilt.rest.shape == (0,)
    assert rig.has_pose.dtype == rig.faces.dtype == bool, "masks, also of nobody"
