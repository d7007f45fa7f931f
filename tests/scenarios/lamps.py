"""Heads whose candela is known, and the light that they give a performer, reckoned apart from the engine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from bridge.rig.profile import ZoomTable

# A lamp of fixed flux: centre intensity goes with 1 / angle², so a zoom that holds the diameter holds the illuminance.
ROWS = tuple((65535 * (55 - a) / 50, float(a), 2.5e7 / a**2) for a in (55, 40, 30, 22, 16, 12, 9, 7, 5))


def lamps(shares: dict[int, float]) -> Callable[[Any], Any]:
    """A rig whose head n has this share of the others' candela."""

    def change(made: Any) -> Any:
        fixtures = []
        for n, fixture in enumerate(made.fixtures):
            rows = tuple((raw, angle, shares.get(n, 1.0) * cd) for raw, angle, cd in ROWS)
            fixtures.append(replace(fixture, profile=replace(fixture.profile, zoom=ZoomTable(rows))))
        return replace(made, fixtures=tuple(fixtures))

    return change


def illuminance(frame: Any, shares: dict[int, float], rows: Any = ROWS) -> np.ndarray:
    """E = I / r² (from memory: the inverse-square law), with I from the table at the zoom as sent."""
    raw, _, candela = np.array(rows).T
    intensity = np.interp(frame.zoom_raw, raw, candela) * [shares.get(n, 1.0) for n in range(len(frame.level))]
    return np.asarray(frame.level * intensity / frame.distance**2)
