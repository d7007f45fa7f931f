"""Ways of the performers of the figures: the studied walks, and courses with stops and turns at known moments."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from moving_rig import CORNERS, TARGETS

from bridge.venue.walks import STEP_S, STUDIED, Path, walk, walk_by

SWAY_M = 0.02
SUDDEN = math.inf
Leg = tuple[float, tuple[float, float], float]
"""For so many seconds towards this velocity (m/s), with so much acceleration (m/s²; SUDDEN: at once)."""


def walks(seconds: float, seed: int) -> dict[str, Path]:
    """One of each, by target."""
    return {name: _walk(name, seconds, seed) for name in TARGETS}


def _walk(name: str, seconds: float, seed: int) -> Path:
    if name in STUDIED:
        return walk_by(STUDIED[name], CORNERS, seconds, seed, SWAY_M)
    return walk(name, CORNERS, seconds, seed)


@dataclass(frozen=True)
class Course:
    """A way with moments that matter: (when, direction of going before), seconds."""

    path: Path
    moments: tuple[tuple[float, tuple[float, float]], ...] = ()

    def at(self, t: float) -> tuple[float, float]:
        """Where the performer is."""
        return self.path.at(t)


def course(start: tuple[float, float], legs: Sequence[Leg], seconds: float, first: int, every: int) -> Course:
    """Legs again and again from `start`; a moment is where leg `first` begins, and every so many legs after it."""
    place, velocity, points, moments = np.array(start), np.zeros(2), [], []
    leg = 0
    while len(points) * STEP_S <= seconds:
        lasts, towards, acceleration = legs[leg % len(legs)]
        if leg >= first and (leg - first) % every == 0:
            speed = max(float(np.linalg.norm(velocity)), 1e-9)
            moments.append((len(points) * STEP_S, (float(velocity[0] / speed), float(velocity[1] / speed))))
        for _ in range(round(lasts / STEP_S)):
            change = np.array(towards) - velocity
            size, most = float(np.linalg.norm(change)), acceleration * STEP_S
            velocity = velocity + (change if size <= most else change * (most / size))
            points.append(place.copy())
            place = place + velocity * STEP_S
        leg += 1
    return Course(Path("course", 0, np.array(points)), tuple(moments))


def stops(seconds: float) -> Course:
    """Runs of 7.5 m at 5 m/s to and fro along a slant, braking with 6 m/s², and 1.2 s of standing after each."""
    vx, vy = 5 * 0.96, 5 * 0.28
    legs = [(1.5, (vx, vy), 6.0), (0.8333 + 1.2, (0.0, 0.0), 6.0), (1.5, (-vx, -vy), 6.0), (2.0333, (0.0, 0.0), 6.0)]
    return course((-3.6, 3.0), legs, seconds, 1, 2)


def corners(seconds: float, speed: float, acceleration: float, straight_s: float, start: tuple[float, float]) -> Course:
    """A square, turned by 90 degrees at every corner; `straight_s` between turns."""
    turn_s = 0.0 if acceleration == SUDDEN else math.sqrt(2) * speed / acceleration
    ways = [(speed, 0.0), (0.0, speed), (-speed, 0.0), (0.0, -speed)]
    return course(start, [(turn_s + straight_s, way, acceleration) for way in ways], seconds, 1, 1)


def events(seconds: float) -> dict[str, Course]:
    """By target: whoever stands still, a sudden turn at 2.5 m/s, a turn at 5 m/s with 6 m/s², stops from a run."""
    still = Course(Path("still", 0, np.tile((-2.0, 4.0), (2, 1))))
    return {
        "stand": still,
        "stroll": corners(seconds, 2.5, SUDDEN, 2.0, (-2.5, 1.5)),
        "dance": corners(seconds, 5.0, 6.0, 0.3, (-3.0, 0.8)),
        "run": stops(seconds),
    }
