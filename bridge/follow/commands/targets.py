"""/target/...: where performers are, how large and how bright, and who lights them. /area, /floor: the place."""

from __future__ import annotations

from bridge.errors import Refused
from bridge.follow.commands.obeying import Group, Table
from bridge.follow.commands.values import Args, count, find, number, switch, text, timed
from bridge.follow.where.place import FLOORS_M, HEIGHTS_M, SIZES_M
from bridge.follow.where.target import TargetState

FASTEST_M_S = 50.0
DESK = "desk"
"""The sender of what slots of a desk ask for (door/controls.py); every other one has a host."""


class TargetCommands(Group):
    """What is done to targets and to the place."""

    @property
    def table(self) -> Table:
        """Address words to methods."""
        return {
            ("target", "position"): self._position,
            ("target", "velocity"): self._velocity,
            ("target", "pointing"): self._pointing,
            ("target", "height"): self._height,
            ("target", "size"): self._size,
            ("target", "level"): self._level,
            ("target", "alive"): self._alive,
            ("target", "take"): self._take,
            ("target", "crew"): self._crew,
            ("area", ""): self._area,
            ("floor", ""): self._floor,
        }

    @staticmethod
    def _hear(target: TargetState, sender: str, now_s: float) -> None:
        """Size, height and level: a desk sets them in its cues whoever steers, and is no operator by that; and where a
        tracking input steers they are anybody's."""
        if sender != DESK and not target.by_input:
            target.hear(sender, now_s)

    def _position(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target_number(name)
        values = [number(v, axis) for v, axis in zip(count(args, "position", 2, 3), "xyz", strict=False)]
        self.target(name).hear(sender, now_s)
        z = values[2] if len(values) == 3 else None
        self.place.observe(target, values[0], values[1], z, now_s, self.engine.came_s, sender == DESK)

    def _velocity(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target_number(name)
        vx, vy = (number(v, "velocity", -FASTEST_M_S, FASTEST_M_S) for v in count(args, "velocity", 2))
        self.target(name).hear(sender, now_s)
        self.place.drive(target, vx, vy, now_s)

    def _pointing(self, name: str, args: Args, sender: str, now_s: float) -> None:
        engine, target = self.engine, self.target_number(name)
        who, pan, tilt = count(args, "pointing", 3)
        fixture = self.fixture(text(who, "the fixture"))
        angles = self.angles(fixture, pan, tilt)
        if self.crew.follows[fixture] != target:
            raise Refused("follows-another", f"{who} does not follow {name}; hand it over with /fixture/{who}/follow")
        if not engine.rig.has_pose[fixture]:
            raise Refused("unsolved", f"{who} has no pose yet, so where it points is not known; solve it first")
        meets = engine.where_beam_meets(fixture, *angles, float(self.place.height.at(now_s)[target]))
        if meets is None:
            raise Refused("meets-nothing", f"the beam of {who} at pan {pan}, tilt {tilt} meets no floor")
        self.target(name).hear(sender, now_s)
        self.place.point(target, (fixture, *angles), meets, now_s)

    def _height(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target(name)
        height, over_s = timed(args, "height", *HEIGHTS_M, target.spec.heights)
        self._hear(target, sender, now_s)
        self.place.height.set(self.target_number(name), height, now_s, over_s)

    def _size(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target(name)
        size, over_s = timed(args, "size", *SIZES_M, target.spec.sizes)
        self._hear(target, sender, now_s)
        self.place.size.set(self.target_number(name), size, now_s, over_s)

    def _level(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target(name)
        level, over_s = timed(args, "level", 0.0, 1.0)
        self._hear(target, sender, now_s)
        self.place.level.set(self.target_number(name), level, now_s, over_s)

    def _alive(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.target(name).hear(sender, now_s)
        self.place.alive(self.target_number(name), now_s)

    def _take(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.place.take(self.target_number(name), sender, now_s)

    def _crew(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self.target_number(name)
        fixtures = {self.fixture(text(arg, "a fixture of the crew")) for arg in args}
        self.crew.gather(target, fixtures)

    def _area(self, name: str, args: Args, sender: str, now_s: float) -> None:
        areas = self.place.zones.more
        find(areas, name, "area that can be switched")
        areas[name].on = switch(args, "area")

    def _floor(self, name: str, args: Args, sender: str, now_s: float) -> None:
        floors = self.place.floors
        find(floors.names, name, "floor")
        floors.set_height(name, number(count(args, "floor", 1)[0], "floor height", *FLOORS_M))
