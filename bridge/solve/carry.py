"""A truss that kept its shape: poses from an earlier solve as measurements of where its heads sit on it.

The truss frame is the earlier stage frame moved to the middle of its heads, so it is a levelled one. Its place and yaw
in the new stage are unknown; its level is known about as well as a crew hangs a truss; each head may have slipped a
little on it (facts/solver.md: 1 cm and 0.3 deg), on top of what the earlier solve did not know.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bridge.geometry.frames import beam_in_fixture, rotation_from_quaternion
from bridge.rig.fixture import Fixture, Pose
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.case import Case
from bridge.solve.heads import PoseBatch
from bridge.solve.measurements import Sighting

SLIP = np.array([0.01] * 3 + [np.radians(0.3)] * 3)
TRUSS_LEVEL_SIGMA = np.radians(1.0)
LEAST_SIGHTINGS = 3  # a truss has four unknowns once it is level; three sightings leave something over


@dataclass(frozen=True)
class CarriedPose:
    """An earlier pose and, where it was written, its covariance (6, 6): metres, rad in the fixture frame."""

    pose: Pose
    covariance: Array | None = None


@dataclass(frozen=True)
class CarriedTruss:
    """Heads on a truss: p (n, 3), R (n, 3, 3) in the truss frame, root (n, 6, 6) with root^T root the information."""

    name: str
    names: tuple[str, ...]
    p: Array
    R: Array
    root: Array


def carried_trusses(
    fixtures: Sequence[Fixture],
    measured: Sequence[Sighting],
    earlier: Mapping[str, CarriedPose],
    only_where_needed: bool = False,
) -> list[CarriedTruss]:
    """The trusses that earlier poses and new sightings can place. With `only_where_needed`, those alone on which some
    head cannot be solved from its own sightings."""
    marks: dict[str, set[str]] = {}
    for s in measured:
        marks.setdefault(s.fixture, set()).add(s.mark)
    out = []
    for truss in dict.fromkeys(f.truss for f in fixtures if f.truss):
        names = tuple(
            f.name
            for f in fixtures
            if f.truss == truss and f.name in earlier and not other_unit(f, earlier[f.name].pose)
        )
        count = sum(len(marks.get(name, ())) for name in names)
        lacking = any(len(marks.get(name, ())) < 2 for name in names)
        if len(names) < 2 or count < LEAST_SIGHTINGS or (only_where_needed and not lacking):
            continue
        out.append(_truss(str(truss), names, [earlier[name] for name in names]))
    return out


def _truss(name: str, names: tuple[str, ...], poses: Sequence[CarriedPose]) -> CarriedTruss:
    p = np.array([c.pose.position for c in poses])
    R = rotation_from_quaternion(np.array([c.pose.rotation for c in poses]))
    root = np.zeros((len(names), 6, 6))
    for i, carried in enumerate(poses):
        cov = carried.covariance
        if cov is None:
            cov = np.zeros((6, 6))
            if carried.pose.position_sigma and carried.pose.rotation_sigma:
                # without the correlations the earlier sigmas would say too much against the aim that was proven
                cov = np.diag(np.square([*carried.pose.position_sigma, *np.radians(carried.pose.rotation_sigma)])) / 4
        root[i] = np.linalg.cholesky(np.linalg.inv(cov + np.diag(SLIP**2))).T
    return CarriedTruss(name, names, p - p.mean(axis=0), R, root)


def other_unit(fixture: Fixture, pose: Pose) -> bool:
    """Whether another physical unit hangs there than the pose is of, as far as both say."""
    return fixture.unit is not None and pose.unit is not None and fixture.unit != pose.unit


def only(truss: CarriedTruss, keep: Mask) -> CarriedTruss:
    """The truss with only some of its heads."""
    names = tuple(name for name, kept in zip(truss.names, keep, strict=True) if kept)
    return replace(truss, names=names, p=truss.p[keep], R=truss.R[keep], root=truss.root[keep])


def with_trusses(
    case: Case, placed_trusses: Sequence[tuple[CarriedTruss, tuple[Array, Array]]]
) -> tuple[Case, PoseBatch, Mask, dict[int, str]]:
    """The case with trusses in the border, each at its place and turn; start poses (F) and which heads (F,) have one;
    truss name by head."""
    count = len(case.fixtures)
    row = {name: i for i, name in enumerate(case.names)}
    poses = PoseBatch(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)), case.heads.terms_prior.copy())
    placed = np.zeros(count, dtype=bool)
    if not placed_trusses:
        return case, poses, placed, {}
    members: list[tuple[int, int]] = []
    told: dict[int, str] = {}
    for k, (truss, (t, T)) in enumerate(placed_trusses):
        rows = np.array([row[name] for name in truss.names])
        members += [(int(r), k) for r in rows]
        told |= dict.fromkeys(map(int, rows), truss.name)
        poses.p[rows], poses.R[rows] = t + truss.p @ T.T, T @ truss.R
        placed[rows] = True
    trusses = [truss for truss, _ in placed_trusses]
    border = replace(
        case.border,
        truss_p=np.array([t for _, (t, _) in placed_trusses]),
        truss_R=np.array([T for _, (_, T) in placed_trusses]),
        truss_level=np.full(len(trusses), 1 / TRUSS_LEVEL_SIGMA),
        members=np.array(members, dtype=int),
        member_p=np.concatenate([truss.p for truss in trusses]),
        member_R=np.concatenate([truss.R for truss in trusses]),
        member_root=np.concatenate([truss.root for truss in trusses]),
    )
    heads = replace(case.heads, level_weight=np.where(placed, 0.0, case.heads.level_weight))
    return replace(case, border=border, heads=heads), poses, placed, told


def place_truss(case: Case, truss: CarriedTruss, rows: Rows, points: Array) -> tuple[Array, Array] | None:
    """Place and turn of a level truss from the sightings of its heads, `rows` of the case: linear in three complex
    unknowns, as in start.py. None where they do not fix it."""
    d = np.einsum("kij,knj->kni", truss.R, beam_in_fixture(case.heads.pan[rows], case.heads.tilt[rows]))
    used = case.used[rows]
    if np.count_nonzero(used) < LEAST_SIGHTINGS:
        return None
    o = np.broadcast_to(truss.p[:, None], d.shape)[used]
    d, mark = d[used], points[case.index[rows]][used]
    z = np.minimum(d[:, 2], -0.08)
    slope = (d[:, 0] + 1j * d[:, 1]) / z
    onto = o[:, 0] + 1j * o[:, 1] + (mark[:, 2] - o[:, 2]) * slope
    weight = z**2
    A = np.column_stack([np.ones_like(onto), onto, -slope]) * weight[:, None]
    b = (mark[:, 0] + 1j * mark[:, 1]) * weight
    solution, _, rank, _ = np.linalg.lstsq(A, b, rcond=None)
    if rank < 3:
        return None
    _, c, lift = solution
    if not 0.5 < abs(c) < 2.0:  # a turn has length 1: the sightings are of one mark, or not of this truss
        return None
    turn = c / abs(c)
    height = float((lift * np.conj(c)).real / abs(c) ** 2)
    xy = np.sum(weight * (b / weight - turn * (onto - height * slope))) / np.sum(weight)
    T = np.array([[turn.real, -turn.imag, 0.0], [turn.imag, turn.real, 0.0], [0.0, 0.0, 1.0]])
    return np.array([xy.real, xy.imag, height]), T
