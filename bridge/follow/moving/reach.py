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
from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import Field, Part, Seats
from bridge.geometry.areas import Floors, Polygon
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import Heads
from bridge.geometry.stage import Point2, Point3
from bridge.rig.rig import Rig

TURNS = np.arange(-2, 3)
EDGE = 1e-9
WELL_INSIDE_RAD = np.radians(5.0)
STICK_RAD = np.radians(10.0)
NEAR_M = 0.3
NADIR_FROM_RAD, NADIR_TO_RAD = np.radians(25.0), np.radians(15.0)


@dataclass(frozen=True)
class Terrain:
    """What must be followed: the polygon in plan, `points` (P, 3) sampled over it, and a point in its middle (3,)."""

    polygon: Polygon
    points: Array
    middle: Array

    @classmethod
    def over(cls, polygon: Polygon, floors: Floors, middle: Point2, height_m: float) -> Terrain:
        """The polygon at the height above the floors that is lit."""
        points = polygon.grid()
        places = np.column_stack([points, floors.height_at(points) + height_m])
        return cls(polygon, places, np.array([*middle, floors.height_of(*middle) + height_m]))


class Aim(NamedTuple):
    """Where N heads must point: angles (rad, inside the soft limits), face (1 or 2), distance lens to point (m).

    `free_pan` and `free_tilt` are the angles before clamping; `clamped` and `beyond` say that a soft limit, or the
    profile's own range, was in the way; `inside` that it was so for nobody. `changed`: on another face or turn now.
    """

    pan: Array
    tilt: Array
    face: np.ndarray
    distance: Array
    free_pan: Array
    free_tilt: Array
    clamped: np.ndarray
    beyond: np.ndarray
    inside: bool
    changed: np.ndarray


@dataclass(frozen=True)
class Home:
    """Per head: face index (0 or 1), pan (rad) of that face and turn at the middle of the polygon, the share of the
    polygon it covers, and `winds`: the polygon reaches under the head, so pan may have to go round."""

    face: np.ndarray
    pan: Array
    coverage: Array
    winds: np.ndarray


class Reach(Part):
    """Aims one rig; keeps the branch (face and turn) each head is on.

    `short_ways` off: every aim goes the full way, which must come to the same.
    """

    kept = (Field("_branch", "heads", int, low=0, high=2 * len(TURNS) - 1),)

    def __init__(self, rig: Rig, ground: Terrain, short_ways: bool = True) -> None:
        self.rig, self._short_ways = rig, short_ways
        self.home = find_home(rig, ground)
        self._rows = np.arange(len(rig))
        self._home_branch = self.home.face * len(TURNS) + len(TURNS) // 2
        self._take_branch(self._home_branch)
        self._low, self._high = np.array([rig.pan.low, rig.tilt.low]), np.array([rig.pan.high, rig.tilt.high])
        self.any_winds = bool(self.home.winds.any())
        self._nobody = np.zeros(len(rig), dtype=bool)

    def stand(self, angle: Array, where: np.ndarray) -> None:
        """Have these heads (N,) on the branch on which they stand, at these angles (2, N) rad."""
        turns = np.round((angle[0] - self.home.pan) / self.rig.heads.turn)
        middle = len(TURNS) // 2
        face = np.where(angle[1] + self.rig.heads.terms[:, 0] >= 0, 0, 1)
        branch = face * len(TURNS) + middle + np.clip(turns, -middle, middle).astype(np.intp)
        standing = np.where(self.rig.faces[self._rows, face], branch, self._home_branch)
        self._take_branch(np.where(where, standing, self._branch))

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part; a face that may not be used any more is left."""
        super().restore(data, seats)
        allowed = self.rig.faces[self._rows, self._branch // len(TURNS)]
        self._take_branch(np.where(allowed, self._branch, self._home_branch))

    def _take_branch(self, branch: np.ndarray) -> None:
        face = branch // len(TURNS)
        self._branch, self._face, self._side = branch, face + 1, np.where(face == 0, 1.0, -1.0)
        self._elsewhere = (branch != self._home_branch) & ~self.home.winds

    def aim(self, points: Array, pan_now: Array, dark: np.ndarray | None = None) -> Aim:
        """Aim N heads at N points (N, 3); `pan_now` (N,) is the pan as commanded now.

        Heads that are `dark` (N,) and may have to wind use the occasion to take the turn with most room on both sides.
        """
        rig = self.rig
        if dark is not None and self.any_winds:
            pan_now = np.where(dark & self.home.winds, (rig.pan.low + rig.pan.high) / 2, pan_now)
        everybody = ~self._nobody
        if self._short_ways:
            pan, tilt, length, unsure = self._as_before(points, pan_now)
            if not unsure.any():
                return Aim(pan, tilt, self._face, length, pan, tilt, self._nobody, self._nobody, True, self._nobody)
        else:
            pan, tilt, length, unsure = np.zeros(len(rig)), np.zeros(len(rig)), np.zeros(len(rig)), everybody
        rows = np.flatnonzero(unsure)
        branch = self._branch.copy()
        branch[rows], pan[rows], tilt[rows], length[rows] = self._chosen(points[rows], pan_now[rows], rows)
        changed = branch != self._branch
        self._take_branch(branch)
        return self._clamp(pan, tilt, self._face, length, changed)

    def _chosen(self, points: Array, pan_now: Array, rows: np.ndarray) -> tuple[np.ndarray, Array, Array, Array]:
        """Branch, pan, tilt and beam length of some heads: the best of both faces and all turns."""
        heads, turn = self.rig.heads.some(rows), self.rig.heads.turn[rows]
        face_pan, face_tilt, length = heads.aim(points)
        around = np.where(self.home.winds[rows], pan_now, self.home.pan[rows])
        pans = _candidates(face_pan, around, turn)
        tilts = np.repeat(face_tilt, len(TURNS), axis=1)
        branch = self._choose(pans, tilts, pan_now, rows)
        count = np.arange(len(rows))
        return branch, pans[count, branch], tilts[count, branch], length

    def nearest(self, fixture: int, point: Point3, now: tuple[float, float]) -> tuple[float, float] | None:
        """Pan and tilt (rad) of one head for a point, on the face and turn nearest to `now`; None: out of reach."""
        rig, one = self.rig, self.rig.heads.one(fixture)
        pans, tilts, length = one.aim(np.array([point]))
        turned = _candidates(pans, np.array([now[0]]), one.turn)[0]
        both = np.repeat(tilts[0], len(TURNS))
        fits = (turned >= rig.pan.low[fixture]) & (turned <= rig.pan.high[fixture])
        fits &= (both >= rig.tilt.low[fixture]) & (both <= rig.tilt.high[fixture])
        if not fits.any() or length[0] <= 0:
            return None
        way = np.maximum(np.abs(turned - now[0]), np.abs(both - now[1]))
        best = int(np.argmin(np.where(fits, way, np.inf)))
        return float(turned[best]), float(both[best])

    def across_nadir(self, tilt: Array, pan_now: Array, points: Array, follow: np.ndarray) -> Array:
        """Near the pan axis, where pan cannot keep up, tilt alone brings the beam as near as it can."""
        near = follow & self.home.winds & (np.abs(tilt) < NADIR_FROM_RAD)
        if not near.any():
            return tilt
        best = self.rig.heads.tilt_for(pan_now, points)
        share = np.clip((NADIR_FROM_RAD - np.abs(tilt)) / (NADIR_FROM_RAD - NADIR_TO_RAD), 0.0, 1.0)
        return np.where(near & (np.abs(best) < NADIR_FROM_RAD), tilt + share * (best - tilt), tilt)

    def _as_before(self, points: Array, pan_now: Array) -> tuple[Array, Array, Array, np.ndarray]:
        """Pan, tilt and beam length (N,) where heads keep their face and turn, and for whom (N,) that is not sure.

        It is what `_choose` comes to for a head at home that stays inside its limits, and for one that winds as long
        as pan turns by less than would make it change face.
        """
        rig, home = self.rig, self.home
        pan, tilt, length = rig.heads.aim_on(self._side, points)
        around = np.where(home.winds, pan_now, home.pan) if self.any_winds else home.pan
        pan = _near(pan, around, rig.heads.turn)
        angle = np.array([pan, tilt])
        unsure = ((angle < self._low) | (angle > self._high)).any(axis=0) | (length <= 0) | self._elsewhere
        if self.any_winds:
            unsure |= home.winds & (np.abs(pan - pan_now) >= STICK_RAD)
        return pan, tilt, length, unsure

    def _choose(self, pans: Array, tilts: Array, pan_now: Array, rows: np.ndarray) -> np.ndarray:
        """Number of the best candidate (R, 10) of some heads: home first, then where it is, then the nearest."""
        pan, tilt, winds = self.rig.pan, self.rig.tilt, self.home.winds[rows]
        home_branch, branch = self._home_branch[rows], self._branch[rows]
        columns = np.arange(pans.shape[1])
        inside = np.minimum(
            _inside(pans, pan.low[rows], pan.high[rows]), _inside(tilts, tilt.low[rows], tilt.high[rows])
        )
        is_home, same = (columns == at[:, None] for at in (home_branch, branch))
        away_from_home = (branch != home_branch) & ~winds
        needed = np.where(is_home & away_from_home[:, None], WELL_INSIDE_RAD, -EDGE)
        near = np.abs(pans - pan_now[:, None])
        same_face = columns // len(TURNS) == branch[:, None] // len(TURNS)
        cost = near - np.where(winds[:, None], STICK_RAD * same_face, 200.0 * is_home + 100.0 * same)
        # Where nothing reaches the point, the candidate with the least violation is held at its limit.
        cost = np.where(inside >= needed, cost, 1e3 - 100.0 * inside - is_home)
        cost = np.where(np.repeat(self.rig.faces[rows], len(TURNS), axis=1), cost, 1e9)
        return np.argmin(cost, axis=1)

    def _clamp(self, pan: Array, tilt: Array, face: np.ndarray, length: Array, changed: np.ndarray) -> Aim:
        p, t = self.rig.pan, self.rig.tilt
        held_pan, held_tilt = np.clip(pan, p.low, p.high), np.clip(tilt, t.low, t.high)
        clamped = (np.abs(held_pan - pan) > EDGE) | (np.abs(held_tilt - tilt) > EDGE)
        past_pan, past_tilt = _inside(pan, p.range_low, p.range_high), _inside(tilt, t.range_low, t.range_high)
        beyond = (past_pan < -EDGE) | (past_tilt < -EDGE) | (length <= 0)
        return Aim(held_pan, held_tilt, face, length, pan, tilt, clamped, beyond, False, changed)


def find_home(rig: Rig, ground: Terrain) -> Home:
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


def axis_meets(heads: Heads, ground: Terrain) -> np.ndarray:
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
