"""A pose for every head by itself, its base as the plot says, or as another common mount would have it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from bridge.geometry.frames import rotation_from_hang
from bridge.solve.arrays import Array, Rows
from bridge.solve.case import Case
from bridge.solve.heads import HeadBatch, PoseBatch
from bridge.solve.start import solve_alone

OTHER_WAY_UP, BASE_AXIS = "other way up", "base axis"
MOUNTS = {  # pitch and roll, rad; for OTHER_WAY_UP on top of those of the plot
    OTHER_WAY_UP: (0.0, np.pi),
    "pitch 90": (np.pi / 2, 0.0),
    "pitch -90": (-np.pi / 2, 0.0),
    "roll 90": (0.0, np.pi / 2),
    "roll -90": (0.0, -np.pi / 2),
}


@dataclass(frozen=True)
class Started:
    """First poses (F) and chi-squared (F,) of each head alone, in a case that holds the mounts in use.

    `mounts` names by row those that are not the rig's: a key of MOUNTS, or BASE_AXIS.
    """

    case: Case
    poses: PoseBatch
    chi2: Array
    mounts: dict[int, str] = field(default_factory=dict)


def start_heads(case: Case, heads: HeadBatch, rows: Rows, limit: Array) -> Started:
    """Poses of the heads `rows`; the search is widened where they do not fit `limit` (F,). Other heads stay at the
    origin with an infinite chi-squared."""
    count = len(heads)
    poses = PoseBatch.at(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)))
    chi2 = np.full(count, np.inf)
    if len(rows):
        part = heads if len(rows) == count else heads.take(rows)
        found, chi2[rows] = solve_alone(part, case.hang[rows], case.hints[rows], limit[rows])
        poses = poses.put(rows, found)
    return Started(case, poses, chi2)


def with_other_mounts(started: Started, heads: HeadBatch, rows: Rows, limit: Array) -> Started:
    """Heads of `rows` that do not fit their `hang` but fit another common mount, or the same one with the base turned
    about its own axis: that mount's level is used instead, and told. A wrong word in the plot must not cost the pose.
    """
    case, chi2 = started.case, started.chi2.copy()
    bad = rows[~(chi2[rows] <= limit[rows])]
    if not len(bad):
        return started
    poses, mounts = started.poses, dict(started.mounts)
    stage, fixture, hang = case.heads.level_stage.copy(), case.heads.level_fixture.copy(), case.hang.copy()
    for name in (*MOUNTS, BASE_AXIS):
        batch, turned = _base_axis(case, heads, bad) if name == BASE_AXIS else _as_mounted(case, heads, bad, name)
        if name == BASE_AXIS and np.all(np.abs(turned[:, 2, 2]) > 0.9):
            continue  # an upright base: the same as its level, which was tried first
        found, new = solve_alone(batch, turned, case.hints[bad], limit[bad], unstarted_only=name != BASE_AXIS)
        better = (new <= limit[bad]) & (new < np.where([int(row) in mounts for row in bad], chi2[bad], np.inf))
        taken = bad[better]
        mounts |= dict.fromkeys(map(int, taken), name)
        chi2[taken], poses = new[better], poses.put(taken, found.take(better))
        stage[taken], fixture[taken] = batch.level_stage[better], batch.level_fixture[better]
        hang[taken] = turned[better]
    case = replace(case, heads=replace(case.heads, level_stage=stage, level_fixture=fixture), hang=hang)
    return Started(case, poses, chi2, mounts)


def _as_mounted(case: Case, heads: HeadBatch, rows: Rows, name: str) -> tuple[HeadBatch, Array]:
    hang = rotation_from_hang(0.0, *MOUNTS[name])
    hang = case.hang[rows] @ hang if name == OTHER_WAY_UP else np.tile(hang, (len(rows), 1, 1))
    return replace(heads.take(rows), level_fixture=hang[:, 2, :].copy()), hang


def _base_axis(case: Case, heads: HeadBatch, rows: Rows) -> tuple[HeadBatch, Array]:
    """The other reading of `hang`: the base axis points as the plot says, and the turn about it is free."""
    yaw = np.radians([case.fixtures[r].hang.yaw for r in rows])
    zero = np.zeros(len(rows))
    hang = rotation_from_hang(yaw, zero, zero) @ case.hang[rows]
    axis = np.tile([0.0, 0.0, 1.0], (len(rows), 1))
    return replace(heads.take(rows), level_stage=hang[:, :, 2].copy(), level_fixture=axis), hang
