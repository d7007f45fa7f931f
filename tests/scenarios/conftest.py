"""The engine and its commands in virtual time, driven as the daemon drives them: no socket, no sleep, no clock."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest

from bridge.errors import Refused
from bridge.follow.commands import Commands
from bridge.follow.engine import Engine
from bridge.follow.states import WORDS
from bridge.geometry.stage import Area, Floor, Target
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput

FRAME_S = 1 / 44
HERE, THERE = "127.0.0.1", "127.0.0.9"
THRUST = Area("thrust", ((-2.0, -3.0), (2.0, -3.0), (2.0, 0.0), (-2.0, 0.0)), (-0.5, 4.0), on=False)
RISER = Floor("riser", ((-2.0, 5.0), (2.0, 5.0), (2.0, 8.0), (-2.0, 8.0)), 0.6)
ROWS = Area("first-rows", ((-6.0, -20.0), (6.0, -20.0), (6.0, -16.0), (-6.0, -16.0)), (0.0, 2.0))


class Bridge:
    """A rig, its engine and its commands. `say` sends a message, `run` lets time go by at 44 frames a second."""

    def __init__(self, made: Any, lost_input: LostInput) -> None:
        self.rig = Rig.from_fixtures(made.fixtures, made.poses)
        self.engine = Engine(self.rig, made.stage, lost_input)
        self.commands = Commands(self.engine)
        self.now_s = 1000.0
        self.frame = self.engine.tick(self.now_s)

    # What goes in

    def say(self, address: str, *args: Any, host: str = HERE) -> None:
        self.commands.handle(address, args, host, self.now_s)

    def refused(self, address: str, *args: Any, host: str = HERE) -> Refused:
        """Say something that must be refused, with words for the log; the refusal."""
        with pytest.raises(Refused) as caught:
            self.say(address, *args, host=host)
        assert str(caught.value)
        assert caught.value.reason
        return caught.value

    def run(self, seconds: float, meanwhile: Callable[[float], None] | None = None, every_s: float = 0.1) -> list[Any]:
        """All frames of the next seconds; `meanwhile` is called with the seconds gone by, first with 0."""
        frames, start_s, due_s = [], self.now_s, 0.0
        for number in range(1, round(seconds / FRAME_S) + 1):
            if meanwhile is not None and self.now_s - start_s >= due_s - 1e-9:
                meanwhile(self.now_s - start_s)
                due_s += every_s
            self.now_s = start_s + number * FRAME_S
            self.frame = self.engine.tick(self.now_s)
            frames.append(self.frame)
        return frames

    def stand(
        self, x: float, y: float, z: float | None = None, seconds: float = 3.0, target: str = "lead"
    ) -> list[Any]:
        """The performer goes to a place and stands there, the sender being alive, until all is settled."""
        place = (x, y) if z is None else (x, y, z)
        self.say(f"/target/{target}/position", *place)
        return self.run(seconds, lambda _: self.say(f"/target/{target}/alive"))

    # What comes out

    def number(self, name: str) -> int:
        return self.rig.names.index(name)

    def state(self, name: str) -> str:
        return WORDS[int(self.frame.state[self.number(name)])]

    @property
    def states(self) -> set[str]:
        return {WORDS[int(state)] for state in self.frame.state}

    def angles(self, name: str) -> tuple[float, float]:
        """Pan and tilt as sent, degrees."""
        n = self.number(name)
        return float(np.degrees(self.frame.pan_rad[n])), float(np.degrees(self.frame.tilt_rad[n]))

    def level(self, name: str) -> float:
        return float(self.frame.level[self.number(name)])

    def misses(self, point: Sequence[float], frame: Any = None) -> np.ndarray:
        """How far each beam axis passes from a point, metres (Heads.beam is checked against MuJoCo elsewhere)."""
        frame = self.frame if frame is None else frame
        start, direction = self.rig.heads.beam(frame.pan_rad, frame.tilt_rad)
        return np.linalg.norm(np.cross(np.asarray(point) - start, direction), axis=1)

    def meets(self, name: str, z: float) -> np.ndarray:
        """Where a beam axis meets the level z, metres."""
        n = self.number(name)
        start, direction = (v[n] for v in self.rig.heads.beam(self.frame.pan_rad, self.frame.tilt_rad))
        return start + (z - start[2]) / direction[2] * direction

    def assert_lit(self, point: Sequence[float], names: Sequence[str] | None = None, level: float = 1.0) -> None:
        """These heads (default all) are lit, at this level, and their beams go through the point."""
        where = [self.number(name) for name in names or self.rig.names]
        assert {WORDS[int(self.frame.state[n])] for n in where} == {"lit"}
        np.testing.assert_allclose(self.frame.level[where], level, atol=1e-6)
        assert self.misses(point)[where].max() < 1e-3

    def assert_dark(self, state: str, names: Sequence[str] | None = None) -> None:
        """These heads (default all) carry no light, and this is the reason given."""
        where = [self.number(name) for name in names or self.rig.names]
        assert {WORDS[int(self.frame.state[n])] for n in where} == {state}
        assert not self.frame.level[where].any()


def scenario_stage(make_stage: Callable[..., Any], **changes: Any) -> Any:
    fields: dict[str, Any] = {
        "more_areas": (THRUST,),
        "floors": (RISER,),
        "no_light": (ROWS,),
        "targets": (Target("lead"), Target("second", height=1.5, size=1.5)),
    }
    return make_stage(**{**fields, **changes})


@pytest.fixture
def make_bridge(make_rig: Callable[..., Any], make_stage: Callable[..., Any]) -> Callable[..., Bridge]:
    """`make_bridge(seed=1, change=..., lost_input=..., **stage)`; `change` maps the Rig of tests/conftest."""

    def make(
        seed: int = 1,
        change: Callable[[Any], Any] = lambda made: made,
        lost_input: LostInput = LostInput(),  # noqa: B008 (frozen)
        **stage: Any,
    ) -> Bridge:
        return Bridge(change(make_rig(seed, stage=scenario_stage(make_stage, **stage))), lost_input)

    return make


@pytest.fixture
def bridge(make_bridge: Callable[..., Bridge]) -> Bridge:
    """Twelve solved heads; a riser, a thrust that is off, a no-light area out of the way; lead and second."""
    return make_bridge()
