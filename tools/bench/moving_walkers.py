"""Performers made up: walkers between random places, with stops, turns and the sway of steps. True places over time.

The same kinds as in every figure of moving performers: stroll 1.4 m/s and 2 m/s², dance 2.5 m/s and 6 m/s², run
5 m/s and 6 m/s². Sideways sway of 2 cm, one cycle every two steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FINE_S = 0.002
"""Step of the simulation."""
SWAY_M = 0.02
STAGE_M = (12.0, 8.0)


@dataclass(frozen=True)
class Kind:
    """Top speed m/s, acceleration m/s², how often one pauses at a place, strides per second."""

    name: str
    speed: float
    acceleration: float
    pauses: float = 0.3
    strides: float = 1.0


STAND = Kind("stand", 0.0, 1.0)
STROLL = Kind("stroll", 1.4, 2.0, 0.3, 0.9)
DANCE = Kind("dance", 2.5, 6.0, 0.3, 1.2)
RUN = Kind("run", 5.0, 6.0, 0.2, 1.5)
KINDS = (STAND, STROLL, DANCE, RUN)


def walks(kinds: list[Kind], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """(T, R, 3) m every FINE_S: one performer per entry of `kinds`, z 1.3 m."""
    count, steps = len(kinds), int(seconds / FINE_S) + 1
    top, hardest = (np.array([getattr(kind, key) for kind in kinds]) for key in ("speed", "acceleration"))
    pauses, strides = (np.array([getattr(kind, key) for kind in kinds]) for key in ("pauses", "strides"))
    stage = np.array(STAGE_M)
    place, goal = rng.uniform(0, stage, (count, 2)), rng.uniform(0, stage, (count, 2))
    speed, waits, phase = np.zeros((count, 2)), rng.uniform(0, 1, count), rng.uniform(0, 6.28, count)
    out = np.empty((steps, count, 3))
    for step in range(steps):
        way = goal - place
        left = np.hypot(*way.T)
        there = (left < 0.3) & (waits <= 0) & (top > 0)
        if there.any():
            stops = there & (rng.random(count) < pauses) & (left < 0.05)
            turns = there & ~stops & (rng.random(count) < 0.05)
            waits[stops] = rng.uniform(0.5, 2.5, stops.sum())
            goal[stops | turns] = rng.uniform(0, stage, ((stops | turns).sum(), 2))
            way = goal - place
            left = np.hypot(*way.T)
        waits -= FINE_S
        wanted = np.minimum(top, np.sqrt(2 * 0.9 * hardest * left)) * (waits <= 0)
        change = way / np.maximum(left, 1e-9)[:, None] * wanted[:, None] - speed
        size = np.hypot(*change.T)
        speed += change * np.minimum(1.0, hardest * FINE_S / np.maximum(size, 1e-12))[:, None]
        place = place + speed * FINE_S
        phase += 2 * np.pi * strides * FINE_S
        pace = np.hypot(*speed.T)
        across = np.stack([-speed[:, 1], speed[:, 0]], axis=1) / np.maximum(top, 1.0)[:, None]
        sway = across * (SWAY_M * np.sin(phase))[:, None] * (pace > 0)[:, None]
        out[step, :, :2], out[step, :, 2] = place + sway, 1.3
    return out


def at(track: np.ndarray, times_s: np.ndarray) -> np.ndarray:
    """(n, 3): where one performer, (T, 3), is at these times."""
    found = np.clip(np.asarray(times_s) / FINE_S, 0, len(track) - 1.001)
    low = found.astype(int)
    share = (found - low)[:, None]
    return track[low] * (1 - share) + track[low + 1] * share
