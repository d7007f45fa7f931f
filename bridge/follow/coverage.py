"""What each head can and cannot light over the whole performance polygon: known before anything is sent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.follow.engine import Engine
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import miss_distance


@dataclass(frozen=True)
class Coverage:
    """Over P points of the polygon and N heads, (P, N) each: what stands in the way of light there.

    `points` (P, 3) in metres; `zoom_missing` is how much the spot's diameter differs from the size asked for
    (m, positive: too large); `near_stop_rad` (N,) is the least way left to a pan or tilt limit.
    """

    points: Array
    unreached: np.ndarray
    clamped: np.ndarray
    too_near: np.ndarray
    no_light: np.ndarray
    zoom_missing: Array
    near_stop_rad: Array

    @property
    def lit(self) -> np.ndarray:
        """Where a head lights the target."""
        return ~(self.unreached | self.too_near | self.no_light)


def survey(engine: Engine) -> Coverage:
    """Aim every head at every sampled point, each time from its home."""
    rig, home, place = engine.rig, engine.reach.home, engine.place
    size, height = place.sizes_and_heights(engine.crew.follows)
    plan = place.zones.polygon.polygon.grid()
    floor = place.floors.height_at(plan)
    rows: list[tuple[np.ndarray, ...]] = []
    stop = np.full(len(rig), np.inf)
    for place, ground in zip(plan, floor, strict=True):
        points = np.column_stack([np.tile(place, (len(rig), 1)), ground + height])
        aim = engine.reach.aim(points, home.pan)
        start, direction = rig.heads.beam(aim.pan, aim.tilt)
        short = np.where(aim.clamped, miss_distance(start, direction, points), 0.0)
        _, angle = rig.optics.zoom_for(size, aim.distance)
        spot = 2 * aim.distance * np.tan(angle / 2)
        forbidden = engine.judge.cones_touch((start, direction), angle, aim.distance)
        rows.append(
            (aim.beyond | (short > size / 2), aim.clamped, aim.distance < rig.min_distance, forbidden, spot - size)
        )
        left = np.minimum(
            _left(aim.free_pan, rig.pan.low, rig.pan.high), _left(aim.free_tilt, rig.tilt.low, rig.tilt.high)
        )
        stop = np.minimum(stop, left)
    unreached, clamped, too_near, no_light, zoom = (np.array(column) for column in zip(*rows, strict=True))
    points = np.column_stack([plan, floor + height.mean()])
    return Coverage(points, unreached, clamped, too_near, no_light, zoom, stop)


def _left(angle: Array, low: Array, high: Array) -> Array:
    return np.minimum(angle - low, high - angle)
