"""What real hands and real heads do to a calibration: a simulator that shares no code with bridge/solve.

The rig is that of solve_rigs.py (its places, its bases level within 1 deg, yaw anywhere, polygon 12 m x 8 m). Written
here anew, from design/conventions.md: a head's angles for a point and its beam for angles, its motors (true travel,
bits, play), the pool of its light on a floor by casting the two edge rays of the cone, and the drive through a solved
pose with all of it. Metres, degrees where a name says so, else radians; stage frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import solve_rigs as rigs

PAN_TRAVEL, TILT_TRAVEL = 540.0, 270.0  # of the profile, degrees, symmetric about 0


@dataclass(frozen=True)
class Head:
    """A true head: `p` (3,), `R` (3, 3) stage_from_fixture, `pan_gain` true degrees for each one of the profile, `play`
    in degrees (both axes), `bits` of each motor, `beam` full angle in degrees or None where hands centre the axis.
    `steady`: sighted from one side always, else from either."""

    p: np.ndarray
    R: np.ndarray
    pan_gain: float = 1.0
    play: float = 0.0
    bits: int = 16
    beam: float | None = None
    steady: bool = True

    def sighted(self, rng, target):
        """Pan and tilt (deg, as sent) when the hand has put its light on `target` (3,)."""
        true = np.degrees(self.onto(np.asarray(target, float)[None])[:, 0])
        side = np.ones(2) if self.steady else rng.choice([-1.0, 1.0], 2)
        return self.sent((true + side * self.play / 2) / [self.pan_gain, 1.0])

    def onto(self, targets):
        """Angles (2, P) that put the axis, or the centre of the pool, on the targets (P, 3)."""
        if self.beam is None:
            return angles(self.p, self.R, targets)
        return angles(self.p, self.R, pool_aims(self.p, targets, np.radians(self.beam / 2)))

    def sent(self, deg):
        """Degrees (..., 2) as the slots can say them."""
        step = np.array([PAN_TRAVEL, TILT_TRAVEL]) / (2**self.bits - 1)
        half = np.array([PAN_TRAVEL, TILT_TRAVEL]) / 2
        return np.round((deg + half) / step) * step - half

    def misses(self, rng, p, R, points, terms=None):
        """Perpendicular distances (P,) from the points to the true axis when driven there through the pose (p, R), each
        move coming from either side at random."""
        asked = np.degrees(angles_with(p, R, terms, points)).T
        sides = rng.choice([-1.0, 1.0], asked.shape)
        got = np.radians(self.sent(asked) * [self.pan_gain, 1.0] + sides * self.play / 2)
        d = directions(self.R, got[:, 0], got[:, 1])
        v = points - self.p
        return np.linalg.norm(v - d * np.sum(v * d, axis=1)[:, None], axis=1)


def angles(p, R, points):
    """Pan and tilt (2, P) on face 1 of an ideal head for points (P, 3)."""
    q = (points - p) @ R
    return np.stack([np.arctan2(-q[:, 0], q[:, 1]), np.arctan2(np.hypot(q[:, 0], q[:, 1]), -q[:, 2])])


def directions(R, pan, tilt):
    """Beams (P, 3) in the stage frame: R Rz(pan) Rx(tilt) (0, 0, -1)."""
    return np.stack([-np.sin(pan) * np.sin(tilt), np.cos(pan) * np.sin(tilt), -np.cos(tilt)], axis=-1) @ R.T


def angles_with(p, R, terms, points):
    """Angles (2, P) through a pose with mechanical terms (6,): tilt zero, squareness, collimation, lens x and y, pan
    scale; None for an ideal head."""
    if terms is None or not np.any(terms):
        return angles(p, R, points)
    head = rigs.TrueHead(p, R, terms=np.asarray(terms, float))
    return np.array([head.angles_to(point) for point in points]).T


def pool_aims(p, targets, half):
    """Where the axis must meet each target's plane (P, 3) so that the pool's centre sits on the target.

    The cone's edge rays in the vertical plane of the axis, at incidence i - half and i + half, end the long axis of the
    ellipse; its centre is midway. Incidence by bisection.
    """
    away = targets[:, :2] - p[:2]
    far, drop = np.linalg.norm(away, axis=1), p[2] - targets[:, 2]
    low, high = np.zeros(len(targets)), np.full(len(targets), np.pi / 2 - half - 1e-3)
    for _ in range(60):
        i = (low + high) / 2
        centre = drop * (np.tan(i + half) + np.tan(i - half)) / 2
        low, high = np.where(centre < far, i, low), np.where(centre < far, high, i)
    reach = (drop * np.tan(low) / np.maximum(far, 1e-9))[:, None]
    return np.column_stack([p[:2] + away * reach, targets[:, 2]])


def invent(rng, layout, heads=12, **quirks):
    """True heads with these quirks, and the true marks (M, 3)."""
    rig = rigs.invent(rng, layout, heads=heads)
    return [Head(h.p, h.R, **quirks) for h in rig.heads], rig.marks


def sight(rng, heads, marks, hand=0.03, which=None):
    """[(head, mark, pan deg, tilt deg)]: every head at every mark, or at `which`[head]; the hand errs per axis."""
    out = []
    for f, head in enumerate(heads):
        for m in range(len(marks)) if which is None else which[f]:
            out.append((f, m, *head.sighted(rng, marks[m] + hand * rng.standard_normal(3))))
    return out


def turned(head, by_deg):
    """The head turned about the vertical where it hangs."""
    return replace(head, R=rigs.rz(np.radians(by_deg)) @ head.R)
