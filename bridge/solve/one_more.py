"""What one more sighting would bring: to each head, at each of some places, before anybody goes there.

The sighting is linear in what is unknown: the head, the mark, and the share between axis and pool where nobody said
what the hands centre. Their joint covariance is that of the solve, so a mark that the head's own poses lean on already
brings less than a fresh one, and a sighting takes off nothing that it shares with all others:

    r = J (head, mark, share) + noise,   cov' = cov - C S^-1 C^T,   C = cov J^T,   S = J cov J^T + noise
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.stage import Point3, Stage
from bridge.solve.arrays import Array, Rows
from bridge.solve.fit import Fit
from bridge.solve.noise import driven_sigma
from bridge.solve.places import performance_points
from bridge.solve.pool import toward_axis
from bridge.solve.predict import at_worst, of_motors, sensitivity

NEW_MARK = 0.01  # sigma per axis, metres, of a mark that is yet to be surveyed
KNOWN = 0.5  # metres: a mark that is known less well than this cannot be drawn, let alone be chosen


@dataclass(frozen=True)
class Candidate:
    """A place that might be sighted: a mark of the stage by name, or a free place (None)."""

    mark: str | None
    at: Point3


def candidates(fit: Fit, free: Sequence[Point3]) -> list[Candidate]:
    """The marks whose places are known, in the order of the stage, then the free places."""
    named = zip(fit.case.marks, fit.points, fit.mark_sigma, strict=False)
    known = [Candidate(name, tuple(map(float, at))) for name, at, sigma in named if sigma < KNOWN]  # type: ignore[arg-type]
    return known + [Candidate(None, at) for at in free]


def sighted_already(fit: Fit, row: int) -> set[str]:
    """Marks that a head has a sighting of."""
    return {sighting.mark for sighting in fit.case.sightings[row]}


def with_one_more(fit: Fit, stage: Stage, rows: Rows, places: Sequence[Candidate]) -> tuple[Array, Array]:
    """Predicted aim error, 95 % at the worst place of the performance polygon, metres: as it is (rows,), and after a
    sighting at each of C places (rows, C), on the face that the head was sighted on first."""
    points, faces = performance_points(stage), fit.case.face_pairs()[rows]
    poses, terms_on = fit.poses.take(rows), fit.case.heads.terms_on[rows]
    aim = np.concatenate([sensitivity(poses, points, terms_on, face) for face in faces.T], axis=1)
    width = aim.shape[3]
    driven = of_motors(poses, points, driven_sigma(fit.case.fixtures)[rows])
    driven = np.tile(driven, (1, faces.shape[1], 1, 1))

    def worst(cov: Array) -> Array:
        spread = aim @ cov[:, None, :width, :width] @ aim.swapaxes(2, 3) + driven
        return at_worst(spread, faces.shape[1])[2] * fit.stretch[rows]

    after = np.empty((len(rows), len(places)))
    for c, place in enumerate(places):
        after[:, c] = worst(_after(fit, rows, place, width))
    return worst(fit.cov[rows]), after


def _after(fit: Fit, rows: Rows, place: Candidate, width: int) -> Array:
    """Covariance (rows, width, width) of the heads after a sighting there."""
    J, noise = _sighting(fit, rows, np.array(place.at), width)
    known = _known(fit, rows, place, width)
    C = known @ J.swapaxes(1, 2)
    gain = C[:, :width]
    return np.asarray(known[:, :width, :width] - gain @ np.linalg.solve(J @ C + noise, gain.swapaxes(1, 2)))


def _sighting(fit: Fit, rows: Rows, point: Array, width: int) -> tuple[Array, Array]:
    """Derivatives (rows, 3, width + 4) of the miss at a point by head, mark and share; its noise (rows, 3, 3), m^2."""
    poses, terms_on = fit.poses.take(rows), fit.case.heads.terms_on[rows]
    face = fit.case.face_pairs()[rows, 0]
    of_head = sensitivity(poses, point[None], terms_on, face)[:, 0]
    J = np.concatenate([of_head, -of_head[:, :, :3], _of_share(fit, rows, point)[:, :, None]], axis=2)
    noise = np.tile(fit.case.aim_sigma**2 * np.eye(3), (len(rows), 1, 1))
    sight = fit.case.heads.sight
    if sight is not None:
        noise = noise + of_motors(poses, point[None], sight.axis[rows])[:, 0]
    return J, noise


def _of_share(fit: Fit, rows: Rows, point: Array) -> Array:
    """Derivative (rows, 3) by the share, with the beams as wide as they were so far."""
    sight = fit.case.heads.sight
    poses = fit.poses.take(rows)
    if sight is None or not sight.undecided:
        return np.zeros((len(rows), 3))
    free = sight.free[rows] & fit.case.used[rows]
    half = np.sum(np.where(free, sight.half[rows], 0.0), axis=1) / np.maximum(np.sum(free, axis=1), 1)
    slope = toward_axis(point - poses.p, half, np.full(len(rows), fit.joint.estimate.share))[2]
    return np.asarray(np.einsum("fi,fij->fj", slope, poses.R))


def _known(fit: Fit, rows: Rows, place: Candidate, width: int) -> Array:
    """Covariance (rows, width + 4, width + 4) of head, mark and share, from the joint solve for heads that took part
    in it; for others the mark is known by itself."""
    out = np.zeros((len(rows), width + 4, width + 4))
    out[:, :width, :width] = fit.cov[rows, :width, :width]
    beside = np.full(4, -1)  # rows of the border that hold the mark and the share
    if place.mark is None:
        out[:, range(width, width + 3), range(width, width + 3)] = NEW_MARK**2
    else:
        beside[:3] = 3 * fit.case.marks.index(place.mark) + np.arange(3)
    if fit.case.border.share_weight > 0:
        beside[3] = len(fit.joint.cov_border) - 1
    has, at = np.flatnonzero(beside >= 0), beside[beside >= 0]
    out[np.ix_(np.arange(len(rows)), width + has, width + has)] = fit.joint.cov_border[np.ix_(at, at)]
    own, row_of = _in_joint(fit, rows)
    cross = fit.joint.cov_cross[row_of[own]][:, :, at]
    wide = cross.shape[1]
    out[np.ix_(own, np.arange(wide), width + has)] = cross
    out[np.ix_(own, width + has, np.arange(wide))] = cross.swapaxes(1, 2)
    return out


def _in_joint(fit: Fit, rows: Rows) -> tuple[Rows, Rows]:
    """Which of `rows` took part in the joint solve, and the number (F,) that each head has there."""
    return np.flatnonzero(fit.coupled[rows]), np.cumsum(fit.coupled) - 1
