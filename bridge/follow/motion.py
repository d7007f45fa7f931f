"""Motion inside what a motor can do, without lag for anything slower.

Each axis has a commanded angle and speed. A setpoint that itself stays inside the limits is met exactly at every
step. One that does not is approached as fast as speed and acceleration allow, and braked for in time: when stopping
takes steps of a·dt, the way from speed v is v²/2a + v·dt/2, which is solved for the greatest v that still stops.
"""

from __future__ import annotations

import numpy as np

from bridge.fixtures.rig import Axes
from bridge.geometry.frames import Array


class Motor:
    """One axis of N heads: `angle` (rad) and `speed` (rad/s) as commanded, and the setpoint it last heard."""

    def __init__(self, axes: Axes, angle: Array) -> None:
        self._limit, self._acceleration = axes.speed, axes.acceleration
        self.angle = angle.copy()
        self.speed = np.zeros_like(angle)
        self._setpoint = angle.copy()

    def step(self, setpoint: Array, dt_s: float) -> None:
        """Advance by dt_s > 0 towards the setpoints (N,)."""
        gain = self._acceleration * dt_s
        own = np.clip((setpoint - self._setpoint) / dt_s, -self._limit, self._limit)
        ahead = setpoint - self.angle - own * dt_s
        distance = np.abs(ahead)
        brake = -gain / 2 + np.sqrt(gain**2 / 4 + 2 * self._acceleration * distance)
        wanted = own + np.sign(ahead) * np.minimum(distance / dt_s, brake)
        wanted = np.clip(wanted, -self._limit, self._limit)
        self.speed = np.clip(wanted, self.speed - gain, self.speed + gain)
        self.angle = self.angle + self.speed * dt_s
        self._setpoint = setpoint.copy()

    def put(self, angle: Array, where: np.ndarray) -> None:
        """Stand at these angles at once, where `where` says so."""
        self.angle = np.where(where, angle, self.angle)
        self.speed = np.where(where, 0.0, self.speed)
        self._setpoint = np.where(where, self.angle, self._setpoint)

    def time_to(self, setpoint: Array) -> Array:
        """Seconds (N,) from here, taken as standing, to a setpoint: t = 2·sqrt(d/a), or d/v + v/a once v is reached."""
        distance = np.abs(setpoint - self.angle)
        ramp = self._limit**2 / self._acceleration
        short = 2 * np.sqrt(distance / self._acceleration)
        return np.where(distance < ramp, short, distance / self._limit + self._limit / self._acceleration)
