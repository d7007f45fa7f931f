"""How good a calibration is: the solved poses aim, the true heads throw, and what lies between is measured.

Aim error as in facts/solver.md: perpendicular distance from the point asked for to the true beam axis, over a 7 x 5
grid of the performance polygon's bounds at the floor and at 1.4 m. The aiming here is the venue's own: Newton's
method on its forward kinematics, so that a mistake in the bridge's aim cannot hide a mistake of the poses.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.rig.fixture import Pose
from bridge.show.model import Show
from bridge.venue.kinematics import Hangs, quaternion_turn
from bridge.venue.truth import FixtureTruth, Truth

Array = NDArray[np.float64]
GRID, HEIGHTS = (7, 5), (0.0, 1.4)
OTHER_HANG_M = 0.5  # heads that miss by more are not solved badly: they hang otherwise


def grid_points(show: Show) -> Array:
    """The 70 points, (70, 3)."""
    corners = np.asarray(show.stage.polygon.area.corners, dtype=np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y = (np.linspace(low[k], high[k], GRID[k]) for k in (0, 1))
    gx, gy, gz = np.meshgrid(x, y, np.asarray(HEIGHTS), indexing="ij")
    return np.stack([gx.ravel(), gy.ravel(), gz.ravel()], axis=1)


def aim(pose: Pose, points: Array) -> tuple[Array, Array]:
    """Pan and tilt (k,) rad with which a head that hangs as `pose` says lights points (k, 3), on its sighted face."""
    count = len(points)
    hangs = Hangs.of([FixtureTruth(pose.position, pose.rotation, pose.mechanics)] * count)
    conjugate = hangs.quaternion * np.array([-1.0, -1.0, -1.0, 1.0])
    v = quaternion_turn(conjugate, points - hangs.position)
    face = -1.0 if 1 not in pose.faces else 1.0
    angles = np.stack(
        [np.arctan2(-face * v[:, 0], face * v[:, 1]), face * np.arctan2(np.hypot(v[:, 0], v[:, 1]), -v[:, 2])]
    )
    for _ in range(8):
        angles = angles - _newton_step(hangs, angles, points)
    return angles[0], angles[1]


def _newton_step(hangs: Hangs, angles: Array, points: Array) -> Array:
    """Least squares step (2, k) on the offset of the points from the beams; numeric derivatives."""
    base, h = _offset(hangs, angles, points), 1e-6
    columns = []
    for axis in (0, 1):
        moved = angles.copy()
        moved[axis] += h
        columns.append((_offset(hangs, moved, points) - base) / h)
    jacobian = np.stack(columns, axis=-1)  # (k, 3, 2)
    normal = jacobian.transpose(0, 2, 1) @ jacobian + 1e-12 * np.eye(2)
    return np.asarray(
        np.linalg.solve(normal, jacobian.transpose(0, 2, 1) @ base[..., None])[..., 0].T, dtype=np.float64
    )


def _offset(hangs: Hangs, angles: Array, points: Array) -> Array:
    start, ray = hangs.beam(angles[0], angles[1])
    to_point = points - start
    return to_point / np.linalg.norm(to_point, axis=1, keepdims=True) - ray


def aim_errors(pose: Pose, truth: FixtureTruth, points: Array) -> Array:
    """Distance (k,) of each point from the true axis when the head is aimed by the solved pose."""
    pan, tilt = aim(pose, points)
    start, ray = Hangs.of([truth] * len(points)).beam(pan, tilt)
    return np.asarray(np.linalg.norm(np.cross(points - start, ray), axis=1))


def calibration(show: Show, truth: Truth) -> dict[str, Any]:
    """JSON-able: per fixture and over all, RMS, 95 % and worst aim error in metres; `unsolved` names the rest."""
    points = grid_points(show)
    errors = {
        name: aim_errors(show.poses[name], truth.fixtures[name], points)
        for name in (fixture.name for fixture in show.fixtures)
        if name in show.poses
    }
    each = {name: _statistics(found) for name, found in errors.items()}
    every = np.concatenate(list(errors.values())) if errors else np.array([])
    unsolved = [fixture.name for fixture in show.fixtures if fixture.name not in show.poses]
    return {"all": _statistics(every), "fixtures": each, "unsolved": unsolved}


def other_hang_words(show: Show, truth: Truth) -> str | None:
    """What to say, before anything is lit, where the poses of the show are of another hang than this venue's."""
    found = calibration(show, truth)
    off = [name for name, errors in found["fixtures"].items() if (errors["rms_m"] or 0.0) > OTHER_HANG_M]
    if not off:
        return None
    return (
        f"THE POSES IN poses.yaml ARE OF ANOTHER HANG than this venue's: aimed by them, {len(off)} of "
        f"{len(found['fixtures'])} heads miss, all together by {found['all']['rms_m']:.1f} m (rms). Sight and solve "
        "this hang: `--focus` has a robot do it, or do it by hand with /sight, then /sight/solve"
    )


def sighting_misses(show: Show, truth: Truth) -> Array:
    """How far the true beams land from the true marks with the angles of the recorded sightings, (k,) m.

    Play of the gears is left out: this is what hand and eye did.
    """
    known = [s for s in show.sightings if s.fixture in truth.fixtures and s.mark in truth.marks]
    if not known:
        return np.zeros(0)
    hangs = Hangs.of([truth.fixtures[s.fixture] for s in known])
    start, ray = hangs.beam(np.radians([s.pan for s in known]), np.radians([s.tilt for s in known]))
    marks = np.array([truth.marks[s.mark] for s in known])
    landed = start + ray * ((marks[:, 2:] - start[:, 2:]) / ray[:, 2:])
    return np.asarray(np.linalg.norm(landed - marks, axis=1))


def _statistics(errors: Array) -> dict[str, float | None]:
    if errors.size == 0:
        return {"rms_m": None, "p95_m": None, "worst_m": None}
    worst, p95 = float(errors.max()), float(np.percentile(errors, 95))
    return {"rms_m": round(float(np.sqrt((errors**2).mean())), 5), "p95_m": round(p95, 5), "worst_m": round(worst, 5)}
