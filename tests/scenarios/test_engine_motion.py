"""Issue: "commanded speed and acceleration stay inside the profile's": frames while all is asked at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Target, Walk

RATE = 44
LIMITS = {"pan_rad": (180.0, 600.0), "tilt_rad": (150.0, 500.0)}  # deg/s, deg/s² of the profile in tests/conftest.py


@pytest.mark.parametrize("seed", range(3))
def test_no_frame_asks_a_head_for_more_than_its_motors_can(make_bridge: Callable[..., Any], seed: int) -> None:
    bridge, rng = make_bridge(seed), np.random.default_rng(seed)

    def act(_: float) -> None:
        bridge.say("/target/lead/position", float(rng.uniform(-7, 7)), float(rng.uniform(-1, 9)))
        name = bridge.rig.names[rng.integers(12)]
        bridge.say(f"/fixture/{name}/{['hold', 'out'][rng.integers(2)]}", int(rng.integers(2)))
        bridge.say(f"/fixture/{name}/follow", bridge.engine.place.names[rng.integers(2)])
        if rng.random() < 0.3:
            bridge.say(f"/sight/{name}/point", float(rng.uniform(-90, 90)), float(rng.uniform(0, 90)))
        if rng.random() < 0.3:
            bridge.say(f"/sight/{name}/done")

    frames = [bridge.frame, *bridge.run(20.0, act, every_s=0.4)]
    for name, (speed, acceleration) in LIMITS.items():
        angles = np.degrees([getattr(frame, name) for frame in frames])
        speeds = np.diff(angles, axis=0) * RATE
        assert np.abs(speeds).max() <= speed * (1 + 1e-6)
        assert np.abs(np.diff(speeds, axis=0)).max() * RATE <= acceleration * (1 + 1e-6)
        assert np.abs(speeds).max() > 0.9 * speed, "the test must have asked for as much as there is"


def test_a_stroll_is_followed_without_lag(make_bridge: Callable[..., Any]) -> None:
    """Every frame lights the newest place that was said, to the millimetre: motion adds nothing to so slow a target."""
    bridge = make_bridge(targets=(Target("lead", walk=Walk(predict=False)),))
    bridge.stand(-3.0, 1.0)
    for number in range(4 * RATE):
        angle = number / RATE / 2
        place = (-3.0 * np.cos(angle), 1.0 + 0.7 * np.sin(angle))
        bridge.say("/target/lead/position", *map(float, place))
        bridge.run(1 / RATE)
        assert (
            bridge.misses((*place, 1.3)).max() < 1e-3 or number < 15
        )  # a third of a second to gather speed from standing
