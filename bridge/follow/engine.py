"""The engine: from targets and switches to a frame for the whole rig.

`tick(now_s)` is a pure function of the engine's state, what it was told, and `now_s`; the same inputs give the same
frames. One tick goes one way through five rooms, every step over all heads at once, a frozen value from each to the
next:

    where     targets, zones                -> Scene
    who       switches, hands, roles        -> Cast, Task
    moving    reach, moves in black, motors -> Motion
    judging   what forbids light            -> Conditions
    lighting  gates, evenness, optics       -> Light -> Frame
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from bridge.follow.frame import Frame
from bridge.follow.judging.judge import Judge
from bridge.follow.judging.states import Conditions, State
from bridge.follow.keeping import LATEST_S, NEVER_S, Data, Roster, Seats, mapping_in, number_in
from bridge.follow.lighting.light import Lens, Light, Lighting
from bridge.follow.moving.motion import Motion, Moving
from bridge.follow.moving.reach import Reach, Terrain
from bridge.follow.reloading import take_over
from bridge.follow.where.place import Whereabouts
from bridge.follow.who.crew import Crew
from bridge.follow.who.desk import Sent
from bridge.follow.who.roles import Cast, Role
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Stage
from bridge.rig.fixture import OwnTables, Pose
from bridge.rig.look import DeskSays, Override
from bridge.rig.rig import Rig
from bridge.rig.shares import Shares
from bridge.wire.settings import LostInput


class Engine:
    """N heads that follow T targets on one stage. Built once per show; poses may be exchanged live."""

    def __init__(
        self,
        rig: Rig,
        stage: Stage,
        lost_input: LostInput,
        marks: Mapping[str, Point3] | None = None,
        *,
        short_ways: bool = True,
        desk: Shares | None = None,
    ) -> None:
        """`marks` are places of solved marks, for the check walk, beside the surveyed ones of the stage.

        `short_ways` off: every frame goes the full way (tests/scenarios holds both against each other). `desk`: which
        channels are ours beside a desk, None without one.
        """
        self.rig, self.stage, self._short_ways = rig, stage, short_ways
        self.marks = {name: mark.at for name, mark in stage.marks.items() if mark.at is not None} | dict(marks or {})
        self.place = Whereabouts(stage, lost_input, rig.names)
        targets = (*self.place.names, "")
        follows = np.array([targets.index(f.follows or targets[0]) for f in rig.fixtures], dtype=np.intp)
        self.crew = Crew(rig, follows, targets, short_ways, desk)
        self._ground = self._ground_of_stage()
        self.moving = Moving(rig, self._ground, len(targets), stage.move_in_black_after, short_ways)
        self.judge = Judge(rig, stage, self.place.floors.lowest, lost_input)
        self.lighting = Lighting(rig, stage, len(targets), lost_input)
        self._sight_fixed = {
            n: Override(n, tuple(fixture.profile.sight_fixed.items()))
            for n, fixture in enumerate(rig.fixtures)
            if fixture.profile.sight_fixed
        }
        self.frame: Frame | None = None
        self._last_s = NEVER_S
        self.came_s = NEVER_S
        """When the message that is obeyed now arrived (see commands/table.py)."""

    def _ground_of_stage(self) -> Terrain:
        """Of the stage as its file says: floors that were moved since change no home."""
        place = self.place
        return Terrain.over(place.zones.polygon.polygon, place.floors, place.middle, place.targets[0].spec.height)

    def tick(self, now_s: float) -> Frame:
        """The frame for now. Time never runs back: an earlier `now_s` than the last counts as the same moment."""
        now_s = max(now_s, self._last_s)
        dt_s = 0.0 if self._last_s == NEVER_S else now_s - self._last_s
        self._last_s = now_s
        crew, moving, lighting = self.crew, self.moving, self.lighting
        legs = crew.legs()
        scene = self.place.scene(now_s, legs, self.judge.no_light_on)
        crew.change_hands(moving.motors.angle, now_s)
        roles = crew.cast(now_s)
        fade = lighting.fade(roles)
        task = crew.task(roles, scene, legs, moving.motors.angle, now_s)
        motion = moving.step(task, roles, scene.leapt, fade, dt_s, now_s)
        lens = lighting.lens(roles, crew, task.size, motion.aim.distance)
        self.judge.clip(self.place.floors.lowest)
        holds = self.judge.judge(scene, roles, task, motion, lens.angle_rad, crew.dark, crew.actions.dark(now_s))
        light = lighting.light(scene, roles, task, motion, lens, holds, crew, dt_s, now_s)
        if roles.walking:
            crew.hand.saw((roles.role == Role.WALKED) & motion.arrived & (light.level > 0.0))
        sent = self._sent(motion, lens, light, roles, holds)
        self.frame = Frame(
            *(sent.pan_rad, sent.tilt_rad, sent.level, sent.zoom_raw, sent.focus_raw, self._overrides(roles, now_s)),
            own=sent.own,
            whole=sent.whole,
            loose=None if crew.desk is None else moving.motors.anywhere,
            state=light.state,
            face=motion.aim.face,
            distance=motion.aim.distance,
            behind=_behind(motion, light),
        )
        return self.frame

    def _sent(self, motion: Motion, lens: Lens, light: Light, roles: Cast, holds: Conditions) -> Sent:
        """What leaves: all of it ours, or what the desk's hands leave to us."""
        desk, zoom, focus = self.crew.desk, lens.zoom_raw, light.focus_raw
        if desk is None:
            return Sent(light.level, motion.angle[0], motion.angle[1], zoom, focus, None, None)
        return desk.sent(light.level, motion.angle, zoom, focus, roles, holds[State.DARK])

    def _overrides(self, roles: Cast, now_s: float) -> tuple[Override, ...]:
        """Slots that are held now: of heads that are sighted, and over these of those that do an action."""
        actions = self.crew.actions.overrides(now_s)
        if roles.usual or not self._sight_fixed:
            return actions
        return (
            *(self._sight_fixed[n] for n in np.flatnonzero(roles.by_hand).tolist() if n in self._sight_fixed),
            *actions,
        )

    # What comes in beside messages (see commands/)

    def hear_desk(self, says: DeskSays) -> None:
        """What the desk sends from now on; without a desk beside us it is nothing."""
        if self.crew.desk is not None:
            self.crew.desk.hear(says)

    def begin(self, now_s: float, where: np.ndarray | None = None) -> None:
        """Output to these heads (N,) starts now (None: to all): nobody knows where they are, so they begin dark."""
        heads = np.ones(len(self.rig), dtype=bool) if where is None else where
        self.lighting.begin(now_s, heads)
        if self.crew.desk is not None:
            self.crew.desk.begin(heads)

    def prepare(self, poses: Mapping[str, Pose], optics: Mapping[str, OwnTables] | None = None) -> Reach:
        """The slow part of `adopt`; changes nothing, so that it can be done in another thread."""
        return Reach(self.rig.with_poses(poses).with_tables(optics or {}), self._ground, self._short_ways)

    def adopt(self, reach: Reach, marks: Mapping[str, Point3] | None = None) -> None:
        """Aim with other poses from now on: small corrections slowly and in the light, others in the dark.

        Zoom and focus are by the tables of `reach` at once.
        """
        self.rig = reach.rig
        self.crew.solved(reach.rig.has_pose)
        self.judge.take(reach.rig)
        self.lighting.take(reach.rig)
        self.moving.adopt(reach)
        self.marks.update(marks or {})

    def take_over(self, before: Engine, now_s: float) -> None:
        """Go on in place of another engine, whose show was read again: see reloading.py."""
        take_over(self, before, now_s)

    # What others ask of it

    @property
    def reach(self) -> Reach:
        """How heads follow over the polygon: faces, turns, homes."""
        return self.moving.reach

    def where_beam_meets(self, fixture: int, pan_rad: float, tilt_rad: float, above_m: float) -> Point3 | None:
        """Where the beam of one head at these angles first meets the surface `above_m` over the floors, or None."""
        one = self.rig.heads.one(fixture)
        start, direction = one.beam(np.array([pan_rad]), np.array([tilt_rad]))
        meets = self.place.floors.first_meeting(start[0], direction[0], above_m)
        return None if meets is None else (float(meets[0]), float(meets[1]), float(meets[2]))

    def sent_angles(self, fixture: int) -> tuple[float, float]:
        """Pan and tilt (rad) that a head is sent: by the desk that has it, by hand, or in the last frame."""
        if desk := self._desk_sends(fixture):
            return desk[:2]
        by_hand = self.crew.hand.angles(fixture)
        return self.moving.standing(fixture) if by_hand is None else by_hand

    def _desk_sends(self, fixture: int) -> tuple[float, float, float, float] | None:
        return None if self.crew.desk is None else self.crew.desk.sends(fixture)

    def lens_of(self, fixture: int) -> tuple[float, float]:
        """Raw zoom that a head is sent, and the raw focus that a hand, or the desk, has set for it; NaN for none, and
        where it has no such channel."""
        zoom, focus = self._lens_of(fixture)
        channels = self.rig.fixtures[fixture].profile.channels
        return zoom if "zoom" in channels else math.nan, focus if "focus" in channels else math.nan

    def _lens_of(self, fixture: int) -> tuple[float, float]:
        if desk := self._desk_sends(fixture):
            return desk[2:]
        hand, frame = self.crew.hand, self.frame
        if not hand.active[fixture]:
            return (math.nan if frame is None else float(frame.zoom_raw[fixture])), math.nan
        tightest, _ = self.rig.optics.zoom_for(np.zeros(len(self.rig)), np.ones(len(self.rig)))
        zoom = tightest[fixture] if np.isnan(hand.zoom[fixture]) else hand.zoom[fixture]
        return float(zoom), float(hand.focus[fixture])

    def angles_towards(self, fixture: int, point: Point3) -> tuple[float, float] | None:
        """Pan and tilt (rad) that put a head's beam on a point by what is known of its pose; None: out of reach."""
        return self.reach.nearest(fixture, point, self.sent_angles(fixture))

    # What is kept

    def state(self) -> Data:
        """Everything that later frames depend on, as plain data, by names. Times are of the clock given to `tick`."""
        roster = self.roster
        return {
            **roster.state(),
            "last_s": self._last_s,
            "place": self.place.state(roster),
            "crew": self.crew.state(),
            "moving": self.moving.state(),
            "judge": self.judge.state(),
            "lighting": self.lighting.state(),
        }

    def lasting(self) -> Data:
        """What outlasts any stop (who is still, with the angles sent then, and trims), and who is dark and out."""
        return self.crew.lasting() | {"angles": self.moving.angles_of(self.crew.still.heads)}

    def take_up_lasting(self, data: Any) -> None:
        """Take up what `lasting` gave."""
        self.crew.take_up_lasting(data)
        self.moving.stand_at(mapping_in(mapping_in(data).get("angles")))

    def freshest(self) -> Array:
        """What changes from frame to frame, as numbers: where heads are sent and where targets stand."""
        return np.concatenate([self.moving.freshest(), self.place.freshest()])

    def take_up_freshest(self, numbers: Array) -> None:
        """Take up what `freshest` gave in the same show."""
        count = 2 * len(self.rig)
        self.moving.take_up_freshest(numbers[:count])
        self.place.take_up_freshest(numbers[count:])

    def restore(self, data: Any) -> None:
        """Go on from what `state` gave, in this show or another; what does not fit is left out."""
        data = mapping_in(data)
        seats = Seats(data, self.roster)
        last_s = number_in(data.get("last_s"), -LATEST_S, LATEST_S)
        self._last_s = NEVER_S if last_s is None else last_s
        self.place.restore(data.get("place"), seats)
        self.crew.restore(data.get("crew"), seats)
        self.moving.restore(data.get("moving"), seats)
        self.judge.restore(data.get("judge"))
        self.lighting.restore(data.get("lighting"), seats)

    @property
    def roster(self) -> Roster:
        """Names of heads, targets and tracks, in the order of the arrays."""
        return self.crew.roster._replace(tracks=self.place.steering.names)


def _behind(motion: Motion, light: Light) -> Array | None:
    """As of Frame."""
    if motion.behind is None:
        return None
    return np.where((light.state == State.MOVING) & (light.level > 0.0), motion.behind, 0.0)
