"""What `solve --json --maps` adds for a focus session: maps of the predicted aim error (maps.py)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array
from bridge.solve.fit import Fit
from bridge.solve.maps import AimMaps, aim_maps
from bridge.solve.result import Calibration

TENTHS_OF_MM = 4  # decimals of predicted errors, metres


def focus_json(calibration: Calibration, fit: Fit, stage: Stage) -> dict[str, Any]:
    """The keys beside those of `document.solve_json`."""
    return {"maps": maps_json(aim_maps(calibration, fit, stage), calibration)}


def maps_json(maps: AimMaps, calibration: Calibration) -> dict[str, Any]:
    """Axes, and rows by y of every head; None outside the areas."""
    worst, who = maps.worst()
    names = np.array([*maps.names, None], dtype=object)  # -1: nobody
    return {
        "x": np.round(maps.x, 3).tolist(),
        "y": np.round(maps.y, 3).tolist(),
        "fixtures": {
            name: {"trusted": calibration.fixtures[name].trusted, "sound": bool(sound), "p95": _rows(p95)}
            for name, sound, p95 in zip(maps.names, maps.sound, maps.p95, strict=True)
        },
        "worst": {"p95": _rows(worst), "fixture": names[who].tolist()},
    }


def _rows(values: Array) -> list[list[float | None]]:
    rounded = np.round(values, TENTHS_OF_MM)
    return [[value if math.isfinite(value) else None for value in row] for row in rounded.tolist()]
