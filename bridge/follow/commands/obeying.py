"""What every group of commands has: the engine's rooms, and names to numbers."""

from __future__ import annotations

import math
from collections.abc import Callable

from bridge.errors import Refused
from bridge.follow.commands.values import Args, find, number
from bridge.follow.engine import Engine
from bridge.follow.where.target import TargetState

Obey = Callable[[str, Args, str, float], None]
"""(name in the address, arguments, sender, now_s): checks all of it, then acts; Refused changes nothing."""

Table = dict[tuple[str, str], Obey]
"""By the first and the last word of an address, as in /fixture/NAME/level; the last is "" in /floor/NAME."""


class Group:
    """Commands on one engine."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.crew, self.place = engine, engine.crew, engine.place
        self._fixtures = {name: number for number, name in enumerate(engine.rig.names)}

    def fixture(self, name: str) -> int:
        """The number of a fixture."""
        return self._fixtures[name] if name in self._fixtures else find(self._fixtures, name, "fixture")

    def movable(self, name: str) -> int:
        """The number of a fixture that may be moved: not one that is still."""
        fixture = self.fixture(name)
        if self.crew.is_still(fixture):
            raise Refused("still", f"{name} is still (people aloft) and will not move; clear it with /still 0 first")
        return fixture

    def ours(self, name: str) -> int:
        """The number of a fixture that may be moved and is not the desk's to move."""
        fixture = self.movable(name)
        self.not_the_desks(fixture)
        return fixture

    def not_the_desks(self, fixture: int) -> None:
        """Raise Refused for a head in the desk's hands."""
        if self.crew.in_desk_hands(fixture):
            name = self.engine.rig.names[fixture]
            raise Refused(
                "desk", f"{name} is in the desk's hands: /fixture/{name}/desk 0 first, or aim it from the desk"
            )

    def target_number(self, name: str) -> int:
        """The number of a target."""
        return find(self.place.names, name, "target")

    def target(self, name: str) -> TargetState:
        """A target."""
        return self.place.targets[self.target_number(name)]

    def truss(self, name: str) -> str:
        """The name of a truss that some fixture hangs on."""
        find(sorted({f.truss for f in self.engine.rig.fixtures if f.truss}), name, "truss")
        return name

    def angles(self, fixture: int, pan: object, tilt: object) -> tuple[float, float]:
        """Degrees as given, inside the fixture's soft limits, in rad."""
        angles = []
        for value, axes, what in ((pan, self.engine.rig.pan, "pan"), (tilt, self.engine.rig.tilt, "tilt")):
            low, high = math.degrees(axes.low[fixture]), math.degrees(axes.high[fixture])
            slack = 1e-9
            angles.append(math.radians(number(value, what, low - slack, high + slack)))
        return angles[0], angles[1]
