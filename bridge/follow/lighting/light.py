"""The room of light: zoom and focus, gates and fades, levels, and the guard against flashes."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from bridge.follow.judging.states import Conditions, State
from bridge.follow.keeping import FINEST_RAW, Data, Field, Part, Seats, mapping_in
from bridge.follow.lighting.ceiling import Ceiling
from bridge.follow.lighting.evenness import Evenness, map_factor
from bridge.follow.lighting.flashes import FlashGuard
from bridge.follow.lighting.gates import Gates
from bridge.follow.moving.motion import Motion
from bridge.follow.ramps import Ramps
from bridge.follow.where.scene import Scene
from bridge.follow.who.crew import Crew, Task
from bridge.follow.who.hand import WORKING_LEVEL, InHand
from bridge.follow.who.roles import Cast
from bridge.geometry.frames import Array
from bridge.geometry.stage import Stage
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput

BREATH_S = 3.0  # slow: nobody is to take it for a flash
BREATH_LOWEST = 0.1
NEAREST_M = 0.1


class Lens(NamedTuple):
    """Raw zoom (N,) and the full beam angle (N,) rad that it gives."""

    zoom_raw: Array
    angle_rad: Array


class Light(NamedTuple):
    """Levels 0..1, raw focus and the State to show, (N,) each."""

    level: Array
    focus_raw: Array
    state: np.ndarray


class Lighting(Part):
    """Light of N heads."""

    kept = (
        Field("_factor", "heads", low=0.0, high=1.0),
        Field("_zoom_raw", "heads", low=0.0, high=FINEST_RAW, gap=np.nan),
        Field("_focus_raw", "heads", low=0.0, high=FINEST_RAW, gap=np.nan),
    )

    def __init__(self, rig: Rig, stage: Stage, targets: int, rule: LostInput) -> None:
        count = len(rig)
        self._rig, self._stage = rig, stage
        self._lost_fade_s, self._fade_in_s, self._fade_out_s = rule.fade, stage.polygon.fade_in, stage.polygon.fade_out
        self._gates, self._guard = Gates(count), FlashGuard(count)
        self._evenness = Evenness(rig, targets, stage.evenness_least)
        self._ceiling = Ceiling(count, targets, stage.at_most_lux)
        self.master = Ramps(np.ones(1), low=0.0, high=1.0)
        self.levels = Ramps(np.ones(count), "heads", low=0.0, high=1.0)
        self._factor = np.ones(count)
        self._zoom_raw, self._focus_raw = np.full(count, np.nan), np.full(count, np.nan)

    def take(self, rig: Rig) -> None:
        """Zoom and focus by these tables from now on."""
        self._rig = rig

    def begin(self, now_s: float, where: np.ndarray) -> None:
        """Output to these heads (N,) starts: nobody knows where they are, so they stay dark for a moment."""
        self._gates.begin(now_s, where)

    def fade(self, roles: Cast) -> Array:
        """The light (N,) 0..1 that gates let through now; a walk that begins or ends closes them all."""
        if roles.switched:
            self._gates.shut(np.ones(len(self._rig), dtype=bool))
        return self._gates.fade

    # Zoom

    def lens(self, roles: Cast, crew: Crew, size: Array, distance: Array) -> Lens:
        """Heads aimed by hand or walked have the tightest beam; who stands keeps what it has.

        `zoom_raw` is ours; where the desk's is in force, the angle is that of the desk's.
        """
        lens, desk = self._our_lens(roles, crew, size, distance), crew.desk
        if desk is None or (raw := desk.zoom(lens.zoom_raw, roles)) is lens.zoom_raw:
            return lens
        angle = np.where(raw == lens.zoom_raw, lens.angle_rad, self._rig.optics.angle_of(raw))
        return Lens(lens.zoom_raw, angle)

    def _our_lens(self, roles: Cast, crew: Crew, size: Array, distance: Array) -> Lens:
        optics, hand = self._rig.optics, crew.hand
        if roles.usual:
            self._zoom_raw, angle = optics.zoom_for(size, distance)
            return Lens(self._zoom_raw, angle)
        raw, angle = optics.zoom_for(np.where(roles.by_hand | roles.walking, 0.0, size), distance)
        raw = np.where(roles.by_hand & ~np.isnan(hand.zoom), hand.zoom, raw)
        keep = (roles.still | roles.held | roles.found) & ~np.isnan(self._zoom_raw)
        raw = np.where(keep, self._zoom_raw, raw)
        angle = np.where(keep | roles.by_hand, optics.angle_of(raw), angle)
        self._zoom_raw = raw
        return Lens(raw, angle)

    def _focus(self, roles: Cast, hand: InHand, distance: Array) -> Array:
        focus = self._rig.optics.focus_for(distance)
        if not roles.usual:
            focus = np.where(roles.by_hand & ~np.isnan(hand.focus), hand.focus, focus)
            keep = (roles.still | roles.held | roles.found) & ~np.isnan(self._focus_raw)
            focus = np.where(keep, self._focus_raw, focus)
        self._focus_raw = focus
        return focus

    # One frame

    def light(
        self,
        scene: Scene,
        roles: Cast,
        task: Task,
        motion: Motion,
        lens: Lens,
        holds: Conditions,
        crew: Crew,
        dt_s: float,
        now_s: float,
    ) -> Light:
        """Level = master x fixture x fade x (evenness x level map x target x ceiling); a working light has its own."""
        if not (roles.usual and not holds.anything and self._gates.full):
            self._work_gates(scene, roles, task, motion, holds, dt_s, now_s)
        levels = self.levels.at(now_s)
        if not roles.walking:
            self._find_factors(scene, roles, task, motion, lens, holds, levels, dt_s)
        level = self._gates.fade * (WORKING_LEVEL if roles.walking else self._factor * self._ceiling.held_to)
        if not roles.usual:
            level = np.where(roles.by_hand, crew.hand.level, level)
            level = np.where(roles.found, WORKING_LEVEL * _breath(crew.found_for(now_s)), level)
            level = np.where(holds[State.DARK], 0.0, level)
        level = self.master.at(now_s) * levels * level
        if crew.desk is not None:
            cut = holds[State.DARK] | roles.still
            there = motion.arrived | ((~roles.aims | motion.unreached) & motion.standing)
            level = crew.desk.dimmed(level, roles, cut, there, (self._fade_in_s, self._fade_out_s), dt_s)
        state = holds.states(self._gates.open, self._gates.reason)
        return Light(self._guard.limit(level, now_s), self._focus(roles, crew.hand, motion.aim.distance), state)

    def _work_gates(
        self, scene: Scene, roles: Cast, task: Task, motion: Motion, holds: Conditions, dt_s: float, now_s: float
    ) -> None:
        gates = self._gates
        gates.shut(~(roles.aims | roles.held))
        gates.update(holds.bad, holds.reason, roles.aims & motion.arrived, now_s)
        gone = scene.lost[task.follows] & (gates.reason == State.NO_INPUT)
        fade_out_s = np.where(gone, self._lost_fade_s, self._fade_out_s)
        gates.advance(dt_s, self._fade_in_s, fade_out_s, holds[State.NO_LIGHT] | holds[State.DARK], now_s)

    def _find_factors(
        self,
        scene: Scene,
        roles: Cast,
        task: Task,
        motion: Motion,
        lens: Lens,
        holds: Conditions,
        levels: Array,
        dt_s: float,
    ) -> None:
        """What a head's place and target make of its level; heads that do not follow keep theirs."""
        follows, even, ceiling = task.follows, self._stage.evenness, self._ceiling
        share = np.ones(len(self._rig))
        if self._stage.level_map is not None:
            share = map_factor(self._stage.level_map, scene.place)[follows]
        if even or ceiling.active:
            lux = self._rig.optics.candela_at(lens.angle_rad) / np.maximum(motion.aim.distance, NEAREST_M) ** 2
        if even:
            share = share * self._evenness.factor(lux, roles.aims & ~holds[State.OUT_OF_REACH], follows, dt_s)
        factor = scene.level[follows] * share
        self._factor = factor if roles.usual else np.where(roles.aims, factor, self._factor)
        if ceiling.active:
            share = np.where(roles.aims, share, np.maximum(share, self._factor))
            ceiling.hold(lux * share * self._gates.fade * levels, roles.aims, roles.aims | roles.held, follows, dt_s)

    # What is kept

    def state(self) -> Data:
        """As of keeping.Part."""
        return super().state() | {name: part.state() for name, part in self._parts().items()}

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part."""
        super().restore(data, seats)
        for name, part in self._parts().items():
            part.restore(mapping_in(data).get(name), seats)

    def _parts(self) -> dict[str, Part]:
        return {
            "gates": self._gates,
            "guard": self._guard,
            "evenness": self._evenness,
            "ceiling": self._ceiling,
            "master": self.master,
            "levels": self.levels,
        }


def _breath(for_s: Array) -> Array:
    """Between BREATH_LOWEST and 1, slowly; begins low."""
    swing = (1 - np.cos(2 * np.pi * np.where(np.isfinite(for_s), for_s, 0.0) / BREATH_S)) / 2
    return BREATH_LOWEST + (1 - BREATH_LOWEST) * swing
