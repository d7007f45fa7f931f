"""How much light: evenness between heads at different distances, and a level map over the stage."""

from __future__ import annotations

import math

import numpy as np

from bridge.follow.keeping import Field, Part
from bridge.geometry.frames import Array
from bridge.geometry.stage import LevelMap
from bridge.rig.optics import Optics

WEAKEST_SHARE = 0.5
SETTLE_S = 0.3


def map_factor(level_map: LevelMap | None, points: Array) -> Array:
    """Factor (P,) of the level map at points (P, 2 or 3), bilinear, held at the edges; 1 without a map."""
    if level_map is None:
        return np.ones(len(points))
    factor = np.asarray(level_map.factor, dtype=np.float64)
    column, x = _cell(np.asarray(level_map.x, dtype=np.float64), points[:, 0])
    row, y = _cell(np.asarray(level_map.y, dtype=np.float64), points[:, 1])
    right, above = np.minimum(column + 1, factor.shape[1] - 1), np.minimum(row + 1, factor.shape[0] - 1)
    low = factor[row, column] * (1 - x) + factor[row, right] * x
    high = factor[above, column] * (1 - x) + factor[above, right] * x
    return low * (1 - y) + high * y


def _cell(knots: Array, x: Array) -> tuple[np.ndarray, Array]:
    """Number of the cell each x lies in, and the share of the way through it."""
    if len(knots) < 2:
        return np.zeros(len(x), dtype=np.intp), np.zeros(len(x))
    cell = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 2)
    share = (x - knots[cell]) / (knots[cell + 1] - knots[cell])
    return cell, np.clip(share, 0.0, 1.0)


class Evenness(Part):
    """Levels that give the same illuminance E = I / r² on a target from every head that follows it.

    The weakest head sets the level, but it cannot take the others below half of what the middle one gives. A zoom
    that holds the spot's diameter changes the intensity by itself; the candela at that zoom is what counts here, so
    nothing is corrected twice. Heads without candela in their profile are left alone.
    """

    kept = (Field("_reference", "targets", low=0.0, gap=np.nan),)

    def __init__(self, optics: Optics, targets: int) -> None:
        self._optics = optics
        self._reference = np.full(targets, np.nan)

    def take(self, optics: Optics) -> None:
        """Reckon with these tables from now on."""
        self._optics = optics

    def factor(self, angle_rad: Array, distance_m: Array, counted: np.ndarray, follows: Array, dt_s: float) -> Array:
        """Factor (N,) 0..1; only `counted` heads decide. A change of who counts takes effect over some 0.3 s."""
        lux = self._optics.candela_at(angle_rad) / np.maximum(distance_m, 0.1) ** 2
        factor = np.ones(len(lux))
        for target, before in enumerate(self._reference.tolist()):
            mine = counted & (follows == target) & (lux > 0)
            if not mine.any():
                continue
            wanted = float(max(lux[mine].min(), WEAKEST_SHARE * np.median(lux[mine])))
            settled = 1 - math.exp(-dt_s / SETTLE_S)
            reference = wanted if math.isnan(before) else before + (wanted - before) * settled
            self._reference[target] = reference
            known = (follows == target) & (lux > 0)
            factor[known] = np.minimum(1.0, reference / lux[known])
        return factor
