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

from bridge.fixtures.fixture import Pose
from bridge.fixtures.look import Look
from bridge.fixtures.rig import Rig
from bridge.follow.controls import Controls
from bridge.follow.gates import Gates
from bridge.follow.jumps import ARRIVED_SHARE, Jumps
from bridge.follow.light import Evenness, map_factor
from bridge.follow.motion import Motors
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
from bridge.wire.settings import LostInput

LONGEST_STEP_S = 0.1  # a stall is not made up for by a leap
NADIR_FROM_RAD, NADIR_TO_RAD = np.radians(25.0), np.radians(15.0)
LEAP_M = 1.0  # in one frame: no performer runs that fast
EASE_S = 3.0
WIDEST_HALF_RAD = np.radians(85.0)


@dataclass(frozen=True)
class Frame(Look):
    """A look with each head's state (State numbers), face (1 or 2) and distance to what it lights (m), all (N,)."""

    state: np.ndarray
    face: np.ndarray
    distance: Array


@dataclass(frozen=True)
class Aimed:
    """A rig with its poses, and the faces and turns found for it."""

    rig: Rig
    reach: Reach


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
        self._full, self.factor = np.ones(len(rig)), np.ones(len(rig))
        self.zoom_raw, self.focus_raw = np.full(len(rig), np.nan), np.full(len(rig), np.nan)
        self.places: list[Point3] = [(0.0, 0.0, 0.0)] * len(self.targets)
        self._points: Array = np.zeros((len(rig), 3))
        self._ease, self._eased_s = np.zeros((2, len(rig))), -np.inf
        self._fresh_poses = False
        self._follow = np.zeros(len(rig), dtype=bool)
        self.frame: Frame | None = None
        self._walking = self._placed = False
        self._last_s: float | None = None
        self._take(Aimed(rig, Reach(rig, self._ground())))

    def _take(self, aimed: Aimed) -> None:
        self.rig, self.reach = aimed.rig, aimed.reach
        self._beam = self.rig.heads.beam(*self.motors.angle)

    def _ground(self) -> Ground:
        """What every head must be able to follow: the polygon, at the height that is lit."""
        plan = self.zones.polygon.polygon
        points = plan.grid()
        height = self.targets[0].spec.height
        places = np.column_stack([points, self.floors.height_at(points) + height])
        middle = np.array([*self.middle, self.floors.height_of(*self.middle) + height])
        return Ground(plan, places, middle)

    # What others ask of it

    def begin(self, now_s: float) -> None:
        """Output starts now: nobody knows where the heads are, so they stay dark for a moment."""
        self.gates.shut(np.ones(len(self.rig), dtype=bool))
        self.gates.closed_s[:] = now_s

    def placed(self) -> None:
        """The angles that the motors hold are those last sent: go on from them instead of leaping to the first goal."""
        self._placed = True
        self._beam = self.rig.heads.beam(*self.motors.angle)

    def take_poses(self, poses: Mapping[str, Pose]) -> None:
        """Aim with other poses from now on: small corrections slowly and in the light, others in the dark."""
        self.adopt(self.prepare(poses))

    def prepare(self, poses: Mapping[str, Pose]) -> Aimed:
        """The slow part of `take_poses`; changes nothing, so that it can be done in another thread."""
        rig = self.rig.with_poses(poses)
        return Aimed(rig, Reach(rig, self._ground()))

    def adopt(self, aimed: Aimed) -> None:
        """The quick part of `take_poses`."""
        self._take(aimed)
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
        points = self._points = self._lit_points()
        size = np.array([target.size for target in self.targets])[self.controls.follows]
        aim = self.reach.aim(points, self.motors.angle[0], self.gates.fade <= 0)
        short, unreached = self._limits(aim, points, size)
        follow = self._follow = self._following()
        self._move(aim, points, size, follow & ~unreached, leapt, dt_s, now_s)
        start, direction = self._beam = self.rig.heads.beam(*self.motors.angle)
        miss = miss_distance(start, direction, points)
        self.jumps.update(miss - short, size, self.rig.lag, follow & ~unreached, self.controls.follows, now_s)
        zoom_raw, angle_rad = self._zoom(size, aim.distance)
        conditions = self._conditions(aim, unreached, now_s)
        conditions.set(State.NO_LIGHT, self.no_light_cones(start, direction, angle_rad, aim.distance))
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
        before, self.places = self.places, [self._advance(target, now_s) for target in self.targets]
        self.allowed = np.array(
            [
                target.has_input and self.zones.allows(place, allowed)
                for target, place, allowed in zip(self.targets, self.places, self.allowed.tolist(), strict=True)
            ]
        )
        return np.array([math.dist(*step) > LEAP_M for step in zip(before, self.places, strict=True)])

    def _advance(self, target: TargetState, now_s: float) -> Point3:
        target.advance(now_s)
        return target.lit_point(self.floors)

    def _lit_points(self) -> Array:
        """The point (N, 3) each head is to light, trims included; trims never touch the area test."""
        if self._walking:
            return np.tile(np.asarray(self.session.walk_mark, dtype=np.float64), (len(self.rig), 1))
        points = np.array(self.places)[self.controls.follows]
        points[:, :2] += self.controls.shift
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
        if clamped.any():
            start, direction = self.rig.heads.beam(aim.pan, aim.tilt)
            short = np.where(clamped, miss_distance(start, direction, points), 0.0)
            unreached = unreached | (short > size / 2)
        for fixture, _, _ in self._guides():
            clamped[fixture] = unreached[fixture] = False
        return short, unreached

    def _move(
        self,
        aim: Aim,
        points: Array,
        size: Array,
        able: np.ndarray,
        leapt: np.ndarray,
        dt_s: float,
        now_s: float,
    ) -> None:
        """Send every head on its way: to its aim, or to where it rests, stands or is held by hand."""
        controls, motors = self.controls, self.motors
        goal = np.array([aim.pan, aim.tilt])
        for fixture, pan_rad, tilt_rad in self._guides():
            goal[:, fixture] = pan_rad, tilt_rad
        follow = self._follow
        if not self._walking:
            lost = able & (miss_distance(*self._beam, points) > size / 2)
            joining = follow & ~self.jumps.settled & (self.gates.fade > 0)
            if (lost | joining).any():
                time_s = motors.time_to(goal)
                self.jumps.begin(lost, time_s, leapt, controls.follows, now_s)
                self.jumps.join(joining & able, time_s)
        goal = self._ease_in(goal, points, size, able, now_s)
        wait = follow & self.jumps.waiting(controls.follows, self.gates.fade)
        goal[1] = self._across_nadir(goal[1], points, follow)
        goal = np.where(wait | (controls.held & ~follow), motors.angle, goal)
        goal = np.where(controls.out | ~self.rig.has_pose, motors.rest, goal)
        goal = np.where(self.session.active & ~controls.out, self.session.setpoints(motors.angle), goal)
        if not self._placed:
            motors.put(np.where(controls.still, motors.angle, goal))
            self._placed = True
        elif dt_s > 0:
            motors.step(goal, min(dt_s, LONGEST_STEP_S), controls.still)

    def _ease_in(self, goal: Array, points: Array, size: Array, able: np.ndarray, now_s: float) -> Array:
        """After new poses, heads that still light their target go to it slowly from where they are."""
        if self._fresh_poses:
            self._fresh_poses, self._eased_s = False, now_s
            near = able & (miss_distance(*self._beam, points) <= ARRIVED_SHARE * size)
            self._ease = np.where(near, self.motors.angle - goal, 0.0)
        left = 1.0 - (now_s - self._eased_s) / EASE_S
        return goal + left * self._ease if left > 0 else goal

    def _across_nadir(self, tilt: Array, points: Array, follow: np.ndarray) -> Array:
        """Near the pan axis, where pan cannot keep up, tilt alone brings the beam as near as it can."""
        near = follow & self.reach.home.winds & (np.abs(tilt) < NADIR_FROM_RAD)
        if not near.any():
            return tilt
        best = self.rig.heads.tilt_for(self.motors.angle[0], points)
        share = np.clip((NADIR_FROM_RAD - np.abs(tilt)) / (NADIR_FROM_RAD - NADIR_TO_RAD), 0.0, 1.0)
        return np.where(near & (np.abs(best) < NADIR_FROM_RAD), tilt + share * (best - tilt), tilt)

    # Light

    def _zoom(self, size: Array, distance: Array) -> tuple[Array, Array]:
        """Raw zoom (N,) and full beam angle (N,) rad; heads aimed by hand or walked have the tightest beam."""
        optics, session = self.rig.optics, self.session
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

    def _conditions(self, aim: Aim, unreached: np.ndarray, now_s: float) -> Conditions:
        """What holds for each head, no-light areas aside."""
        c, targets, rig = self.controls, self.targets, self.rig
        aims = self._follow
        follows_target = aims & (not self._walking)
        waiting = np.array([not target.has_input for target in targets])
        lost = np.array([target.has_input and target.lost(now_s) for target in targets])
        self._lost = lost[c.follows]
        to_dark = waiting | (lost & (self.lost_input.then == "dark"))
        holds = Conditions(len(rig))
        holds.set(State.STILL, c.still)
        holds.set(State.DARK, c.dark)
        holds.set(State.OUT, c.out)
        holds.set(State.SIGHTING, self.session.active | (aims & self._walking))
        holds.set(State.UNSOLVED, ~rig.has_pose)
        holds.set(State.TOO_NEAR, aims & (aim.distance < rig.min_distance))
        holds.set(State.OUT_OF_REACH, aims & unreached)
        holds.set(State.OUTSIDE, follows_target & (~self.allowed & ~waiting)[c.follows] & ~self._stays)
        holds.set(State.NO_INPUT, follows_target & (waiting | lost)[c.follows], follows_target & to_dark[c.follows])
        holds.set(State.MOVING, aims & ~unreached & self.jumps.under_way(c.follows))
        holds.set(State.LIMIT, follows_target & aim.clamped)
        holds.set(State.HELD, c.held & (not self._walking))
        return holds

    def _level(self, conditions: Conditions, angle_rad: Array, distance: Array, dt_s: float, now_s: float) -> Array:
        """Level (N,) = master x fixture x fade x (evenness x level map); the working light has its own."""
        c, gates, session = self.controls, self.gates, self.session
        follow = self._follow
        gates.shut(~follow & ~(c.held & self.rig.has_pose & ~c.still & ~c.out & ~session.active))
        gates.update(conditions.bad, conditions.reason, follow & self.jumps.arrived, now_s)
        fade_out = np.where(self._lost & (gates.reason == State.NO_INPUT), self.lost_input.fade, self.zones.fade_out)
        gates.advance(dt_s, self.zones.fade_in, fade_out, conditions[State.NO_LIGHT], now_s)
        if c.dark:
            gates.blank()
        if follow.any() and not self._walking:
            counted = follow & ~conditions[State.OUT_OF_REACH]
            self.factor = np.where(follow, self._factors(angle_rad, distance, counted, dt_s), self.factor)
        level = gates.fade * (WORKING_LEVEL if self._walking else self.factor)
        level = np.where(session.active & ~(c.still | c.out), session.level * (not c.dark), level)
        return np.asarray(c.master * c.level * level)

    def _factors(self, angle_rad: Array, distance: Array, counted: np.ndarray, dt_s: float) -> Array:
        if self.stage.level_map is None and not self.stage.evenness:
            return self._full
        factor = map_factor(self.stage.level_map, np.array(self.places))[self.controls.follows]
        if self.stage.evenness:
            factor = factor * self._evenness.factor(angle_rad, distance, counted, self.controls.follows, dt_s)
        return factor

    def _frame(self, conditions: Conditions, level: Array, zoom_raw: Array, aim: Aim) -> Frame:
        session, controls = self.session, self.controls
        focus = self.rig.optics.focus_for(aim.distance)
        focus = np.where(session.active & ~np.isnan(session.focus), session.focus, focus)
        focus = np.where((controls.still | controls.held) & ~session.active, self.focus_raw, focus)
        self.zoom_raw, self.focus_raw = zoom_raw, focus
        state = conditions.states(self.gates.open, self.gates.reason)
        pan, tilt = self.motors.angle
        return Frame(pan, tilt, level, zoom_raw, focus, state, aim.face, aim.distance)
