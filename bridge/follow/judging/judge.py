"""The room of judgement: what forbids light to which head in this frame. One method a reason.

To add a reason: a State in states.py (its place is its priority), a line in `_judge` here that sets it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.judging.no_light import NoLight
from bridge.follow.judging.states import Conditions, State
from bridge.follow.keeping import Data, mapping_in
from bridge.follow.moving.motion import Lines, Motion
from bridge.follow.where.scene import Scene
from bridge.follow.who.crew import Task
from bridge.follow.who.roles import Cast
from bridge.geometry.frames import Array
from bridge.geometry.stage import Stage
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput

WIDEST_HALF_RAD = np.radians(85.0)


class Judge:
    """Judges N heads."""

    def __init__(self, rig: Rig, stage: Stage, lowest_floor_m: float, rule: LostInput) -> None:
        self._rig = rig
        self._no_light = NoLight(stage.no_light, lowest_floor_m)
        self._to_dark = rule.then == "dark"
        self._stays = np.array([fixture.outside == "stay" for fixture in rig.fixtures], dtype=bool)
        self._any_min_distance = bool((rig.min_distance > 0).any())
        self._all_well = Conditions(len(rig))  # never set

    def take(self, rig: Rig) -> None:
        """Judge by other poses from now on."""
        self._rig = rig

    # The no-light areas

    @property
    def no_light_names(self) -> list[str]:
        """Names of the no-light areas."""
        return self._no_light.names

    @property
    def no_light_on(self) -> np.ndarray:
        """Which of them (A,) are on."""
        return self._no_light.on

    def switch_no_light(self, number: int, on: bool) -> None:
        """Switch one of them."""
        self._no_light.on[number] = on

    def clip(self, lowest_floor_m: float) -> None:
        """Light ends at the lowest floor, wherever that has been moved."""
        self._no_light.clip(lowest_floor_m)

    def cones_touch(self, beams: Lines, angle_rad: Array, distance: Array, more: Array | None = None) -> np.ndarray:
        """Whose cone (N,), widened by the predicted aim error, touches a no-light area (fmax: no zoom counts as 0).

        `more` (N,) m: by how much what is aimed at may be elsewhere itself.
        """
        error = self._rig.aim_error if more is None else np.hypot(self._rig.aim_error, more)
        half = np.fmax(angle_rad, 0.0) / 2 + np.arctan2(error, np.maximum(distance, 0.1))
        return self._no_light.touched(*beams, np.minimum(half, WIDEST_HALF_RAD))

    # One frame

    def judge(
        self,
        scene: Scene,
        roles: Cast,
        task: Task,
        motion: Motion,
        angle_rad: Array,
        dark: bool,
        acting: np.ndarray | None,
    ) -> Conditions:
        """What holds for each head. `dark`: everything is to be; `acting` (N,): heads that an action keeps dark."""
        too_near, touched = self._judge_place(scene, roles, task, motion, angle_rad)
        usual = roles.usual and scene.all_well and motion.steady and not dark and acting is None
        if usual and too_near is None and touched is None:
            return self._all_well
        holds = Conditions(len(self._rig))
        for state, where in ((State.TOO_NEAR, too_near), (State.NO_LIGHT, touched)):
            if where is not None:
                holds.set(state, where)
        self._judge_heads(holds, roles, motion, dark, acting)
        self._judge_targets(holds, scene, roles, task)
        return holds

    def _judge_place(
        self, scene: Scene, roles: Cast, task: Task, motion: Motion, angle_rad: Array
    ) -> tuple[np.ndarray | None, np.ndarray | None]:
        """Whose beam goes too near, and whose into a no-light area (N,); None: nobody's."""
        distance, too_near, touched = motion.aim.distance, None, None
        if self._any_min_distance:
            too_near = roles.aims & (distance < self._rig.min_distance)
        if self._no_light.any_on:
            more = None if scene.frame_error is None else scene.frame_error[task.follows]
            touched = self.cones_touch(motion.beams or self._rig.heads.beam(*motion.angle), angle_rad, distance, more)
            touched &= ~roles.desk
        return _anybody(too_near), _anybody(touched)

    def _judge_heads(
        self, holds: Conditions, roles: Cast, motion: Motion, dark: bool, acting: np.ndarray | None
    ) -> None:
        """What operators did to heads, what heads have not, and how far they have come."""
        for state, where in (
            (State.STILL, roles.still),
            (State.OUT, roles.out),
            (State.SIGHTING, roles.by_hand | roles.found | (roles.aims & roles.walking)),
            (State.UNSOLVED, roles.unsolved),
            (State.HELD, roles.held),
            (State.OUT_OF_REACH, roles.aims & motion.unreached),
            (State.LIMIT, roles.aims & motion.clamped & (not roles.walking)),
            (State.MOVING, roles.aims & ~motion.unreached & motion.under_way),
        ):
            if where.any():
                holds.set(state, where)
        if roles.changing is not None:
            holds.set(State.DESK, roles.desk & ~roles.changing)
            moving = holds[State.MOVING].copy()
            holds.set(State.MOVING, moving | roles.changing, moving)  # on the way to the desk no gate closes
        if dark:
            holds.set(State.DARK, True)
        elif acting is not None:
            holds.set(State.DARK, acting)

    def _judge_targets(self, holds: Conditions, scene: Scene, roles: Cast, task: Task) -> None:
        """What targets do to their heads: outside, or steered by nobody."""
        if roles.walking:
            return
        silent, follows = scene.waiting | scene.lost, task.follows
        outside, far = ~scene.inside & ~scene.waiting, ~scene.near & ~scene.waiting
        outside_heads = roles.aims & np.where(self._stays, far[follows], outside[follows])
        if outside_heads.any():
            holds.set(State.OUTSIDE, outside_heads)
        silent_heads = roles.aims & silent[follows]
        if silent_heads.any():
            to_dark = scene.waiting | (scene.lost & self._to_dark)
            holds.set(State.NO_INPUT, silent_heads, roles.aims & to_dark[follows])

    # What is kept

    def state(self) -> Data:
        """Which no-light areas are on."""
        return dict(zip(self._no_light.names, self._no_light.on.tolist(), strict=True))

    def restore(self, data: Any) -> None:
        """Take up what `state` gave."""
        for name, on in mapping_in(data).items():
            if name in self._no_light.names and isinstance(on, bool):
                self._no_light.on[self._no_light.names.index(name)] = on


def _anybody(where: np.ndarray | None) -> np.ndarray | None:
    return where if where is not None and where.any() else None
