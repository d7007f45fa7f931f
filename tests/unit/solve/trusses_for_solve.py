"""Straight trusses of heads, as an earlier solve left them and as they hang now; nothing from bridge/solve but data."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.geometry.frames import quaternion_from_rotation
from bridge.rig.fixture import Pose
from bridge.solve.carry import CarriedPose
from tests.unit.solve import rigs_for_solve as rigs


def truss(rng, count=6, y=3.0):
    """`count` heads along x at 8 m, 2 m apart, any yaw, base level within 1 deg."""
    heads = []
    for i in range(count):
        p = np.array([2.0 * i - (count - 1), y, 8.0]) + rng.uniform(-0.1, 0.1, 3)
        tip = np.radians(1.0) * rng.standard_normal(2)
        heads.append(rigs.Head(p, rigs.rz(rng.uniform(-np.pi, np.pi)) @ rigs.rx(tip[0]) @ rigs.ry(tip[1])))
    return heads


def carried(heads, unit=None):
    """What an earlier solve without error says of them, by name."""
    poses = [Pose(tuple(h.p), tuple(quaternion_from_rotation(h.R)), unit=unit) for h in heads]
    return {f"h{i}": CarriedPose(pose) for i, pose in enumerate(poses)}


def moved(rng, heads, slip=1.0):
    """The truss hung elsewhere, each head slipped on it as heads do (1 cm and 0.3 deg, times `slip`)."""
    middle, turn = np.mean([h.p for h in heads], axis=0), rigs.rz(rng.uniform(-0.15, 0.15))
    by = rng.uniform(-0.8, 0.8, 3)
    out = []
    for h in heads:
        w = slip * np.radians(0.3) * rng.standard_normal(3)
        p = turn @ (h.p - middle) + middle + by + slip * 0.01 * rng.standard_normal(3)
        out.append(replace(h, p=p, R=turn @ h.R @ rigs.rx(w[0]) @ rigs.ry(w[1]) @ rigs.rz(w[2])))
    return out


def turned(rng, head):
    """Another unit in its place: its yaw is any."""
    return replace(head, R=rigs.rz(rng.uniform(0.15, 2 * np.pi - 0.15)) @ head.R)


def sight(rng, heads, per=1, hand=0.03):
    """Every head on so many marks of the five, any."""
    seen = rigs.sight(rng, heads, rigs.FIVE, hand)
    out = []
    for i in range(len(heads)):
        chosen = {rigs.NAMES[m] for m in rng.permutation(5)[:per]}
        out += [s for s in seen if s.fixture == f"h{i}" and s.mark in chosen]
    return out
