"""Repeatable performers: paths over the stage with human speeds, turns and stops. Seeded; virtual time.

A path is made at 240 steps/s whatever rate it is read at, so every reader sees the same performer.
Speeds: a comfortable walk is 1.4 m/s (pedestrian handbooks; from memory), 6 m/s is a fast run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.errors import InputError
from bridge.venue.surfaces import inside, plan_distance

Array = NDArray[np.float64]
STEP_S = 1 / 240
TURN_M = 0.8  # so near to a place a body that passes it turns to the next


@dataclass(frozen=True)
class Gait:
    """Bounds of a body: m/s, m/s^2 for starting and turning, and the longest pause at a place, s."""

    speed: float
    acceleration: float
    pause_s: float


STROLL = Gait(1.4, 1.5, 1.5)
RUN = Gait(6.0, 5.0, 0.4)
HURRY = Gait(2.5, 2.5, 0.5)
STUDIED = {"stroll": Gait(1.4, 2.0, 1.5), "dance": Gait(2.5, 6.0, 0.5), "run": Gait(5.0, 6.0, 0.5)}
"""Performers on whom leading heads was studied, with 2 cm of step sway (facts/motion.md)."""


@dataclass(frozen=True)
class Path:
    """Where a performer is over time: positions (k, 2) in metres, one every STEP_S; it stands still at the end."""

    kind: str
    seed: int
    points: Array

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return (len(self.points) - 1) * STEP_S

    def at(self, t: float) -> tuple[float, float]:
        """Place at time t, seconds from the start; a jump stays a jump, between steps it is linear."""
        place = min(max(t, 0.0) / STEP_S, len(self.points) - 1.0)
        low = int(place)
        high = min(low + 1, len(self.points) - 1)
        a, b = self.points[low], self.points[high]
        if math.dist(a, b) > 20 * STEP_S:  # faster than anybody: somebody else takes over
            return float(b[0]), float(b[1])
        share = place - low
        return float(a[0] + share * (b[0] - a[0])), float(a[1] + share * (b[1] - a[1]))

    def sampled(self, rate_hz: float) -> Iterator[tuple[float, float, float]]:
        """(t, x, y) at any rate."""
        for i in range(int(self.seconds * rate_hz + 1e-9) + 1):
            yield (i / rate_hz, *self.at(i / rate_hz))


def walk(
    kind: str,
    corners: Sequence[Sequence[float]],
    seconds: float,
    seed: int,
    inset_m: float = 0.5,
    start: tuple[float, float] | None = None,
) -> Path:
    """A performer of one of KINDS over a stage polygon, from `start` or from a place of its own.

    Raises InputError for a kind that does not exist.
    """
    if kind not in KINDS:
        raise InputError(f"unknown walk '{kind}', allowed: {', '.join(KINDS)}")
    shape = np.asarray(corners, dtype=np.float64)
    rng = np.random.default_rng([seed, list(KINDS).index(kind)])
    count = max(round(seconds / STEP_S), 1) + 1
    first = place_inside(shape, rng, inset_m) if start is None else np.asarray(start, dtype=np.float64)
    return Path(kind, seed, KINDS[kind](shape, count, rng, inset_m, first))


def walk_by(gait: Gait, corners: Sequence[Sequence[float]], seconds: float, seed: int, sway_m: float = 0.0) -> Path:
    """A performer of any gait between places of a stage polygon, who sways by `sway_m` to each side while walking."""
    shape, rng = np.asarray(corners, dtype=np.float64), np.random.default_rng([seed, 99])
    count = max(round(seconds / STEP_S), 1) + 1
    points = _wander(shape, count, rng, 0.5, place_inside(shape, rng, 0.5), gait)
    return Path(f"{gait.speed:g} m/s", seed, points + _sway(points, sway_m))


def _sway(points: Array, sway_m: float) -> Array:
    """To the left and right of the way at a stride a second (a step is half of one; from memory), fading at stops."""
    velocity = np.gradient(points, STEP_S, axis=0)
    speed = np.linalg.norm(velocity, axis=1, keepdims=True)
    blur = np.hanning(round(0.5 / STEP_S))  # a hip does not turn at once
    ways = velocity / np.maximum(speed, 0.5)
    ahead = np.stack([np.convolve(way, blur / blur.sum(), "same") for way in ways.T], axis=1)
    left = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    return np.asarray(sway_m * left * np.sin(2 * np.pi * np.arange(len(points)) * STEP_S)[:, None])


def place_inside(corners: Array, rng: np.random.Generator, inset_m: float) -> Array:
    """A random place of the polygon at least inset_m from its edge (less where it is too narrow for that)."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    for attempt in range(2000):
        spot = low + rng.uniform(size=2) * (high - low)
        need = inset_m * (1 - attempt / 2000)
        if bool(inside(corners, spot[0], spot[1])) and _edge_distance(corners, spot) >= need:
            return np.asarray(spot)
    return np.asarray(corners.mean(axis=0))


def _edge_distance(corners: Array, spot: Array) -> float:
    edge = np.roll(corners, -1, axis=0) - corners
    share = np.clip(((spot - corners) * edge).sum(axis=1) / np.maximum((edge**2).sum(axis=1), 1e-12), 0, 1)
    return float(np.linalg.norm(spot - corners - share[:, None] * edge, axis=1).min())


class _Body:
    """Walks towards places with bounded speed and acceleration, in any direction."""

    def __init__(self, start: Array) -> None:
        self.place = np.asarray(start, dtype=np.float64).copy()
        self.velocity = np.zeros(2)

    def towards(self, goal: Array, gait: Gait) -> float:
        """One step; returns the distance that is left."""
        gap = goal - self.place
        left = float(np.linalg.norm(gap))
        # Brake with a margin so that turning on the way in needs no more than the bound.
        pace = min(gait.speed, math.sqrt(2 * 0.7 * gait.acceleration * left))
        wanted = gap / left * pace if left > 1e-9 else np.zeros(2)
        change = wanted - self.velocity
        size, most = float(np.linalg.norm(change)), gait.acceleration * STEP_S
        self.velocity = self.velocity + (change if size <= most else change * (most / size))
        self.place = self.place + self.velocity * STEP_S
        return left


def _wander(corners: Array, count: int, rng: np.random.Generator, inset_m: float, first: Array, gait: Gait) -> Array:
    """From place to place: at half of them the body stops, at the others it turns on the way."""
    body = _Body(first)
    points = np.empty((count, 2))
    goal, passing, pause = _next_place(corners, rng, inset_m, body.place), False, 0
    for i in range(count):
        points[i] = body.place
        left = body.towards(goal, gait)
        pause = max(pause - 1, 0)
        if pause > 1:
            continue
        if pause == 1 or (passing and left < TURN_M):
            goal, passing, pause = _next_place(corners, rng, inset_m, body.place), rng.uniform() < 0.5, 0
        elif left < 0.03:
            pause = 1 + max(1, round(rng.uniform(0.2, 1.0) * gait.pause_s / STEP_S))
    return points


def _next_place(corners: Array, rng: np.random.Generator, inset_m: float, here: Array) -> Array:
    """The furthest of three: crossing the stage lets a body reach its speed."""
    places = [place_inside(corners, rng, inset_m) for _ in range(3)]
    return max(places, key=lambda place: float(np.linalg.norm(place - here)))


def _stand(corners: Array, count: int, rng: np.random.Generator, inset_m: float, first: Array) -> Array:
    """Quiet standing sways by about a centimetre at below 1 Hz (posturography; from memory)."""
    t = np.arange(count) * STEP_S
    sway = np.zeros((count, 2))
    for _ in range(4):
        phase, rate = rng.uniform(0, 2 * np.pi, 2), rng.uniform(0.1, 0.7, 2)
        sway += 0.003 * np.sin(2 * np.pi * rate * t[:, None] + phase)
    return np.asarray(first + sway - sway[0])


def _dance(corners: Array, count: int, rng: np.random.Generator, inset_m: float, first: Array) -> Array:
    """Figures of 0.5 to 1 m at up to a step a second, drifting over the stage."""
    drift = _wander(corners, count, rng, inset_m + 1.0, first, Gait(0.5, 0.8, 2.0))
    t = np.arange(count) * STEP_S
    begun = np.minimum(t / 2.0, 1.0)[:, None]
    ease = begun * begun * (3 - 2 * begun)
    phase, rate = rng.uniform(0, 2 * np.pi, (2, 2)), rng.uniform(0.2, 0.5, 2)
    figure = sum(a * np.sin(2 * np.pi * r * t[:, None] + p) for a, r, p in zip((0.6, 0.25), rate, phase, strict=True))
    return np.asarray(drift + ease * figure)


def _jump(corners: Array, count: int, rng: np.random.Generator, inset_m: float, first: Array) -> Array:
    """Stands, and every three seconds is somewhere else at once: another performer takes over."""
    points = np.empty((count, 2))
    place, hold = first, round(3.0 / STEP_S)
    for start in range(0, count, hold):
        points[start : start + hold] = place
        place = place_inside(corners, rng, inset_m)
    return points


def _leave(corners: Array, count: int, rng: np.random.Generator, inset_m: float, first: Array) -> Array:
    """Hurries out of the nearest side by 1.5 m, waits, and comes back, again and again."""
    body = _Body(first)
    points = np.empty((count, 2))
    goal, wait, outside = _way_out(corners, rng), 0, True
    for i in range(count):
        points[i] = body.place
        if body.towards(goal, HURRY) > 0.05:
            continue
        wait += 1
        if wait * STEP_S > 1.5:
            outside, wait = not outside, 0
            goal = _way_out(corners, rng) if outside else place_inside(corners, rng, inset_m + 0.5)
    return points


def _way_out(corners: Array, rng: np.random.Generator) -> Array:
    """A place 1.5 m outside the polygon."""
    low, high = corners.min(axis=0) - 2.0, corners.max(axis=0) + 2.0
    for _ in range(5000):
        spot = low + rng.uniform(size=2) * (high - low)
        if 1.2 < plan_distance(corners, float(spot[0]), float(spot[1])) < 1.8:
            return np.asarray(spot)
    return np.asarray(low)


Maker = Callable[[Array, int, np.random.Generator, float, Array], Array]
KINDS: dict[str, Maker] = {
    "stand": _stand,
    "stroll": lambda c, n, r, inset, first: _wander(c, n, r, inset, first, STROLL),
    "run": lambda c, n, r, inset, first: _wander(c, n, r, inset, first, RUN),
    "dance": _dance,
    "jump": _jump,
    "leave": _leave,
}


@dataclass(frozen=True)
class Link:
    """How a tracker's messages reach the bridge: messages a second, jitter (uniform, s) and share lost."""

    rate_hz: float = 60.0
    jitter_s: float = 0.0
    loss: float = 0.0

    def messages(self, path: Path, seed: int) -> list[tuple[float, float, float]]:
        """(send time, x, y) in order of sending: what was seen at its moment leaves up to jitter_s later."""
        rng = np.random.default_rng([seed, 77])
        sent = []
        for t, x, y in path.sampled(self.rate_hz):
            late, lost = rng.uniform(0, self.jitter_s) if self.jitter_s else 0.0, rng.uniform() < self.loss
            if not lost:
                sent.append((t + late, x, y))
        return sorted(sent)
