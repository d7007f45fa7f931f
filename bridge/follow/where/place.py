"""The room of targets: moves them on, puts them to the area test, and says where they are."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import Data, Roster, Seats, mapping_in, number_in, numbers_in
from bridge.follow.ramps import Ramps
from bridge.follow.where.scene import Scene
from bridge.follow.where.target import TargetState
from bridge.follow.where.zones import Zones
from bridge.geometry.areas import Floors
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Stage
from bridge.wire.settings import LostInput

LEAP_M = 1.0  # in one frame: no performer runs that fast
SIZES_M = (0.05, 50.0)
HEIGHTS_M = (-10.0, 10.0)
FLOORS_M = (-20.0, 20.0)
FLOOR_Z = -1e9  # stands for "the floor decides" among plain numbers


class TargetStatus(NamedTuple):
    """A target: the point to be lit (m), whether the area test lets it be lit, seconds since its sender was heard."""

    name: str
    x: float
    y: float
    z: float
    inside: bool
    age_s: float


class Whereabouts:
    """The stage with its targets, zones and floors. `names` are the targets', in order."""

    def __init__(self, stage: Stage, rule: LostInput, heads: tuple[str, ...]) -> None:
        self.zones, self.floors = Zones(stage), Floors(stage.floors)
        self.middle = self.zones.polygon.polygon.inner_point()
        self.targets = [TargetState(target, rule, self.middle) for target in stage.targets]
        self.names = tuple(target.name for target in stage.targets)
        self.nobody = len(self.targets)
        self._heads = heads
        specs = stage.targets
        self.size = Ramps(np.array([*(t.size for t in specs), specs[0].size]), "targets", *SIZES_M)
        self.height = Ramps(np.array([*(t.height for t in specs), specs[0].height]), "targets", *HEIGHTS_M)
        self.level = Ramps(np.ones(len(specs) + 1), "targets", 0.0, 1.0)
        self._inside = [False] * len(self.targets)
        self._near = [False] * len(self.targets)
        self._points: list[Point3] = [(0.0, 0.0, 0.0)] * len(self.targets)
        self._spots = self.size.goal.tolist()
        self._flags: tuple[tuple[bool, ...], ...] = ()
        self._flag_arrays: tuple[np.ndarray, ...] = ()

    def scene(self, now_s: float) -> Scene:
        """The targets now. Moves them on, and remembers who is inside."""
        for target in self.targets:
            target.advance(now_s)
        before, self._points = self._points, self.points(now_s)
        for n, (target, point) in enumerate(zip(self.targets, self._points, strict=True)):
            seen = target.has_input
            verdict = self.zones.judge(point, self._inside[n], self._near[n]) if seen else (False, False)
            self._inside[n], self._near[n] = verdict
        moved = [math.dist(*step) for step in zip(before, self._points, strict=True)]
        size = self.size.at(now_s)
        waiting = tuple(not target.has_input for target in self.targets)
        lost = tuple(target.has_input and target.lost(now_s) for target in self.targets)
        inside, near, leapt = tuple(self._inside), tuple(self._near), tuple(way > LEAP_M for way in moved)
        arrays = self._arrays((*waiting, True), (*lost, False), (*inside, False), (*near, False), (*leapt, False))
        return Scene(
            np.array([*self._points, self._standby_point(now_s)]),
            size,
            self.level.at(now_s),
            arrays[0],
            arrays[1],
            arrays[2],
            arrays[3],
            arrays[4],
            tuple((n, target.guide) for n, target in enumerate(self.targets) if target.guide is not None),
            not (True in lost or True in waiting or False in inside),
            self._within(moved, size.tolist()),
        )

    def _within(self, moved: list[float], spots: list[float]) -> bool:
        """See Scene.within."""
        before, self._spots = self._spots, spots
        rows = zip(moved, spots, before, strict=False)
        return all(5 * way <= 2 * spot and 2 * spot >= earlier for way, spot, earlier in rows)

    def _arrays(self, *flags: tuple[bool, ...]) -> tuple[np.ndarray, ...]:
        """Flags as arrays; they are the same from frame to frame, mostly, and then so are these."""
        if flags != self._flags:
            self._flags, self._flag_arrays = flags, tuple(np.array(row, dtype=bool) for row in flags)
        return self._flag_arrays

    def points(self, now_s: float) -> list[Point3]:
        """The point of each target that is to be lit, m."""
        heights = self.height.at(now_s).tolist()
        return [self._lit(*t.place, t.z_m, height) for t, height in zip(self.targets, heights, strict=False)]

    def _standby_point(self, now_s: float) -> Point3:
        return self._lit(*self.middle, None, float(self.height.at(now_s)[self.nobody]))

    def _lit(self, x: float, y: float, z: float | None, height: float) -> Point3:
        return (x, y, z if z is not None else self.floors.height_of(x, y) + height)

    def sizes_and_heights(self, targets: np.ndarray) -> tuple[Array, Array]:
        """Where they are bound: spot diameter and height above the floor (N,) m of these targets (N,)."""
        return self.size.goal[targets], self.height.goal[targets]

    def status(self, now_s: float) -> list[TargetStatus]:
        """What clients are told; the age of a target that was never heard is infinite."""
        rows = zip(self.targets, self.points(now_s), self._inside, strict=True)
        return [TargetStatus(t.spec.name, *point, inside, now_s - t.heard_s) for t, point, inside in rows]

    def height_faults(self) -> dict[str, str]:
        """Targets that are outside only by their height, and that in words."""
        rows = zip(self.targets, self._points, self._inside, strict=True)
        faults = {
            t.spec.name: self.zones.height_fault(point) for t, point, inside in rows if t.has_input and not inside
        }
        return {name: text for name, text in faults.items() if text}

    def freshest(self) -> Array:
        """Where targets stand, (3T,) m: the place in plan and the point's height, FLOOR_Z where the floor decides."""
        return np.array([value for t in self.targets for value in (*t.place, FLOOR_Z if t.z_m is None else t.z_m)])

    def take_up_freshest(self, numbers: Array) -> None:
        """Targets that had an input are where `freshest` said."""
        for target, (x, y, z) in zip(self.targets, numbers.reshape(-1, 3).tolist(), strict=True):
            if target.has_input:
                target.place, target.z_m = (x, y), None if z == FLOOR_Z else z

    # What is kept

    def state(self, roster: Roster) -> Data:
        """As of keeping.Part, targets by name."""
        return {
            "targets": {t.spec.name: t.state(roster.heads) for t in self.targets},
            "inside": dict(zip(self.names, self._inside, strict=True)),
            "near": dict(zip(self.names, self._near, strict=True)),
            "points": {name: list(point) for name, point in zip(self.names, self._points, strict=True)},
            "size": self.size.state(),
            "height": self.height.state(),
            "level": self.level.state(),
            "areas": {name: prism.on for name, prism in self.zones.more.items()},
            "floors": dict(zip(self.floors.names, self.floors.heights, strict=True)),
        }

    def restore(self, data: Any, seats: Seats) -> None:
        """Take up what `state` gave."""
        data = mapping_in(data)
        for name, ramps in (("size", self.size), ("height", self.height), ("level", self.level)):
            ramps.restore(data.get(name), seats)
        for number, target in enumerate(self.targets):
            target.restore(mapping_in(data.get("targets")).get(target.spec.name), self._heads)
            for verdicts, name in ((self._inside, "inside"), (self._near, "near")):
                verdicts[number] = mapping_in(data.get(name)).get(target.spec.name) is True
        for number, name in enumerate(self.names):
            if point := numbers_in(mapping_in(data.get("points")).get(name), 3):
                self._points[number] = (point[0], point[1], point[2])
        for name, on in mapping_in(data.get("areas")).items():
            if name in self.zones.more and isinstance(on, bool):
                self.zones.more[name].on = on
        for name, height in mapping_in(data.get("floors")).items():
            found = number_in(height, *FLOORS_M)
            if name in self.floors.names and found is not None:
                self.floors.set_height(name, found)
