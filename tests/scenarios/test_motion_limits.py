"""Motors in virtual time: never faster or harder than the profile says, and no lag for what is slower than that."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.follow.moving.motors import Motors
from bridge.rig.fixture import Fixture
from bridge.rig.profile import Axis, Profile
from bridge.rig.rig import Rig

SPEED, ACCELERATION = np.radians(180.0), np.radians(600.0)
FRAME_S = 1 / 44
# a range so wide that its ends play no part; tilt is slower, and must not care what pan does
AXES = (Axis(-3000.0, 3000.0, 180.0, 600.0), Axis(-135.0, 135.0, 90.0, 300.0))
PROFILE = Profile("made up", 5, {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,)}, *AXES)


FREE = np.array([False])


def motors(heads: int = 1) -> Motors:
    return Motors(Rig.from_fixtures([Fixture(f"head-{n}", PROFILE, 1, 1 + 5 * n) for n in range(heads)], {}))


def drive(setpoints: list[float], steps_s: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Angle and speed after every step, from a standing start at 0."""
    one, angles, speeds = motors(), [0.0], [0.0]
    for setpoint, dt_s in zip(setpoints, steps_s, strict=True):
        one.step(np.array([[setpoint], [0.3]]), dt_s, FREE)
        angles.append(float(one.angle[0, 0]))
        speeds.append(float(one.speed[0, 0]))
    return np.array(angles), np.array(speeds)


@settings(max_examples=100, deadline=None)
@given(data=st.data(), count=st.integers(1, 60))
def test_no_setpoint_and_no_jitter_of_frames_breaks_a_limit(data: st.DataObject, count: int) -> None:
    setpoints = data.draw(st.lists(st.floats(-20, 20), min_size=count, max_size=count))
    steps_s = data.draw(st.lists(st.floats(0.001, 0.2), min_size=count, max_size=count))
    angles, speeds = drive(setpoints, steps_s)
    # measured on the angles, as a head would see them, not on the motor's own account of its speed
    seen = np.diff(angles) / steps_s
    assert np.all(np.abs(seen) <= SPEED + 1e-9)
    assert np.all(np.abs(np.diff([0.0, *seen])) <= ACCELERATION * np.array(steps_s) + 1e-9)
    np.testing.assert_allclose(seen, speeds[1:], atol=1e-9)


@pytest.mark.parametrize("rate_deg_s", [10.0, 90.0, 150.0])
def test_a_setpoint_inside_the_limits_is_met_at_every_step(rate_deg_s: float) -> None:
    time = np.arange(1, 400) * FRAME_S
    amplitude = np.radians(rate_deg_s) ** 2 / (ACCELERATION * 0.5)  # peak speed as asked, half the acceleration
    wave = amplitude * (1 - np.cos(np.radians(rate_deg_s) / amplitude * time))
    angles, _ = drive(list(wave), [FRAME_S] * len(wave))
    np.testing.assert_allclose(angles[1:], wave, atol=1e-9)


@pytest.mark.parametrize("jump_deg", [0.5, 10.0, 60.0, 200.0])
def test_a_jump_arrives_in_the_textbook_time_and_does_not_overshoot(jump_deg: float) -> None:
    jump = np.radians(jump_deg)
    angles, _ = drive([jump] * 400, [FRAME_S] * 400)
    assert angles.max() <= jump + 1e-9
    assert angles[-1] == pytest.approx(jump, abs=1e-9)
    # constant acceleration, then constant speed, then braking: 2 sqrt(d / a), or d / v + v / a
    ramp = SPEED**2 / ACCELERATION
    textbook = 2 * np.sqrt(jump / ACCELERATION) if jump < ramp else jump / SPEED + SPEED / ACCELERATION
    arrived = np.argmax(np.abs(angles - jump) < np.radians(0.05)) * FRAME_S
    assert textbook - 2 * FRAME_S <= arrived <= textbook + 6 * FRAME_S
    assert motors().time_to(np.array([[jump], [0.0]]))[0] == pytest.approx(textbook)


def test_a_target_too_fast_is_followed_at_full_speed_and_caught_up_with() -> None:
    time = np.arange(1, 300) * FRAME_S
    run = np.minimum(np.radians(300) * time, np.radians(400))  # 300 deg/s for 1.3 s, then it stands
    angles, speeds = drive(list(run), [FRAME_S] * len(run))
    assert speeds.max() == pytest.approx(SPEED)
    assert angles[-1] == pytest.approx(np.radians(400), abs=1e-9)
    assert angles.max() <= np.radians(400) + 1e-9


def test_the_slower_axis_decides_how_long_a_move_takes() -> None:
    # tilt by 30 deg, a = 300, v = 90: 30 / 90 + 90 / 300 = 0.633 s; pan by 30 deg takes 2 sqrt(30 / 600) = 0.447 s
    assert motors().time_to(np.radians([[30.0], [30.0]]))[0] == pytest.approx(30 / 90 + 90 / 300)
    assert motors().time_to(np.radians([[30.0], [0.0]]))[0] == pytest.approx(2 * np.sqrt(30 / 600))


def test_a_frozen_head_stands_at_once_and_the_others_go_on() -> None:
    two, goal = motors(2), np.radians([[90.0, 90.0], [0.0, 0.0]])
    for _ in range(10):
        two.step(goal, FRAME_S, np.array([False, False]))
    stood = two.angle[:, 0].copy()
    for _ in range(100):
        two.step(goal, FRAME_S, np.array([True, False]))
    assert np.array_equal(two.angle[:, 0], stood)
    assert two.angle[0, 1] == pytest.approx(np.radians(90.0))


def test_put_stands_at_once_inside_the_range() -> None:
    one = motors()
    one.step(np.radians([[90.0], [90.0]]), FRAME_S, FREE)
    one.put(np.radians([[40.0], [200.0]]))
    np.testing.assert_allclose(one.angle, np.radians([[40.0], [135.0]]))
    one.step(np.radians([[40.0], [135.0]]), FRAME_S, FREE)
    np.testing.assert_allclose(one.angle, np.radians([[40.0], [135.0]]), atol=1e-12)
