"""Which face and which turn of pan each head uses, and what to send where a limit is in the way.

Every point has up to two faces and several whole turns of pan. At load each head gets a *home*: the face and turn
that follow the whole performance polygon without a flip and without a pan stop, if there is one. It stays there.
Where the home does not reach a point but another face or turn does, the head goes over (a long move, so made in the
dark) and comes back only well inside the home's range, so that it does not go to and fro at an edge.

A head with its pan axis over the polygon has no home that serves. Where both its faces may be used it takes the one
that needs the smaller turn of pan, so that a target that passes under it is followed through tilt 0 without a spin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.geometry.areas import Floors, Polygon
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import Heads
from bridge.geometry.stage import Point2
from bridge.rig.rig import Rig

TURNS = np.arange(-2, 3)
EDGE = 1e-9
WELL_INSIDE_RAD = np.radians(5.0)
STICK_RAD = np.radians(10.0)
NEAR_M = 0.3
NADIR_FROM_RAD, NADIR_TO_RAD = np.radians(25.0), np.radians(15.0)


@dataclass(frozen=True)
class Ground:
    """What must be followed: the polygon in plan, `points` (P, 3) sampled over it, and a point in its middle (3,)."""

    polygon: Polygon
    points: Array
    middle: Array

    @classmethod
    def over(cls, polygon: Polygon, floors: Floors, middle: Point2, height_m: float) -> Ground:
        """The polygon at the height above the floors that is lit."""
        points = polygon.grid()
        places = np.column_stack([points, floors.height_at(points) + height_m])
        return cls(polygon, places, np.array([*middle, floors.height_of(*middle) + height_m]))


@dataclass(frozen=True)
class Aim:
    """Where N heads must point: angles (rad, inside the soft limits), face (1 or 2), distance lens to point (m).

    `free_pan` and `free_tilt` are the angles before clamping; `clamped` and `beyond` say that a soft limit, or the
    profile's own range, was in the way; `inside` that it was so for nobody.
    """

    pan: Array
    tilt: Array
    face: np.ndarray
    distance: Array
    free_pan: Array
    free_tilt: Array
    clamped: np.ndarray
    beyond: np.ndarray
    inside: bool = False


@dataclass(frozen=True)
class Home:
    """Per head: face index (0 or 1), pan (rad) of that face and turn at the middle of the polygon, the share of the
    polygon it covers, and `winds`: the polygon reaches under the head, so pan may have to go round."""

    face: np.ndarray
    pan: Array
    coverage: Array
    winds: np.ndarray


class Reach:
    """Aims one rig; keeps the branch (face and turn) each head is on."""

    def __init__(self, rig: Rig, ground: Ground) -> None:
        self.rig = rig
        self.home = find_home(rig, ground)
        self._rows = np.arange(len(rig))
        self._home_branch = self.home.face * len(TURNS) + len(TURNS) // 2
        self._branch = self._home_branch.copy()
        self._home_side = np.where(self.home.face == 0, 1.0, -1.0)
        self.any_winds = bool(self.home.winds.any())
        self._nobody = np.zeros(len(rig), dtype=bool)

    def aim(self, points: Array, pan_now: Array, dark: np.ndarray | None = None) -> Aim:
        """Aim N heads at N points (N, 3); `pan_now` (N,) is the pan as commanded now.

        Heads that are `dark` (N,) and may have to wind use the occasion to take the turn with most room on both sides.
        """
        rig = self.rig
        if dark is not None and self.any_winds:
            pan_now = np.where(dark & self.home.winds, (rig.pan.low + rig.pan.high) / 2, pan_now)
        at_home = self._at_home(points)
        if at_home is not None:
            return at_home
        face_pan, face_tilt, length = rig.heads.aim(points)
        around = np.where(self.home.winds, pan_now, self.home.pan)
        pans = _candidates(face_pan, around, rig.heads.turn)
        tilts = np.repeat(face_tilt, len(TURNS), axis=1)
        self._branch = self._choose(pans, tilts, pan_now)
        pan, tilt = pans[self._rows, self._branch], tilts[self._rows, self._branch]
        return self._clamp(pan, tilt, self._branch // len(TURNS) + 1, length)

    def across_nadir(self, tilt: Array, pan_now: Array, points: Array, follow: np.ndarray) -> Array:
        """Near the pan axis, where pan cannot keep up, tilt alone brings the beam as near as it can."""
        near = follow & self.home.winds & (np.abs(tilt) < NADIR_FROM_RAD)
        if not near.any():
            return tilt
        best = self.rig.heads.tilt_for(pan_now, points)
        share = np.clip((NADIR_FROM_RAD - np.abs(tilt)) / (NADIR_FROM_RAD - NADIR_TO_RAD), 0.0, 1.0)
        return np.where(near & (np.abs(best) < NADIR_FROM_RAD), tilt + share * (best - tilt), tilt)

    def _at_home(self, points: Array) -> Aim | None:
        """The usual case, made short: every head is at home and stays inside its limits. Else None."""
        rig = self.rig
        if self.any_winds or (self._branch != self._home_branch).any():
            return None
        pan, tilt, length = rig.heads.aim_on(self._home_side, points)
        pan = _near(pan, self.home.pan, rig.heads.turn)
        past = (pan < rig.pan.low) | (pan > rig.pan.high) | (tilt < rig.tilt.low) | (tilt > rig.tilt.high)
        if (past | (length <= 0)).any():
            return None
        return Aim(pan, tilt, self.home.face + 1, length, pan, tilt, self._nobody, self._nobody, inside=True)

    def _choose(self, pans: Array, tilts: Array, pan_now: Array) -> np.ndarray:
        """Number of the best candidate (N, 10) of each head: home first, then where it is, then the nearest."""
        rig = self.rig
        columns = np.arange(pans.shape[1])
        inside = np.minimum(_inside(pans, rig.pan.low, rig.pan.high), _inside(tilts, rig.tilt.low, rig.tilt.high))
        is_home, same = (columns == branch[:, None] for branch in (self._home_branch, self._branch))
        away_from_home = (self._branch != self._home_branch) & ~self.home.winds
        needed = np.where(is_home & away_from_home[:, None], WELL_INSIDE_RAD, -EDGE)
        winds = self.home.winds[:, None]
        near = np.abs(pans - pan_now[:, None])
        same_face = columns // len(TURNS) == self._branch[:, None] // len(TURNS)
        cost = near - np.where(winds, STICK_RAD * same_face, 200.0 * is_home + 100.0 * same)
        # Where nothing reaches the point, the candidate with the least violation is held at its limit.
        cost = np.where(inside >= needed, cost, 1e3 - 100.0 * inside - is_home)
        cost = np.where(np.repeat(rig.faces, len(TURNS), axis=1), cost, 1e9)
        return np.argmin(cost, axis=1)

    def _clamp(self, pan: Array, tilt: Array, face: np.ndarray, length: Array) -> Aim:
        p, t = self.rig.pan, self.rig.tilt
        held_pan, held_tilt = np.clip(pan, p.low, p.high), np.clip(tilt, t.low, t.high)
        clamped = (np.abs(held_pan - pan) > EDGE) | (np.abs(held_tilt - tilt) > EDGE)
        past_pan, past_tilt = _inside(pan, p.range_low, p.range_high), _inside(tilt, t.range_low, t.range_high)
        beyond = (past_pan < -EDGE) | (past_tilt < -EDGE) | (length <= 0)
        return Aim(held_pan, held_tilt, face, length, pan, tilt, clamped, beyond)


def find_home(rig: Rig, ground: Ground) -> Home:
    """The face and turn of each head that follow all sampled points, or as many of them as can be."""
    count = len(rig)
    middle_pan, _, _ = rig.heads.aim(np.broadcast_to(ground.middle, (count, 3)))
    centres = _candidates(middle_pan, (rig.pan.low + rig.pan.high) / 2, rig.heads.turn)
    reached = np.zeros(centres.shape)
    slack = np.full(centres.shape, np.inf)
    for point in ground.points:  # at load only; all heads and candidates at once
        pan, tilt, _ = rig.heads.aim(np.broadcast_to(point, (count, 3)))
        pans = _near(np.repeat(pan, len(TURNS), axis=1), centres, rig.heads.turn[:, None])
        tilts = np.repeat(tilt, len(TURNS), axis=1)
        inside = np.minimum(_inside(pans, rig.pan.low, rig.pan.high), _inside(tilts, rig.tilt.low, rig.tilt.high))
        reached += inside >= -EDGE
        slack = np.minimum(slack, inside)
    score = reached + np.clip(slack, -1, 1) / 10
    score = np.where(np.repeat(rig.faces, len(TURNS), axis=1), score, -1e9)
    score[:, len(TURNS) :] -= 1e-6  # face 1 where nothing else decides
    best = np.argmax(score, axis=1)
    rows = np.arange(count)
    coverage = reached[rows, best] / max(len(ground.points), 1)
    return Home(best // len(TURNS), centres[rows, best], coverage, axis_meets(rig.heads, ground))


def axis_meets(heads: Heads, ground: Ground) -> np.ndarray:
    """Whether each head's pan axis meets the polygon (or passes near it), so that pan may have to go round."""
    axis = heads.rotation[:, :, 2]
    upright = np.where(np.abs(axis[:, 2]) > 1e-6, axis[:, 2], np.inf)
    along = (ground.middle[2] - heads.position[:, 2]) / upright
    return ground.polygon.outside_by((heads.position + along[:, None] * axis)[:, :2]) <= NEAR_M


def _candidates(face_pan: Array, around: Array, turn: Array) -> Array:
    """Pan (N, 10): both faces (N, 2), each at the turn nearest to `around` (N,) and at two turns to either side."""
    nearest = _near(face_pan, around[:, None], turn[:, None])
    return (nearest[:, :, None] + TURNS * turn[:, None, None]).reshape(len(nearest), -1)


def _inside(angle: Array, low: Array, high: Array) -> Array:
    """How far inside its limits (N,) an angle (N,) or (N, C) is, rad; negative outside."""
    if angle.ndim == 2:
        low, high = low[:, None], high[:, None]
    return np.minimum(angle - low, high - angle)


def _near(angle: Array, reference: Array, turn: Array) -> Array:
    """The same beam, whole turns of pan away, nearest to the reference."""
    return angle + turn * np.round((reference - angle) / turn)
