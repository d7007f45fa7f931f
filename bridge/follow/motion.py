"""Motion inside what the motors can do, without lag for anything slower.

Each axis has a commanded angle and speed. A setpoint that itself stays inside the limits is met exactly at every
step. One that does not is approached as fast as speed and acceleration allow, and braked for in time: from speed v,
less a·dt at every step, the way to a stop is at most (v + a·dt/2)²/2a, which is solved for v. What is left within
one step of a·dt is gone in that step. The same keeps an axis from running into its own soft limits.
"""

from __future__ import annotations

import numpy as np

from bridge.fixtures.rig import Rig
from bridge.geometry.frames import Array


class Motors:
    """Pan (row 0) and tilt (row 1) of N heads: `angle` (2, N) rad and `speed` (2, N) rad/s as commanded."""

    def __init__(self, rig: Rig) -> None:
        self._top = np.stack([rig.pan.speed, rig.tilt.speed])
        self._acceleration = np.stack([rig.pan.acceleration, rig.tilt.acceleration])
        self._low = np.stack([rig.pan.low, rig.tilt.low])
        self._high = np.stack([rig.pan.high, rig.tilt.high])
        self._longest_stop = 1.5 * self._top**2 / self._acceleration + 0.1 * self._top
        self.rest = np.stack([rig.pan.rest, rig.tilt.rest])
        self.angle = self.rest.copy()
        self.speed = np.zeros_like(self.angle)
        self._setpoint = self.angle.copy()

    def step(self, setpoint: Array, dt_s: float, frozen: np.ndarray) -> None:
        """Advance by dt_s > 0 towards setpoints (2, N), held inside the soft limits; `frozen` (N,) heads stand."""
        setpoint = _clip(setpoint, self._low, self._high)
        gain = self._acceleration * dt_s
        own = _clip((setpoint - self._setpoint) / dt_s, -self._top, self._top)
        ahead = setpoint - self.angle - own * dt_s
        distance = np.abs(ahead)
        wanted = own + np.sign(ahead) * self._stoppable(distance, gain, dt_s)
        wanted = _clip(wanted, -self._top, self._top)
        to_low, to_high = self.angle - self._low, self._high - self.angle
        if (np.minimum(to_low, to_high) < self._longest_stop).any():
            wanted = _clip(wanted, -self._stoppable(to_low, gain, dt_s), self._stoppable(to_high, gain, dt_s))
        speed = np.where(frozen, 0.0, _clip(wanted, self.speed - gain, self.speed + gain))
        self.angle = self.angle + speed * dt_s
        self.speed = speed
        self._setpoint = setpoint

    def _stoppable(self, distance: Array, gain: Array, dt_s: float) -> Array:
        """The greatest speed from which a head still stops within a distance."""
        brake = np.sqrt(2 * self._acceleration * np.maximum(distance, 0.0)) - gain / 2
        return np.minimum(np.maximum(brake, gain), np.maximum(distance, 0.0) / dt_s)

    def put(self, angle: Array) -> None:
        """Stand at these angles (2, N) at once."""
        self.angle = _clip(angle, self._low, self._high)
        self.speed = np.zeros_like(self.angle)
        self._setpoint = self.angle.copy()

    def time_to(self, setpoint: Array) -> Array:
        """Seconds (N,) from here, taken as standing, to a setpoint: 2·sqrt(d/a), or d/v + v/a once v is reached."""
        distance = np.abs(setpoint - self.angle)
        ramp = self._top / self._acceleration
        short = 2 * np.sqrt(distance / self._acceleration)
        return np.max(np.where(distance < self._top * ramp, short, distance / self._top + ramp), axis=0)


def _clip(values: Array, low: Array, high: Array) -> Array:
    return np.minimum(np.maximum(values, low), high)  # a third of what np.clip costs on a short array
