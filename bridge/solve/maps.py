"""The predicted aim error as a map over the stage: of every solved head, and of the worst head at each place.

The same covariance is pushed through the same measure as for `aim_error` in predict.py, at more places: also in the
areas beside the performance polygon.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.fit import Fit
from bridge.solve.noise import driven_sigma
from bridge.solve.places import at_both_heights, map_grid
from bridge.solve.predict import miss, p95_by_place
from bridge.solve.result import Calibration

HEADS_AT_ONCE = 32  # keeps what is between within some 50 MB


@dataclass(frozen=True)
class AimMaps:
    """One grid for all: x (X,), y (Y,) metres, `inside` (Y, X) which places are in an area. By head, in order of
    `names`: p95 (F, Y, X) is the predicted miss in metres (95 %, floor or target's height, whichever is worse), NaN
    outside; `sound` (F,) which predictions hold."""

    names: tuple[str, ...]
    x: Array
    y: Array
    inside: Mask
    p95: Array
    sound: Mask

    def worst(self) -> tuple[Array, Rows]:
        """The largest of the sound heads' errors at each place (Y, X), NaN outside or where there is none, and the
        row of that head, -1 where there is none."""
        if not np.any(self.sound):
            return np.full(self.inside.shape, np.nan), np.full(self.inside.shape, -1)
        among = np.where(self.inside & self.sound[:, None, None], self.p95, -np.inf)
        return np.where(self.inside, among.max(axis=0), np.nan), np.where(self.inside, among.argmax(axis=0), -1)


def aim_maps(calibration: Calibration, fit: Fit, stage: Stage) -> AimMaps:
    """Maps of every head that `calibration` has a pose for, as `fit` solved it."""
    rows = rows_of(calibration, fit)
    x, y, inside = map_grid(stage)
    plan = np.stack(np.meshgrid(x, y), axis=-1)[inside]
    p95 = np.full((len(rows), *inside.shape), np.nan)
    p95[:, inside] = p95_at(fit, rows, at_both_heights(stage, plan), heights=2)
    sound = np.array([f.sound for f in calibration.fixtures.values()], dtype=bool)
    return AimMaps(tuple(calibration.fixtures), x, y, inside, p95, sound)


def rows_of(calibration: Calibration, fit: Fit) -> Rows:
    """The rows that the solved heads have in `fit`, in the order of the answer."""
    number = {name: row for row, name in enumerate(fit.case.names)}
    return np.array([number[name] for name in calibration.fixtures], dtype=int)


def p95_at(fit: Fit, rows: Rows, points: Array, heights: int) -> Array:
    """Predicted miss (rows, P) in metres, 95 %, over `points` (heights * P, 3)."""
    faces, driven = fit.case.face_pairs(), driven_sigma(fit.case.fixtures)
    out = np.empty((len(rows), len(points) // heights))
    for begin in range(0, len(rows), HEADS_AT_ONCE):
        some = rows[begin : begin + HEADS_AT_ONCE]
        spread = miss(
            fit.poses.take(some), fit.cov[some], points, faces[some], fit.case.heads.terms_on[some], driven[some]
        )
        out[begin : begin + HEADS_AT_ONCE] = p95_by_place(spread, faces.shape[1], heights)
    return np.asarray(out * fit.stretch[rows, None])
