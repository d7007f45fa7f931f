"""Motion inside what the motors can do, without lag for anything slower.

Each axis has a commanded angle and speed. A setpoint that itself stays inside the limits is met exactly at every
step. One that does not is approached as fast as speed and acceleration allow, and braked for in time: from speed v,
less a·dt at every step, the way to a stop is at most (v + a·dt/2)²/2a, which is solved for v. What is left within
one step of a·dt is gone in that step. The same keeps an axis from running into its own soft limits.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.keeping import NEVER_S, Field, Part, Seats, time_field
from bridge.geometry.frames import Array
from bridge.rig.rig import Rig

EASE_S = 3.0
MET_RAD = 1e-12  # what rounding leaves
WIDEST_RAD = 100.0


class Motors(Part):
    """Pan (row 0) and tilt (row 1) of N heads: `angle` (2, N) rad and `speed` (2, N) rad/s as commanded.

    `loose` (N,) heads may be outside their soft limits, inside the profile's range.
    """

    kept = (
        Field("angle", "heads", axis=1),
        Field("speed", "heads", axis=1),
        Field("_setpoint", "heads", axis=1),
        Field("_met", kind=bool),
        Field("loose", "heads", bool),
    )

    def __init__(self, rig: Rig) -> None:
        self._top = np.stack([rig.pan.speed, rig.tilt.speed])
        self._acceleration = np.stack([rig.pan.acceleration, rig.tilt.acceleration])
        self._soft = np.stack([rig.pan.low, rig.tilt.low]), np.stack([rig.pan.high, rig.tilt.high])
        self._ends = (
            np.stack([rig.pan.range_low, rig.tilt.range_low]),
            np.stack([rig.pan.range_high, rig.tilt.range_high]),
        )
        self._low, self._high = self._soft
        self.loose = np.zeros(len(rig), dtype=bool)
        self._slowest, self._gentlest = self._top.min(initial=np.inf), self._acceleration.min(initial=np.inf)
        self._longest_stop = 1.5 * self._top**2 / self._acceleration + 0.1 * self._top
        self.rest = np.stack([rig.pan.rest, rig.tilt.rest])
        self.angle = self.rest.copy()
        self.speed = np.zeros_like(self.angle)
        self._setpoint = self.angle.copy()
        self._met = True

    def free(self, where: np.ndarray) -> None:
        """These heads (N,) may leave their soft limits (the desk moves them); later they come back inside."""
        if not (where.any() or self.loose.any()):
            return
        outside = (self.angle < self._soft[0]) | (self.angle > self._soft[1])
        self.loose = where | (self.loose & outside.any(axis=0))
        self._limit()

    @property
    def anywhere(self) -> np.ndarray | None:
        """Heads (N,) that are loose; None: nobody is."""
        return self.loose if self.loose.any() else None

    @property
    def trailing(self) -> np.ndarray:
        """Heads (N,) that are not where they were to be with the last step."""
        return np.asarray((np.abs(self.angle - self._setpoint) > MET_RAD).any(axis=0))

    def _limit(self) -> None:
        self._low, self._high = (np.where(self.loose, e, s) for e, s in zip(self._ends, self._soft, strict=True))

    def step(self, setpoint: Array, dt_s: float, frozen: np.ndarray) -> bool:
        """Advance by dt_s > 0 towards setpoints (2, N), held inside the soft limits; `frozen` (N,) heads stand.

        Returns whether every head stands at its setpoint now.
        """
        setpoint = _clip(setpoint, self._low, self._high)
        speed = (setpoint - self.angle) / dt_s
        if self._all_can(speed, dt_s) and not frozen.any():
            self.angle, self.speed, self._setpoint = setpoint, speed, setpoint
        else:
            self._approach(setpoint, dt_s, frozen)
            self._met = bool((np.abs(self.angle - setpoint) <= MET_RAD).all())
        return self._met

    def _all_can(self, speed: Array, dt_s: float) -> bool:
        """Whether all heads, at their last setpoints so far, can simply be at the next: the usual case, made short.

        Judged by the weakest of all motors, so that it may say no where `_approach` gets there as well.
        """
        fastest, gain = np.abs(speed).max(initial=0.0), self._gentlest * dt_s
        if not self._met or fastest > self._slowest or np.abs(speed - self.speed).max(initial=0.0) > gain:
            return False
        if fastest <= gain:  # stops within a step, so that soft limits cannot matter
            return True
        stop = (fastest + gain) ** 2 / (2 * self._gentlest) + fastest * dt_s
        return bool(np.minimum(self.angle - self._low, self._high - self.angle).min() >= stop)

    def _approach(self, setpoint: Array, dt_s: float, frozen: np.ndarray) -> None:
        """As near to the setpoints as speed and acceleration allow, and braked for in time."""
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
        self._setpoint, self._met = self.angle.copy(), True

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part, held inside what the motors of this rig can do."""
        super().restore(data, seats)
        self._limit()
        angle = _clip(self.angle, self._low, self._high)
        self.speed = np.where(angle == self.angle, _clip(self.speed, -self._top, self._top), 0.0)
        self.angle, self._setpoint = angle, _clip(self._setpoint, self._low, self._high)

    def stand_at(self, angle: Array) -> None:
        """Be at these angles (2, N), on the way to where the setpoint is."""
        self.angle = _clip(angle, self._low, self._high)
        self._setpoint, self._met = self.angle.copy(), False

    def time_to(self, setpoint: Array) -> Array:
        """Seconds (N,) from here, taken as standing, to a setpoint: 2·sqrt(d/a), or d/v + v/a once v is reached."""
        distance = np.abs(setpoint - self.angle)
        ramp = self._top / self._acceleration
        short = 2 * np.sqrt(distance / self._acceleration)
        return np.max(np.where(distance < self._top * ramp, short, distance / self._top + ramp), axis=0)


class Easing(Part):
    """Takes a difference in angles back slowly: after new poses, heads that light their target go to it unseen."""

    kept = (Field("_offset", "heads", low=-WIDEST_RAD, high=WIDEST_RAD, axis=1), time_field("_until_s"))

    def __init__(self, heads: int) -> None:
        self._offset, self._until_s = np.zeros((2, heads)), NEVER_S

    def begin(self, offset: Array, now_s: float) -> None:
        """From `offset` (2, N) rad beside the goal now to none after EASE_S."""
        self._offset, self._until_s = offset, now_s + EASE_S

    def over(self, now_s: float) -> bool:
        """Whether nothing of it is left; an end that no `begin` has set is none (a damaged file)."""
        return not now_s < self._until_s <= now_s + EASE_S

    def apply(self, goal: Array, now_s: float) -> Array:
        """The goal (2, N) rad, with what is left of the offset."""
        return goal if self.over(now_s) else goal + (self._until_s - now_s) / EASE_S * self._offset


def _clip(values: Array, low: Array, high: Array) -> Array:
    return np.minimum(np.maximum(values, low), high)  # a third of what np.clip costs on a short array
