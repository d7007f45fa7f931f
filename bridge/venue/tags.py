"""Tags on the venue's performers as a tracking system sees them: noisy, late, lost, thrown off, in axes of its own.

Virtual time and seeded dice; no socket, no clock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3
from bridge.venue.tracking_options import Tracking

FASTEST_M_S = 20.0  # whoever is faster is somebody else
MOST_BEHIND_S = 0.25  # after a stall: what is older is skipped


class Tag(NamedTuple):
    """One tag as it is sent: in the system's own axes; `velocity` is the true one there, m/s."""

    point: str
    place: Point3
    velocity: Point3


class Sample(NamedTuple):
    """One look of the system: what it saw at `at_s` leaves at `due_s`."""

    due_s: float
    at_s: float
    tags: tuple[Tag, ...]


class Tags:
    """`look(now_s, feet)` at the venue's steps gives the looks that fall until the next step."""

    def __init__(self, tracking: Tracking) -> None:
        self._tracking = tracking
        self._rng = np.random.default_rng([tracking.seed, 59])
        frame = tracking.frame
        self._to_input, self._origin = np.linalg.inv(frame.matrix), np.array(frame.origin)
        self._number = -1
        self._before: tuple[float, dict[str, Array]] | None = None
        self._lost: dict[str, bool] = {}

    def look(self, now_s: float, feet: Mapping[str, Point3]) -> list[Sample]:
        """`feet` (m, stage) by target now. Between steps and a step ahead a performer goes straight on."""
        rate = self._tracking.rate_hz
        places = {name: np.array(place) for name, place in feet.items() if name in self._tracking.points}
        step_s, velocities = self._since(now_s, places)
        self._before = now_s, places
        first = max(self._number + 1, math.ceil((now_s - MOST_BEHIND_S) * rate)) if self._number >= 0 else None
        until_s = now_s + step_s
        self._number = max(math.floor(until_s * rate), self._number)
        if first is None:  # nobody knows yet how fast they are
            return []
        return [self._sample(number / rate, now_s, places, velocities) for number in range(first, self._number + 1)]

    def _since(self, now_s: float, places: dict[str, Array]) -> tuple[float, dict[str, Array]]:
        """How long the last step was, and how fast everybody was in it."""
        still = {name: np.zeros(3) for name in places}
        if self._before is None or now_s <= self._before[0]:
            return 0.0, still
        step_s = now_s - self._before[0]
        for name, place in places.items():
            velocity = (place - self._before[1].get(name, place)) / step_s
            if np.linalg.norm(velocity) < FASTEST_M_S:
                still[name] = velocity
        return min(step_s, 0.02), still

    def _sample(self, at_s: float, now_s: float, places: dict[str, Array], velocities: dict[str, Array]) -> Sample:
        seen = self._tracking
        tags = []
        for name, place in places.items():
            off = self._off()
            if not self._is_lost(name):
                tag = place + velocities[name] * (at_s - now_s) + (0.0, 0.0, seen.height_m) + off
                tags.append(
                    Tag(
                        seen.points[name],
                        _point(self._to_input @ (tag - self._origin)),
                        _point(self._to_input @ velocities[name]),
                    )
                )
        late = seen.delay_s + self._rng.uniform(0.0, 1.0) * seen.jitter_s
        return Sample(at_s + late, at_s, tuple(tags))

    def _off(self) -> Array:
        """How far off a tag is seen, (3,) m: noise, and now and then an echo of it."""
        seen, rng = self._tracking, self._rng
        off = rng.normal(size=3) * seen.noise_m
        echo, way = rng.uniform(), rng.uniform(0, 2 * math.pi)
        if echo < seen.jumps / 60.0 / seen.rate_hz:
            off = off + seen.jump_m * np.array([math.cos(way), math.sin(way), 0.0])
        return np.asarray(off)

    def _is_lost(self, name: str) -> bool:
        """Whether a tag is not seen this time: a share of `loss`, for `burst_s` on average at a time (Gilbert)."""
        seen, dice = self._tracking, self._rng.uniform()
        long = seen.burst_s * seen.rate_hz
        if long <= 1.0:
            return bool(dice < seen.loss)
        lost = self._lost.get(name, False)
        ends, begins = 1.0 / long, seen.loss / (1.0 - seen.loss) / long
        self._lost[name] = lost = bool(dice >= ends) if lost else bool(dice < begins)
        return lost


def _point(v: Array) -> Point3:
    x, y, z = v.tolist()
    return (x, y, z)
