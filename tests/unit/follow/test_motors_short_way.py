"""The short way that motors take where all can simply be at their setpoints says what the full way says."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bridge.follow.moving.motors import Motors
from bridge.rig.fixture import Fixture
from bridge.rig.profile import Axis
from bridge.rig.rig import Rig

FRAME_S = 1 / 44


class FullWay(Motors):
    """Never takes the short way."""

    def _all_can(self, speed: np.ndarray, dt_s: float) -> bool:
        return False


@pytest.fixture
def rig(make_profile: Callable) -> Rig:
    """Three heads, the last with weaker motors and a soft limit that the walks run into."""
    weak = make_profile(pan=Axis(-270.0, 270.0, 60.0, 150.0), tilt=Axis(-135.0, 135.0, 50.0, 120.0))
    fixtures = [Fixture(f"h{n}", make_profile(), 1, 1 + 16 * n) for n in range(2)]
    return Rig.from_fixtures([*fixtures, Fixture("weak", weak, 1, 40, pan_limits=(-30.0, 30.0))], {})


def walk(seed: int, frames: int = 600) -> np.ndarray:
    """Setpoints (frames, 2, 3), rad: mostly a stroll, now and then a leap or a stand."""
    rng = np.random.default_rng(seed)
    speed, place, places = np.zeros((2, 3)), np.zeros((2, 3)), []
    for _ in range(frames):
        speed = 0.9 * speed + np.radians(rng.normal(0.0, 0.4, (2, 3)))
        if rng.random() < 0.01:
            place = place + np.radians(rng.uniform(-20.0, 20.0, (2, 3)))
        if rng.random() < 0.02:
            speed = np.zeros((2, 3))
        place = np.clip(place + speed * FRAME_S, -0.6, 0.6)
        places.append(place)
    return np.array(places)


@pytest.mark.parametrize("seed", range(8))
def test_both_ways_command_the_same(rig: Rig, seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    short, full, taken = Motors(rig), FullWay(rig), 0
    nobody, somebody = np.zeros(3, dtype=bool), np.array([False, True, False])
    for setpoint in walk(seed):
        dt_s = FRAME_S * rng.uniform(1.0, 1.3)
        frozen = somebody if rng.random() < 0.03 else nobody
        taken += short._all_can((setpoint - short.angle) / dt_s, dt_s)
        met = short.step(setpoint, dt_s, frozen), full.step(setpoint, dt_s, frozen)
        assert met[0] == met[1]
        np.testing.assert_allclose(short.angle, full.angle, atol=1e-9)
        np.testing.assert_allclose(short.speed, full.speed, atol=1e-7)
    assert 60 < taken < 600, "the walk must use both ways"
