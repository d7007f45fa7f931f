"""An engine beside a desk in virtual time, with heads that take their time, for tests of who moves and lights what.

The heads are reckoned here, not by the bridge: each axis goes where it is sent as fast as its profile lets it. A frame
in which one of them is lit while it is not where it belongs is kept in `wrong`; the sent light is kept in `levels`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bridge.door.door import make
from bridge.errors import Refused
from bridge.follow.judging.states import WORDS
from bridge.rig.look import DeskSays
from bridge.show.model import Show
from bridge.wire.settings import DeskSettings, Network

FRAME_S = 1 / 44
FINER = 10  # steps a frame, so that no head shoots beyond where it goes
OFF_RAD = np.radians(1.5)
FASTEST = FRAME_S / 0.2  # of full light in a frame: the shorter of the stage's two fades
PAN, TILT, DIMMER, ZOOM, FOCUS = range(5)
OVERLAY = DeskSettings(universes={1: 101})


class Beside:
    """An engine with a desk under it. Change `pan`, `tilt` (rad), `light`, `zoom`, `focus`, `heard`: it is heard."""

    def __init__(
        self, made: Any, desk: DeskSettings | None = OVERLAY, short_ways: bool = True, fades: float | None = None
    ) -> None:
        network = Network(desk=desk)
        if fades is not None:
            made = replace(made, stage=_with_fades(made.stage, fades), fixtures=_without_lag(made.fixtures))
        self.show = Show(Path("beside"), "beside", made.fixtures, made.stage, network, poses=made.poses)
        self.take(make(self.show, short_ways=short_ways))
        count, self.now_s = len(made.fixtures), 1000.0
        self.pan, self.tilt, self.light = np.full(count, 0.9), np.full(count, -0.4), np.ones(count)
        self.zoom, self.focus = np.full(count, 12000.0), np.full(count, 23456.0)
        self.heard = np.ones(count, dtype=bool)
        self.at: Any = None
        self.levels: list[np.ndarray] = []
        self.wrong: list[tuple[float, str]] = []
        self.point = (1.0, 3.0)

    def take(self, made: Any) -> None:
        self.engine, self.commands = made.engine, made.commands

    @property
    def names(self) -> tuple[str, ...]:
        return self.engine.rig.names

    def says(self) -> DeskSays:
        arrays = (self.pan, self.tilt, self.light, self.zoom, self.focus, self.heard)
        return DeskSays(*(array.copy() for array in arrays))

    def say(self, address: str, *args: Any) -> None:
        self.commands.handle(address, args, "127.0.0.1", self.now_s)

    def refused(self, address: str, *args: Any) -> Refused:
        with pytest.raises(Refused) as caught:
            self.say(address, *args)
        assert str(caught.value)
        return caught.value

    def tick(self, dt_s: float = FRAME_S) -> Any:
        self.now_s += dt_s
        self.say("/target/lead/position", *self.point)
        self.engine.hear_desk(self.says())
        self.frame = self.engine.tick(self.now_s)
        self._move(dt_s)
        self._look()
        self.levels.append(self.frame.level.copy())
        return self.frame

    def run(self, seconds: float, meanwhile: Callable[[float], None] | None = None) -> list[Any]:
        frames = []
        for number in range(round(seconds / FRAME_S)):
            if meanwhile is not None:
                meanwhile(number * FRAME_S)
            frames.append(self.tick())
        return frames

    # The heads

    def _move(self, dt_s: float) -> None:
        rig, goal = self.engine.rig, np.array([self.frame.pan_rad, self.frame.tilt_rad])
        if self.at is None:
            self.at, self.speed = goal.copy(), np.zeros_like(goal)
            return
        top = np.array([rig.pan.speed, rig.tilt.speed])
        gain = np.array([rig.pan.acceleration, rig.tilt.acceleration])
        for _ in range(FINER):
            self._advance(goal - self.at, top, gain, dt_s / FINER)

    def _advance(self, way: np.ndarray, top: np.ndarray, gain: np.ndarray, dt_s: float) -> None:
        """As fast as it can, and braked in time: v² = 2·a·d (from memory: uniform deceleration)."""
        fastest = np.minimum(np.minimum(top, np.sqrt(2 * gain * np.abs(way))), np.abs(way) / dt_s)
        wanted = np.sign(way) * fastest
        self.speed = np.clip(wanted, self.speed - gain * dt_s, self.speed + gain * dt_s)
        self.at = self.at + self.speed * dt_s

    def _look(self) -> None:
        frame, engine = self.frame, self.engine
        start, direction = engine.rig.heads.beam(*self.at)
        point = np.array(engine.place.points(self.now_s)[0])
        miss = np.linalg.norm(np.cross(point - start, direction), axis=1)
        off_desk = np.abs(self.at - np.array([self.pan, self.tilt])).max(axis=0) > OFF_RAD
        aims = np.ones(len(self.names), dtype=bool) if frame.own is None else frame.own[PAN]
        off = np.where(aims, miss > 1.0, off_desk) & (frame.level > 0) & (frame.state != WORDS.index("sighting"))
        self.wrong += [(self.now_s, self.names[n]) for n in np.flatnonzero(off)]

    # What comes out

    def number(self, name: str) -> int:
        return self.names.index(name)

    def state(self, name: str) -> str:
        return WORDS[int(self.frame.state[self.number(name)])]

    def own(self, name: str) -> list[bool]:
        return [bool(value) for value in self.frame.own[:, self.number(name)]]

    def level(self, name: str) -> float:
        return float(self.frame.level[self.number(name)])

    def steps(self, name: str, since: int = 0) -> np.ndarray:
        """How much the sent light of a head changed from frame to frame."""
        return np.abs(np.diff([levels[self.number(name)] for levels in self.levels[since:]]))

    def assert_smooth(self, *names: str, since: int = 0) -> None:
        """No head was lit off its goal, and none of these jumped in its light."""
        assert self.wrong == []
        for name in names:
            assert self.steps(name, since).max() <= FASTEST + 1e-9


def _with_fades(stage: Any, fades: float) -> Any:
    return replace(stage, polygon=replace(stage.polygon, fade_in=fades, fade_out=fades))


def _without_lag(fixtures: Any) -> Any:
    return tuple(replace(fixture, lag=0.0) for fixture in fixtures)


def shared(own: tuple[str, ...] = ("pan", "tilt", "zoom", "focus", "dimmer"), dimmer: str = "multiply") -> DeskSettings:
    return replace(OVERLAY, own=own, dimmer=dimmer)
