"""How much light: evenness between heads at different distances, and a level map over the stage."""

from __future__ import annotations

import math

import numpy as np

from bridge.follow.keeping import Field, Part
from bridge.geometry.frames import Array
from bridge.geometry.stage import LevelMap
from bridge.rig.rig import Rig

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
    """Levels that give the same illuminance E = I / r² on a target from all heads of a group that follow it.

    The weakest of them sets the level, but dims no other below `least` of its light: so whoever is taken out, nobody
    else is dimmed for it. A zoom that holds the spot's diameter changes the intensity by itself; the candela at that
    zoom is what counts here, so nothing is corrected twice. Heads without candela in their profile are left alone.
    """

    kept = (Field("_factor", "heads", low=0.0, high=1.0, gap=np.nan),)

    def __init__(self, rig: Rig, targets: int, least: float) -> None:
        names = [fixture.evenness or fixture.profile.name for fixture in rig.fixtures]
        groups = list(dict.fromkeys(names))
        self._group = np.array([groups.index(name) for name in names], dtype=np.intp)
        self._groups, self._targets, self._least = len(groups), targets, least
        self._factor = np.full(len(rig), np.nan)

    def factor(self, lux: Array, counted: np.ndarray, follows: np.ndarray, dt_s: float) -> Array:
        """Factor (N,) 0..1 for heads that give `lux` (N,) at full; only `counted` ones decide.

        A change of who counts takes effect over some 0.3 s.
        """
        group, known = follows * self._groups + self._group, lux > 0
        decide = counted & known
        weakest = np.full(self._targets * self._groups, np.inf)
        np.minimum.at(weakest, group[decide], lux[decide])
        before = np.where(np.isnan(self._factor), 1.0, self._factor)
        share = np.where(known, weakest[group] / np.where(known, lux, 1.0), 1.0)
        nobody_counts = np.isinf(share)
        wanted = np.where(nobody_counts, before, np.minimum(np.maximum(share, self._least), 1.0))
        settled = np.where(np.isnan(self._factor), 1.0, settled_after(dt_s))
        self._factor = before + (wanted - before) * settled
        return self._factor


def settled_after(dt_s: float) -> float:
    """The share of a change that has taken effect after dt_s."""
    return 1 - math.exp(-dt_s / SETTLE_S)
