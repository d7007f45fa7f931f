"""The room of motion: from what heads are to light to the angles they are sent in this frame."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import Data, Field, Part, Seats, mapping_in, numbers_in
from bridge.follow.moving.jumps import ARRIVED_SHARE, Jumps
from bridge.follow.moving.motors import Easing, Motors
from bridge.follow.moving.reach import Aim, Reach, Terrain
from bridge.follow.who.crew import Task
from bridge.follow.who.roles import Cast
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import miss_distance
from bridge.rig.rig import Rig

TURNED_RAD = np.radians(1.0)  # nearer than that a head is on the face that it turned to
LONGEST_STEP_S = 0.1  # a stall is not made up for by a leap
Lines = tuple[Array, Array]


class Motion(NamedTuple):
    """Where N heads are sent: `angle` (2, N) rad, what they aim at, and how far they have come.

    `clamped`: held at a soft limit; `unreached`: cannot light its point; `under_way`: on a move that is made in the
    dark; `arrived`: its beam is where it belongs. `steady`: nobody is clamped, unreached or under way. `beams`: starts
    (N, 3) m and directions (N, 3). `speed` (2, N) rad/s. `behind` (N,) m: by how much the beams of heads pass their
    points that follow in the light and whose motors do not keep up, else 0; None: of nobody.
    """

    angle: Array
    aim: Aim
    clamped: np.ndarray
    unreached: np.ndarray
    under_way: np.ndarray
    arrived: np.ndarray
    steady: bool
    beams: Lines | None
    speed: Array
    behind: Array | None

    @property
    def standing(self) -> np.ndarray:
        """Heads (N,) that do not move."""
        return np.asarray((self.speed == 0.0).all(axis=0))


class Moving(Part):
    """Reach, moves in black, motors and easing of one rig.

    A frame in which every head simply goes on following takes a short way through `step`. Both ways come to the
    same: tests/scenarios compares them.
    """

    kept = (
        Field("_placed", kind=bool),
        Field("_fresh", "heads", bool),
    )

    def __init__(self, rig: Rig, ground: Terrain, targets: int, move_in_black_s: float, short_ways: bool) -> None:
        count = len(rig)
        self.motors, self._easing = Motors(rig), Easing(count)
        self._jumps = Jumps(count, targets, move_in_black_s)
        self._placed = False
        self._nobody, self._fresh = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
        self._beams_of: Array | None = None
        self._beams_rig: Rig | None = None
        self.take(Reach(rig, ground, short_ways))

    def take(self, reach: Reach) -> None:
        """Aim with this from the next frame on."""
        self.reach, self._rig = reach, reach.rig

    def adopt(self, reach: Reach) -> None:
        """Aim with other poses: small corrections slowly and in the light, others in the dark."""
        self.take(reach)
        self.settle_in(~self._nobody)

    def settle_in(self, where: np.ndarray) -> None:
        """The way of these heads (N,) to a point is another one now; they stand where they stood."""
        self.reach.stand(self.motors.angle, where)
        self._jumps.leave(where, in_the_dark=True)
        self._fresh = where.copy()

    # One frame

    def step(self, task: Task, roles: Cast, leapt: np.ndarray, fade: Array, dt_s: float, now_s: float) -> Motion:
        """Send every head on its way. `leapt` (T,) targets; `fade` (N,) is the light that heads still have."""
        if task.leaving is not None:
            self._jumps.leave(task.leaving, in_the_dark=True)
        if roles.switched:
            self._jumps.leave(~self._nobody)
        aim = self.reach.aim(task.points, self.motors.angle[0], fade <= 0)
        if self._goes_on(aim, task, dt_s, now_s):
            return self._short_step(aim, task, dt_s, now_s)
        return self._full_step(aim, task, roles, leapt, fade, dt_s, now_s)

    def _goes_on(self, aim: Aim, task: Task, dt_s: float, now_s: float) -> bool:
        """Whether nothing is unusual: every head follows, is settled, and its target is still in its spot.

        Nobody waits, joins or has lost its target then: a beam misses a point by no more than it missed the last one
        (ARRIVED_SHARE of the spot), and the way between the two.
        """
        return task.goes_on and self._jumps.steady and aim.inside and dt_s > 0 and self._easing.over(now_s)

    def _short_step(self, aim: Aim, task: Task, dt_s: float, now_s: float) -> Motion:
        goal = self._cross(np.array([aim.pan, aim.tilt]), task, ~self._nobody)
        met = self.motors.step(goal, min(dt_s, LONGEST_STEP_S), self._nobody)
        beams = behind = None
        if not met or self.reach.any_winds:
            beams = self._beams()
            behind = self._come_to(miss_distance(*beams, task.points), task, ~self._nobody, now_s)
        return self._motion(aim, self._nobody, self._nobody, task, beams, behind)

    def _full_step(
        self, aim: Aim, task: Task, roles: Cast, leapt: np.ndarray, fade: Array, dt_s: float, now_s: float
    ) -> Motion:
        short, clamped, unreached = self._limits(aim, task)
        able = roles.aims & ~unreached
        goal = _goal(aim, task)
        miss = miss_distance(*self._beams(), task.points)
        if not roles.walking:
            self._begin_moves(goal, miss, task, roles, able, leapt, fade, now_s)
            self._jumps.turn(self._turning(aim, goal, miss, task, roles, fade))
        turned = goal
        goal = self._ease_in(goal, miss, task.size, able, now_s)
        goal = self._way_round(goal, task, roles, fade)
        self.motors.free(roles.desk)
        if not self._placed:
            self.motors.put(np.where(roles.still, self.motors.angle, goal))
            self._placed = True
        elif dt_s > 0:
            self.motors.step(goal, min(dt_s, LONGEST_STEP_S), roles.still)
        beams = self._beams()
        self._jumps.turned(np.abs(self.motors.angle - turned).max(axis=0) <= TURNED_RAD)
        behind = self._come_to(miss_distance(*beams, task.points) - short, task, able, now_s)
        return self._motion(aim, clamped, unreached, task, beams, behind)

    def _come_to(self, miss: Array, task: Task, able: np.ndarray, now_s: float) -> Array | None:
        """Note how far heads have come; by how much (N,) m those pass their points that are behind, None: nobody is."""
        jumps = self._jumps
        jumps.update(miss, task.size, self._rig.lag, able, task.follows, now_s)
        jumps.note_behind(miss, task.size, able & self.motors.trailing, task.follows)
        return np.where(jumps.behind, miss, 0.0) if jumps.behind.any() else None

    def _motion(
        self,
        aim: Aim,
        clamped: np.ndarray,
        unreached: np.ndarray,
        task: Task,
        beams: Lines | None,
        behind: Array | None,
    ) -> Motion:
        jumps = self._jumps
        steady = jumps.steady and aim.inside
        under_way = self._nobody if jumps.steady else jumps.under_way(task.follows)
        motors = self.motors
        arrived = jumps.arrived
        return Motion(motors.angle, aim, clamped, unreached, under_way, arrived, steady, beams, motors.speed, behind)

    def _beams(self) -> Lines:
        """Where the commanded beams are: reckoned once for angles that stay."""
        if self._beams_of is not self.motors.angle or self._beams_rig is not self._rig:
            self._beams_of, self._beams_rig = self.motors.angle, self._rig
            self._lines = self._rig.heads.beam(*self.motors.angle)
        return self._lines

    def _limits(self, aim: Aim, task: Task) -> tuple[Array, np.ndarray, np.ndarray]:
        """How far short of its point each clamped beam falls (m), who (N,) is clamped, and who cannot reach at all.

        Guides are exempt: whoever points them has seen where they end.
        """
        if aim.inside or not (aim.clamped | aim.beyond).any():
            return np.zeros(len(self._rig)), aim.clamped, aim.beyond
        start, direction = self._rig.heads.beam(aim.pan, aim.tilt)
        short = np.where(aim.clamped, miss_distance(start, direction, task.points), 0.0)
        clamped, unreached = aim.clamped.copy(), aim.beyond | (short > task.size / 2)
        guides = [fixture for fixture, _, _ in task.guides]
        clamped[guides] = unreached[guides] = False
        return short, clamped, unreached

    def _begin_moves(
        self,
        goal: Array,
        miss: Array,
        task: Task,
        roles: Cast,
        able: np.ndarray,
        leapt: np.ndarray,
        fade: Array,
        now_s: float,
    ) -> None:
        """Begin moves in black for heads that have lost their target; let others join it in the light."""
        lost = able & (miss > task.size / 2)
        joining = roles.aims & ~self._jumps.settled & (fade > 0)
        if (lost | joining).any():
            time_s = self.motors.time_to(goal)
            self._jumps.begin(lost, time_s, leapt, task.follows, now_s)
            self._jumps.join(joining & able, time_s)

    def _turning(self, aim: Aim, goal: Array, miss: Array, task: Task, roles: Cast, fade: Array) -> np.ndarray:
        """Heads (N,) that light their target, go over to another face or turn for it, and would leave it on the way.

        Near its pan axis a head goes over with hardly a move, and stays in the light.
        """
        turning = aim.changed & roles.aims & (fade > 0) & ~self._jumps.under_way(task.follows)
        turning &= miss <= task.size / 2
        if not turning.any():
            return self._nobody
        half_way = self._rig.heads.beam(*((self.motors.angle + goal) / 2))
        return np.asarray(turning & (miss_distance(*half_way, task.points) > task.size / 2))

    def _ease_in(self, goal: Array, miss: Array, size: Array, able: np.ndarray, now_s: float) -> Array:
        """After new poses, heads that still light their target go to it slowly from where they are."""
        if self._fresh.any():
            near = self._fresh & able & (miss <= ARRIVED_SHARE * size)
            self._fresh = self._nobody
            self._easing.begin(np.where(near, self.motors.angle - goal, 0.0), now_s)
        return self._easing.apply(goal, now_s)

    def _way_round(self, goal: Array, task: Task, roles: Cast, fade: Array) -> Array:
        """Where heads go instead that must wait, stand, rest, are in hands or cross their pan axis."""
        motors = self.motors
        wait = roles.aims & self._jumps.waiting(task.follows, fade)
        goal = self._cross(goal, task, roles.aims)
        goal = np.where(wait | roles.held | roles.found, motors.angle, goal)
        goal = np.where(roles.out | roles.unsolved, motors.rest, goal)
        return goal if task.setpoints is None else np.where(roles.by_hand | roles.desk, task.setpoints, goal)

    def _cross(self, goal: Array, task: Task, aims: np.ndarray) -> Array:
        """The goal (2, N), where a target passes under a head."""
        if not self.reach.any_winds:
            return goal
        return np.array([goal[0], self.reach.across_nadir(goal[1], self.motors.angle[0], task.points, aims)])

    # What others ask of it

    def standing(self, fixture: int) -> tuple[float, float]:
        """Pan and tilt (rad) that a head is commanded to now."""
        pan, tilt = self.motors.angle[:, fixture].tolist()
        return pan, tilt

    def freshest(self) -> Array:
        """Where heads are sent, (2N,) rad."""
        return self.motors.angle.ravel()

    def take_up_freshest(self, numbers: Array) -> None:
        """Heads are where `freshest` said; they go on at the speed that they had."""
        self.motors.stand_at(numbers.reshape(2, -1))

    def angles_of(self, where: np.ndarray) -> Data:
        """Pan and tilt (rad) of some heads (N,), by name."""
        return {self._rig.names[n]: self.motors.angle[:, n].tolist() for n in np.flatnonzero(where).tolist()}

    def stand_at(self, angles: Mapping[str, Any]) -> None:
        """Heads stand at these angles (rad, by name), as they were sent last; others stay where they are."""
        placed = self.motors.angle.copy()
        for number, name in enumerate(self._rig.names):
            if found := numbers_in(angles.get(name), 2):
                placed[:, number] = found
        if not np.array_equal(placed, self.motors.angle):
            self.motors.put(placed)

    # What is kept

    def state(self) -> Data:
        """As of keeping.Part."""
        return super().state() | {name: part.state() for name, part in self._parts().items()}

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part. Motors stand at once where they were sent last."""
        super().restore(data, seats)
        for name, part in self._parts().items():
            part.restore(mapping_in(data).get(name), seats)

    def _parts(self) -> Mapping[str, Part]:
        return {"reach": self.reach, "jumps": self._jumps, "motors": self.motors, "easing": self._easing}


def _goal(aim: Aim, task: Task) -> Array:
    """Pan and tilt (2, N) that light the points: as aimed, or as told by who steers by pointing."""
    goal = np.array([aim.pan, aim.tilt])
    for fixture, pan_rad, tilt_rad in task.guides:
        goal[:, fixture] = pan_rad, tilt_rad
    return goal
