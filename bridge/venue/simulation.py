"""The simulated venue as one object: heads, place and performers. Virtual time; nothing here reads a clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.stage import Point3
from bridge.show.model import Show
from bridge.venue.kinematics import Hangs
from bridge.venue.thrown_beams import Place, ThrownBeams, throw
from bridge.venue.truth import Truth
from bridge.venue.virtual_heads import HeadState, VirtualHeads

LIT = 0.02  # below this share of full light nobody calls a beam lit


@dataclass(frozen=True)
class Performer:
    """Where a performer truly is; `point` is what should be lit: the target's height above the feet, metres."""

    name: str
    feet: Point3
    point: NDArray[np.float64]
    outside_by: float  # metres outside the lit areas, 0 inside


class Venue:
    """What the network and the walks do to it, and what can be seen in it.

    `more_areas` and no-light areas are as the stage file has them at the start: the venue hears sACN, not OSC.
    """

    def __init__(self, show: Show, truth: Truth) -> None:
        self.show = show
        self.truth = truth
        self.names = [fixture.name for fixture in show.fixtures]
        truths = truth.ordered(show)
        self.heads = VirtualHeads(show.fixtures, truths)
        self.hangs = Hangs.of(truths)
        self.place = Place(show.stage)
        self.marks = truth.true_marks(show)
        self._targets = {target.name: target for target in show.stage.targets}
        first = show.stage.targets[0].name
        self.follows = [fixture.follows or first for fixture in show.fixtures]
        self.performers: dict[str, Performer] = {}

    @property
    def now_s(self) -> float:
        """Virtual time since the start."""
        return self.heads.now_s

    def hear(self, universe: int, slots: bytes) -> None:
        """Levels that a node would play now."""
        self.heads.hear(universe, slots)

    def step(self, dt: float) -> None:
        """Move time on."""
        self.heads.step(dt)

    def perform(self, name: str, x: float, y: float, z: float | None = None) -> None:
        """The performer of target `name` stands at x, y; feet on the floor there unless z says otherwise."""
        ground = float(self.place.ground.height(np.array(x), np.array(y))) if z is None else z
        target = self._targets.get(name)
        height = target.height if target else 1.3
        point = np.array([x, y, ground + height])
        self.performers[name] = Performer(name, (x, y, ground), point, self.place.outside_by(point))

    def leave(self, name: str) -> None:
        """The performer is gone: nothing is measured against it."""
        self.performers.pop(name, None)

    def look(self) -> tuple[HeadState, ThrownBeams]:
        """All heads and where their beams fall now."""
        state = self.heads.state()
        return state, throw(self.hangs, state, self.place.ground)

    def landing(self, names: Sequence[str] | None = None) -> dict[str, tuple[Point3 | None, float]]:
        """What eyes see: per fixture where its beam lands (None: nowhere, or it is dark) and its level."""
        state, beams = self.look()
        seen: dict[str, tuple[Point3 | None, float]] = {}
        for i, name in enumerate(self.names):
            if names is not None and name not in names:
                continue
            lit = state.level[i] > LIT / 2 and not np.isnan(beams.length[i])
            x, y, z = (float(v) for v in beams.hit[i])
            seen[name] = ((x, y, z) if lit else None, float(state.level[i]))
        return seen
