"""What stands where rig.yaml, a profile or poses.yaml is silent (design/interface.md and conventions.md)."""

from __future__ import annotations

from bridge.rig.fixture import Fixture, Hang, Mechanics, Pose
from bridge.rig.profile import REQUIRED_CHANNELS, Axis, Profile, ZoomTable


def plain() -> Profile:
    return Profile("plain", 5, {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,)}, Axis(-270, 270), Axis(-135, 135))


def test_a_profile_says_what_it_must_and_the_rest_is_nothing() -> None:
    """Only pan, tilt and dimmer are required; conventions.md: light is linear in DMX and zoom is to 50 % by default."""
    assert REQUIRED_CHANNELS == ("pan", "tilt", "dimmer")
    profile = plain()
    assert (profile.zoom, profile.focus, dict(profile.fixed)) == (None, None, {})
    assert (profile.dimmer_curve, profile.min_distance, profile.lag) == ("linear", 0.0, 0.0)
    assert ZoomTable(((0.0, 10.0, None),)).edge == "beam"
    assert Axis(0.0, 1.0) == Axis(0.0, 1.0, speed=180.0, acceleration=600.0)


def test_full_scale_is_256_to_the_number_of_bytes_less_one() -> None:
    assert [plain().full_scale(name) for name in ("pan", "dimmer")] == [65535, 255]


def test_a_fixture_hangs_goes_dark_outside_and_is_otherwise_as_its_profile_says() -> None:
    """interface.md: `hang` hanging, sigma 1.0; outside: dark | stay."""
    assert Fixture("a", plain(), 1, 1) == Fixture(
        "a",
        plain(),
        1,
        1,
        hang=Hang(yaw=0.0, pitch=0.0, roll=0.0, sigma=1.0),
        at=None,
        at_sigma=None,
        truss=None,
        unit=None,
        follows=None,
        outside="dark",
        pan_limits=None,
        tilt_limits=None,
        rest=None,
        lag=None,
        zoom_table=None,
        focus_table=None,
    )


def test_a_pose_written_by_hand_is_good_for_both_faces_and_a_perfect_head() -> None:
    """interface.md: with the two required keys alone it is good input; faces: default either."""
    assert Pose((0.0, 0.0, 5.0), (0.0, 0.0, 0.0, 1.0)) == Pose(
        (0.0, 0.0, 5.0),
        (0.0, 0.0, 0.0, 1.0),
        faces=(1, 2),
        mechanics=Mechanics(0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        trusted=True,
        verified=True,
        aim_error_rms=None,
        aim_error_p95=None,
        position_sigma=None,
        rotation_sigma=None,
        residuals={},
        solved_from=None,
    )
