"""The engine: from targets and switches to a frame for the whole rig.

`tick(now_s)` is a pure function of the engine's state, what it was told, and `now_s`; the same inputs give the same
frames. One tick goes one way, every step over all heads at once:

    targets -> lit points -> aim (face, turn, limits) -> motion -> beams -> what forbids light -> gates -> levels
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bridge.follow.beams import Beams
from bridge.follow.controls import Controls
from bridge.follow.gates import Gates
from bridge.follow.jumps import ARRIVED_SHARE, Jumps
from bridge.follow.light import Evenness, map_factor
from bridge.follow.motion import Easing, Motors
from bridge.follow.no_light import NoLight
from bridge.follow.reach import Aim, Ground, Reach
from bridge.follow.session import WORKING_LEVEL, Session
from bridge.follow.states import Conditions, State
from bridge.follow.target import TargetState
from bridge.follow.zones import Zones
from bridge.geometry.areas import Floors
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import miss_distance
from bridge.geometry.stage import Point3, Stage
from bridge.rig.fixture import Pose
from bridge.rig.look import Look
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput

LONGEST_STEP_S = 0.1  # a stall is not made up for by a leap
LEAP_M = 1.0  # in one frame: no performer runs that fast
WIDEST_HALF_RAD = np.radians(85.0)


@dataclass(frozen=True)
class Frame(Look):
    """A look with each head's state (State numbers), face (1 or 2) and distance to what it lights (m), all (N,)."""

    state: np.ndarray
    face: np.ndarray
    distance: Array


class Engine:
    """N heads that follow T targets on one stage. Built once per show; poses may be exchanged live."""

    def __init__(
        self, rig: Rig, stage: Stage, lost_input: LostInput, marks: Mapping[str, Point3] | None = None
    ) -> None:
        """`marks` are places of solved marks, for the check walk, beside the surveyed ones of the stage."""
        self.stage, self.lost_input = stage, lost_input
        self.marks = {name: mark.at for name, mark in stage.marks.items() if mark.at is not None} | dict(marks or {})
        self.zones, self.floors = Zones(stage), Floors(stage.floors)
        self.no_light = NoLight(stage.no_light, self.floors.lowest)
        self.middle = self.zones.polygon.polygon.inner_point()
        self.targets = [TargetState(target, lost_input, self.middle) for target in stage.targets]
        self.target_names = tuple(target.name for target in stage.targets)
        follows = [self.target_names.index(f.follows or self.target_names[0]) for f in rig.fixtures]
        self.controls = Controls(rig, np.array(follows, dtype=np.intp))
        self.allowed = np.zeros(len(self.targets), dtype=bool)
        self.session, self.gates, self.motors = Session(rig), Gates(len(rig)), Motors(rig)
        self.jumps = Jumps(len(rig), len(self.targets), stage.move_in_black_after)
        self._evenness = Evenness(rig.optics, len(self.targets))
        self._stays = np.array([f.outside == "stay" for f in rig.fixtures], dtype=bool)
        self.held_point = np.zeros((len(rig), 3))
        self.factor = np.ones(len(rig))
        self.zoom_raw, self.focus_raw = np.full(len(rig), np.nan), np.full(len(rig), np.nan)
        self.places: list[Point3] = [(0.0, 0.0, 0.0)] * len(self.targets)
        self._points: Array = np.zeros((len(rig), 3))
        self._easing = Easing(len(rig))
        self._fresh_poses = False
        self._follow = np.zeros(len(rig), dtype=bool)
        self._usual = False  # everybody follows a target: nobody is out, held, still, aimed by hand or unsolved
        self.frame: Frame | None = None
        self._walking = self._placed = False
        self._last_s: float | None = None
        self._take(self._reach(rig))

    def _take(self, reach: Reach) -> None:
        self.rig, self.reach = reach.rig, reach
        self._beams = Beams(reach.rig, self.motors)

    def _reach(self, rig: Rig) -> Reach:
        """The faces and turns with which a rig follows over the polygon."""
        height_m = self.targets[0].spec.height
        return Reach(rig, Ground.over(self.zones.polygon.polygon, self.floors, self.middle, height_m))

    # What others ask of it

    def begin(self, now_s: float) -> None:
        """Output starts now: nobody knows where the heads are, so they stay dark for a moment."""
        self.gates.shut(np.ones(len(self.rig), dtype=bool))
        self.gates.closed_s[:] = now_s

    def placed(self) -> None:
        """The angles that the motors hold are those last sent: go on from them instead of leaping to the first goal."""
        self._placed = True
        self._beams.moved()

    def take_poses(self, poses: Mapping[str, Pose]) -> None:
        """Aim with other poses from now on: small corrections slowly and in the light, others in the dark."""
        self.adopt(self.prepare(poses))

    def prepare(self, poses: Mapping[str, Pose]) -> Reach:
        """The slow part of `take_poses`; changes nothing, so that it can be done in another thread."""
        return self._reach(self.rig.with_poses(poses))

    def adopt(self, reach: Reach) -> None:
        """The quick part of `take_poses`."""
        self._take(reach)
        self.jumps.leave(np.ones(len(self.rig), dtype=bool), in_the_dark=True)
        self._fresh_poses = True

    def hold(self, fixture: int, on: bool) -> None:
        """Stop one head where it is, with what it lights now, or let it follow again."""
        self.controls.held[fixture] = on
        if on and self.frame is not None:
            self.held_point[fixture] = self._points[fixture]

    def hand_over(self, fixture: int, target: int) -> None:
        """Let a head follow another target; it goes over in the dark."""
        if self.controls.follows[fixture] != target:
            self.controls.follows[fixture] = target
            self.jumps.leave(np.arange(len(self.rig)) == fixture, in_the_dark=True)

    def take_in_hand(self, fixture: int) -> None:
        """Begin to aim a head by hand, where it stands."""
        self.session.begin(fixture, *self.motors.angle[:, fixture])

    def hand_angles(self, fixture: int) -> Array:
        """Pan and tilt (2,) rad that a head aimed by hand is sent, or those it has now."""
        return self.session.angle[:, fixture] if self.session.active[fixture] else self.motors.angle[:, fixture]

    def where_beam_meets(self, fixture: int, pan_rad: float, tilt_rad: float, above_m: float) -> Array | None:
        """Where the beam of one head at these angles first meets the surface `above_m` over the floors, or None."""
        one = self.rig.heads.one(fixture)
        start, direction = one.beam(np.array([pan_rad]), np.array([tilt_rad]))
        return self.floors.first_meeting(start[0], direction[0], above_m)

    @property
    def any_still(self) -> bool:
        """Whether anything at all must neither move nor light."""
        return self.controls.any_still

    # The way of one frame

    def tick(self, now_s: float) -> Frame:
        """The frame for now. Time never runs back: an earlier `now_s` than the last counts as the same moment."""
        now_s = now_s if self._last_s is None else max(now_s, self._last_s)
        dt_s = 0.0 if self._last_s is None else now_s - self._last_s
        self._last_s = now_s
        self._walk(now_s)
        leapt = self._find_places(now_s)
        follow = self._follow = self._following()
        self._usual = not self._walking and bool(follow.all())
        before, self._points = self._points, self._lit_points()
        points = self._points
        size = np.array([target.size for target in self.targets])[self.controls.follows]
        aim = self.reach.aim(points, self.motors.angle[0], self.gates.fade <= 0)
        short, unreached = self._limits(aim, points, size)
        able = follow & ~unreached
        if not (self._usual and self.jumps.steady and self._beams.surely_within(points - before, size)):
            self._begin_moves(aim, size, able, leapt, now_s)
        self._beams.moved(self._move(aim, points, size, able, dt_s, now_s))
        if not (self._beams.on_points and self.jumps.steady):
            self.jumps.update(self._beams.miss(points) - short, size, self.rig.lag, able, self.controls.follows, now_s)
        zoom_raw, angle_rad = self._zoom(size, aim.distance)
        conditions = self._conditions(aim, unreached, angle_rad, now_s)
        level = self._level(conditions, angle_rad, aim.distance, dt_s, now_s)
        self.frame = self._frame(conditions, level, zoom_raw, aim)
        return self.frame

    def _walk(self, now_s: float) -> None:
        """Begin or end a check walk: all heads go over in the dark."""
        walking = self.session.walking(now_s)
        if walking != self._walking:
            everyone = np.ones(len(self.rig), dtype=bool)
            self.gates.shut(everyone)
            self.jumps.leave(everyone)
            self._walking = walking

    def _find_places(self, now_s: float) -> np.ndarray:
        """Move the targets on, put them to the area test, and say which (T,) leapt since the last frame."""
        for target in self.targets:
            target.advance(now_s)
        before, self.places = self.places, [target.lit_point(self.floors) for target in self.targets]
        self.allowed = np.array(
            [
                target.has_input and self.zones.allows(place, allowed)
                for target, place, allowed in zip(self.targets, self.places, self.allowed.tolist(), strict=True)
            ]
        )
        return np.array([math.dist(*step) > LEAP_M for step in zip(before, self.places, strict=True)])

    def _lit_points(self) -> Array:
        """The point (N, 3) each head is to light, trims included; trims never touch the area test."""
        if self._walking:
            return np.tile(np.asarray(self.session.walk_mark, dtype=np.float64), (len(self.rig), 1))
        points = np.array(self.places)[self.controls.follows]
        points[:, :2] += self.controls.shift
        if self._usual:
            return points
        return np.where(self.controls.held[:, None], self.held_point, points)

    def _following(self) -> np.ndarray:
        """Heads (N,) whose angles come from an aim of their own now."""
        c = self.controls
        away = c.still | c.out | self.session.active
        return self.rig.has_pose & ~(away if self._walking else away | c.held)

    def _guides(self) -> list[tuple[int, float, float]]:
        """Fixtures that steer their own target by pointing, with the angles they are sent."""
        if self._walking:
            return []
        follows = self.controls.follows
        return [t.guide for n, t in enumerate(self.targets) if t.guide is not None and follows[t.guide[0]] == n]

    def _limits(self, aim: Aim, points: Array, size: Array) -> tuple[Array, np.ndarray]:
        """How far short of its point each clamped beam falls (m), and which heads (N,) cannot reach theirs."""
        clamped, unreached = aim.clamped, aim.beyond
        short = np.zeros(len(self.rig))
        if aim.inside:
            return short, unreached
        if clamped.any():
            start, direction = self.rig.heads.beam(aim.pan, aim.tilt)
            short = np.where(clamped, miss_distance(start, direction, points), 0.0)
            unreached = unreached | (short > size / 2)
        for fixture, _, _ in self._guides():
            clamped[fixture] = unreached[fixture] = False
        return short, unreached

    def _begin_moves(self, aim: Aim, size: Array, able: np.ndarray, leapt: np.ndarray, now_s: float) -> None:
        """Begin moves in black for heads that have lost their target; let others join it in the light."""
        if self._walking:
            return
        lost = able & (self._beams.miss(self._points) > size / 2)
        joining = self._follow & ~self.jumps.settled & (self.gates.fade > 0)
        if (lost | joining).any():
            time_s = self.motors.time_to(self._goal(aim))
            self.jumps.begin(lost, time_s, leapt, self.controls.follows, now_s)
            self.jumps.join(joining & able, time_s)

    def _goal(self, aim: Aim) -> Array:
        """Pan and tilt (2, N) that light the points: as aimed, or as told by who steers by pointing."""
        goal = np.array([aim.pan, aim.tilt])
        for fixture, pan_rad, tilt_rad in self._guides():
            goal[:, fixture] = pan_rad, tilt_rad
        return goal

    def _move(self, aim: Aim, points: Array, size: Array, able: np.ndarray, dt_s: float, now_s: float) -> bool:
        """Send every head on its way: to its aim, or to where it rests, stands or is held by hand.

        True if it is known that all beams go through their points now.
        """
        controls, motors = self.controls, self.motors
        goal = self._ease_in(self._goal(aim), points, size, able, now_s)
        direct = self._usual and self.jumps.steady and not self.reach.any_winds
        if not direct:
            goal = self._way_round(goal, points)
        if not self._placed:
            motors.put(np.where(controls.still, motors.angle, goal))
            self._placed = True
        elif dt_s > 0:
            met = motors.step(goal, min(dt_s, LONGEST_STEP_S), controls.still)
            return met and direct and aim.inside and not self._guides() and self._easing.over(now_s)
        return False

    def _way_round(self, goal: Array, points: Array) -> Array:
        """Where heads go instead that must wait, stand, rest, are aimed by hand or cross their pan axis."""
        controls, motors, follow = self.controls, self.motors, self._follow
        wait = follow & self.jumps.waiting(controls.follows, self.gates.fade)
        goal[1] = self.reach.across_nadir(goal[1], motors.angle[0], points, follow)
        goal = np.where(wait | (controls.held & ~follow), motors.angle, goal)
        goal = np.where(controls.out | ~self.rig.has_pose, motors.rest, goal)
        return np.where(self.session.active & ~controls.out, self.session.setpoints(motors.angle), goal)

    def _ease_in(self, goal: Array, points: Array, size: Array, able: np.ndarray, now_s: float) -> Array:
        """After new poses, heads that still light their target go to it slowly from where they are."""
        if self._fresh_poses:
            self._fresh_poses = False
            near = able & (self._beams.miss(points) <= ARRIVED_SHARE * size)
            self._easing.begin(np.where(near, self.motors.angle - goal, 0.0), now_s)
        return self._easing.apply(goal, now_s)

    # Light

    def _zoom(self, size: Array, distance: Array) -> tuple[Array, Array]:
        """Raw zoom (N,) and full beam angle (N,) rad; heads aimed by hand or walked have the tightest beam."""
        optics, session = self.rig.optics, self.session
        if self._usual:
            return optics.zoom_for(size, distance)
        tight = session.active | self._walking
        raw, angle = optics.zoom_for(np.where(tight, 0.0, size), distance)
        raw = np.where(session.active & ~np.isnan(session.zoom), session.zoom, raw)
        keep = (self.controls.still | (self.controls.held & (not self._walking))) & ~session.active
        if keep.any():
            raw = np.where(keep, self.zoom_raw, raw)
        if (keep | session.active).any():
            angle = np.where(keep | session.active, optics.angle_of(raw), angle)
        return raw, angle

    def no_light_cones(self, start: Array, direction: Array, angle_rad: Array, distance: Array) -> np.ndarray:
        """Whose cone, widened by the predicted aim error, touches a no-light area (fmax: no zoom counts as 0)."""
        half = np.fmax(angle_rad, 0.0) / 2 + np.arctan2(self.rig.aim_error, np.maximum(distance, 0.1))
        return self.no_light.touched(start, direction, np.minimum(half, WIDEST_HALF_RAD))

    def _conditions(self, aim: Aim, unreached: np.ndarray, angle_rad: Array, now_s: float) -> Conditions:
        """What holds for each head; what can hold for nobody is not even set."""
        c, aims, holds = self.controls, self._follow, Conditions(len(self.rig))
        if c.dark:
            holds.set(State.DARK, True)
        if not self._usual:
            self._set_unusual(holds)
        too_near = aims & (aim.distance < self.rig.min_distance)
        if too_near.any():
            holds.set(State.TOO_NEAR, too_near)
        if self.no_light.any_on:
            touched = self.no_light_cones(*self._beams.now(), angle_rad, aim.distance)
            if touched.any():
                holds.set(State.NO_LIGHT, touched)
        if not aim.inside:
            holds.set(State.OUT_OF_REACH, aims & unreached)
            holds.set(State.LIMIT, aims & aim.clamped & (not self._walking))
        if not self.jumps.steady:
            holds.set(State.MOVING, aims & ~unreached & self.jumps.under_way(c.follows))
        self._judge_targets(holds, now_s)
        return holds

    def _set_unusual(self, holds: Conditions) -> None:
        """What the operator did to single heads, or what they have not."""
        c = self.controls
        holds.set(State.STILL, c.still)
        holds.set(State.OUT, c.out)
        holds.set(State.SIGHTING, self.session.active | (self._follow & self._walking))
        holds.set(State.UNSOLVED, ~self.rig.has_pose)
        holds.set(State.HELD, c.held & (not self._walking))

    def _judge_targets(self, holds: Conditions, now_s: float) -> None:
        """What the targets do to their heads: outside, or nobody steers."""
        targets, follows = self.targets, self.controls.follows
        waiting = np.array([not target.has_input for target in targets])
        lost = np.array([target.has_input and target.lost(now_s) for target in targets])
        self._lost = lost[follows]
        silent, outside = waiting | lost, ~self.allowed & ~waiting
        follows_target = self._follow & (not self._walking)
        if any(outside.tolist()):
            holds.set(State.OUTSIDE, follows_target & outside[follows] & ~self._stays)
        if any(silent.tolist()):
            to_dark = waiting | (lost & (self.lost_input.then == "dark"))
            holds.set(State.NO_INPUT, follows_target & silent[follows], follows_target & to_dark[follows])

    def _level(self, conditions: Conditions, angle_rad: Array, distance: Array, dt_s: float, now_s: float) -> Array:
        """Level (N,) = master x fixture x fade x (evenness x level map); the working light has its own."""
        c, session, follow = self.controls, self.session, self._follow
        if not self._usual or conditions.anything or not self.gates.full:
            self._work_gates(conditions, dt_s, now_s)
        if follow.any() and not self._walking:
            counted = follow & ~conditions[State.OUT_OF_REACH]
            self.factor = np.where(follow, self._factors(angle_rad, distance, counted, dt_s), self.factor)
        level = self.gates.fade * (WORKING_LEVEL if self._walking else self.factor)
        if not self._usual:
            level = np.where(session.active & ~(c.still | c.out), session.level * (not c.dark), level)
        return np.asarray(c.master * c.level * level)

    def _work_gates(self, conditions: Conditions, dt_s: float, now_s: float) -> None:
        c, gates, follow = self.controls, self.gates, self._follow
        gates.shut(~follow & ~(c.held & self.rig.has_pose & ~c.still & ~c.out & ~self.session.active))
        gates.update(conditions.bad, conditions.reason, follow & self.jumps.arrived, now_s)
        fade_out = np.where(self._lost & (gates.reason == State.NO_INPUT), self.lost_input.fade, self.zones.fade_out)
        gates.advance(dt_s, self.zones.fade_in, fade_out, conditions[State.NO_LIGHT], now_s)
        if c.dark:
            gates.blank()

    def _factors(self, angle_rad: Array, distance: Array, counted: np.ndarray, dt_s: float) -> Array:
        factor, follows = np.ones(len(self.rig)), self.controls.follows
        if self.stage.level_map is not None:
            factor = map_factor(self.stage.level_map, np.array(self.places))[follows]
        if self.stage.evenness:
            factor = factor * self._evenness.factor(angle_rad, distance, counted, follows, dt_s)
        return factor

    def _frame(self, conditions: Conditions, level: Array, zoom_raw: Array, aim: Aim) -> Frame:
        session, controls = self.session, self.controls
        focus = self.rig.optics.focus_for(aim.distance)
        if not self._usual:
            focus = np.where(session.active & ~np.isnan(session.focus), session.focus, focus)
            focus = np.where((controls.still | controls.held) & ~session.active, self.focus_raw, focus)
        self.zoom_raw, self.focus_raw = zoom_raw, focus
        state = conditions.states(self.gates.open, self.gates.reason)
        pan, tilt = self.motors.angle
        return Frame(pan, tilt, level, zoom_raw, focus, state, aim.face, aim.distance)
