"""Motors in virtual time: never faster or harder than the profile says, and no lag for what is slower than that."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.fixtures.rig import Axes
from bridge.follow.motion import Motor

SPEED, ACCELERATION = np.radians([180.0]), np.radians([600.0])
FRAME_S = 1 / 44
WIDE = np.array([100.0])
# Braking is planned in steps of a·dt; the last, broken step may carry a head past by f(1 - f)/2 of one, 0.04 deg here.
OVERSHOOT = ACCELERATION[0] * FRAME_S**2 / 8
AXES = Axes(-WIDE, WIDE, -WIDE, WIDE, SPEED, ACCELERATION, np.zeros(1))


def drive(setpoints: list[float], steps_s: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Angle and speed after every step, from a standing start at 0."""
    motor = Motor(AXES, np.zeros(1))
    angles, speeds = [0.0], [0.0]
    for setpoint, dt_s in zip(setpoints, steps_s, strict=True):
        motor.step(np.array([setpoint]), dt_s)
        angles.append(float(motor.angle[0]))
        speeds.append(float(motor.speed[0]))
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
    assert np.all(np.abs(np.diff([0.0, *seen])) <= ACCELERATION * steps_s + 1e-9)
    np.testing.assert_allclose(seen, speeds[1:], atol=1e-9)


@pytest.mark.parametrize("rate_deg_s", [10.0, 90.0, 150.0])
def test_a_setpoint_inside_the_limits_is_met_at_every_step(rate_deg_s: float) -> None:
    time = np.arange(1, 400) * FRAME_S
    amplitude = np.radians(rate_deg_s) ** 2 / (ACCELERATION[0] * 0.5)  # peak speed as asked, half the acceleration
    wave = amplitude * (1 - np.cos(np.radians(rate_deg_s) / amplitude * time))
    angles, _ = drive(list(wave), [FRAME_S] * len(wave))
    np.testing.assert_allclose(angles[1:], wave, atol=1e-9)


@pytest.mark.parametrize("jump_deg", [0.5, 10.0, 60.0, 200.0])
def test_a_jump_arrives_in_the_textbook_time_and_hardly_overshoots(jump_deg: float) -> None:
    jump = np.radians(jump_deg)
    angles, _ = drive([jump] * 400, [FRAME_S] * 400)
    assert angles.max() <= jump + OVERSHOOT + 1e-9
    assert angles[-1] == pytest.approx(jump, abs=1e-9)
    # constant acceleration, then constant speed, then braking: 2 sqrt(d / a), or d / v + v / a
    ramp = SPEED[0] ** 2 / ACCELERATION[0]
    textbook = 2 * np.sqrt(jump / ACCELERATION[0]) if jump < ramp else jump / SPEED[0] + SPEED[0] / ACCELERATION[0]
    arrived = np.argmax(np.abs(angles - jump) < np.radians(0.05)) * FRAME_S
    assert textbook - 2 * FRAME_S <= arrived <= textbook + 6 * FRAME_S
    motor = Motor(AXES, np.zeros(1))
    assert motor.time_to(np.array([jump]))[0] == pytest.approx(textbook)


def test_a_target_too_fast_is_followed_at_full_speed_and_caught_up_with() -> None:
    time = np.arange(1, 300) * FRAME_S
    run = np.minimum(np.radians(300) * time, np.radians(400))  # 300 deg/s for 1.3 s, then it stands
    angles, speeds = drive(list(run), [FRAME_S] * len(run))
    assert speeds.max() == pytest.approx(SPEED[0])
    assert angles[-1] == pytest.approx(np.radians(400), abs=1e-9)
    assert angles.max() <= np.radians(400) + OVERSHOOT + 1e-9


def test_put_stands_where_it_is_told_and_only_there() -> None:
    two = Axes(*(np.full(2, float(v)) for v in (-9, 9, -9, 9, SPEED[0], ACCELERATION[0], 0)))
    motor = Motor(two, np.zeros(2))
    motor.step(np.ones(2), FRAME_S)
    moving = motor.angle[1]
    motor.put(np.full(2, 0.5), np.array([True, False]))
    assert list(motor.angle) == [0.5, moving]
    motor.step(np.array([0.5, 1.0]), FRAME_S)
    assert motor.angle[0] == 0.5
