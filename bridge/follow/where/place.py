"""The room of targets: moves them on, puts them to the area test, and says where they are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import FARTHEST_M, Data, Roster, Seats, mapping_in, number_in, numbers_in
from bridge.follow.ramps import Ramps
from bridge.follow.where.edges import Edges
from bridge.follow.where.scene import Legs, Scene
from bridge.follow.where.steering import HANDS, Steering
from bridge.follow.where.target import Guide, TargetState
from bridge.follow.where.zones import Zones
from bridge.geometry.areas import Floors
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Stage
from bridge.wire.settings import LostInput

LEAP_M = 1.0  # in one frame: no performer runs that fast
LED_M = 0.01  # less than this ahead is nothing to speak of
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
        self.steering, self._edges = Steering(self.targets), Edges(stage)
        self.frame_errors: Mapping[str, float] = {}
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
        self._led = self._led_before = np.empty((0, 3))
        self._legs = np.empty(0, dtype=np.intp)
        self._flags: tuple[tuple[bool, ...], ...] = ()
        self._flag_arrays: tuple[np.ndarray, ...] = ()

    # What is seen of them (see commands/targets.py and door/tracking.py)

    def observe(
        self, n: int, x: float, y: float, z: float | None, now_s: float, came_s: float, sure: bool = False
    ) -> None:
        """A hand says: the performer stands at x, y (z None), or this very point is to be lit. It came at `came_s`.

        `sure`: however far off, it is no stray.
        """
        target, steering = self.targets[n], self.steering
        goes_on = target.led and steering.way[n] == HANDS and (z is None) == (target.z_m is None)
        place = (x, y, z or 0.0)
        self.steering.way[n] = HANDS
        target.put(x, y, z, now_s)
        target.led = True
        if goes_on:
            for _ in range(1 + sure):  # the second confirms the first
                steering.tracks.see(steering.row(n), place, min(came_s, now_s))
        else:
            steering.tracks.put(steering.row(n), place, now_s)

    def drive(self, n: int, vx: float, vy: float, now_s: float) -> None:
        """A hand moves it at m/s, from where it is."""
        target = self.targets[n]
        if target.led:
            target.place = self.steering.place(n, now_s)[:2]
        self.steering.way[n] = HANDS
        target.drive(vx, vy, now_s)

    def point(self, n: int, guide: Guide, meets: Point3, now_s: float) -> None:
        """A hand points with a head: exactly there."""
        self.steering.way[n] = HANDS
        self.targets[n].point(guide, meets, now_s)

    def alive(self, n: int, now_s: float) -> None:
        """Whoever steers is there, though nothing moves."""
        if self.targets[n].led and self.steering.way[n] == HANDS:
            self.steering.tracks.still(self.steering.row(n), now_s)

    def hear(self, n: int, sender: str, now_s: float) -> None:
        """A message from a hand; Refused if another one steers this target."""
        target = self.targets[n]
        before = target.sender
        target.hear(sender, now_s)
        if before != sender:
            self._stay(n, now_s)

    def take(self, n: int, sender: str, now_s: float) -> None:
        """A sender takes it: it stays where it is until that one tells it to move, and then goes there at once."""
        if self.targets[n].sender != sender:
            self._stay(n, now_s)
        self.steering.tracks.taken(n, now_s)
        self.targets[n].take(sender, now_s)

    def _stay(self, n: int, now_s: float) -> None:
        """What was seen of it by somebody else says nothing of where the next one sees it."""
        target = self.targets[n]
        if target.led:
            x, y, z = self.steering.place(n, now_s)
            target.put(x, y, None if target.z_m is None else z, now_s)
            self.steering.way[n] = HANDS

    def seen(self, row: int, place: Point3, seen_s: float, now_s: float, velocity: Point3 | None) -> None:
        """A tracked point that is `row` of the steering was seen here, on the stage."""
        self.steering.see(row, place, min(seen_s, now_s), now_s, velocity)

    def scene(self, now_s: float, legs: Legs, no_light_on: np.ndarray) -> Scene:
        """The targets now, and ahead of them. Moves them on, and remembers who is inside."""
        for target in self.targets:
            target.advance(now_s)
        steering = self.steering
        steering.tracks.take_in(now_s)
        steering.choose(now_s)
        steering.settle(now_s)
        before, self._points = self._points, self.points(now_s)
        for n, (target, point) in enumerate(zip(self.targets, self._points, strict=True)):
            seen = target.has_input
            verdict = self.zones.judge(point, self._inside[n], self._near[n]) if seen else (False, False)
            self._inside[n], self._near[n] = verdict
        moved = [math.dist(*step) for step in zip(before, self._points, strict=True)]
        size = self.size.at(now_s)
        place = np.array([*self._points, self._standby_point(now_s)])
        waiting = tuple(not target.has_input for target in self.targets)
        lost = tuple(target.has_input and target.lost(now_s) for target in self.targets)
        inside, near, leapt = tuple(self._inside), tuple(self._near), tuple(way > LEAP_M for way in moved)
        arrays = self._arrays((*waiting, True), (*lost, False), (*inside, False), (*near, False), (*leapt, False))
        return Scene(
            place,
            self._lead(place, legs, no_light_on),
            size,
            self.level.at(now_s),
            arrays[0],
            arrays[1],
            arrays[2],
            arrays[3],
            arrays[4],
            tuple((n, target.guide) for n, target in enumerate(self.targets) if target.guide is not None),
            not (True in lost or True in waiting or False in inside),
            self._within(moved, size.tolist()) and self._led_within(size, legs),
            self._errors(),
        )

    def _lead(self, place: Array, legs: Legs, no_light_on: np.ndarray) -> Array:
        """The points (K, 3) at which heads aim: where their targets will be when their light arrives."""
        points = place[legs.target]
        led = np.array([*(target.led for target in self.targets), False])[legs.target]
        if led.any():
            rows = np.array([*(self.steering.row(n) for n in range(len(self.targets))), 0])[legs.target]
            way = np.where(led[:, None], self.steering.tracks.ahead(rows, legs.later_s), 0.0)
            points = points + self._edges.shorten(points, way, no_light_on)
        self._led_before, self._led, self._legs = self._led, points, legs.target
        return points

    def ahead_of(self, n: int) -> Point3 | None:
        """The farthest point, m, at which a head has aimed ahead of a target in the last frame; None: it is not led."""
        points = self._led[self._legs == n] if len(self._legs) == len(self._led) else self._led[:0]
        ways = np.sqrt(((points - self._points[n]) ** 2).sum(axis=1))
        if ways.max(initial=0.0) <= LED_M:
            return None
        x, y, z = points[int(ways.argmax())].tolist()
        return x, y, z

    def stood(self, n: int) -> Point3:
        """Where a target was in the last frame."""
        return self._points[n]

    def _led_within(self, size: Array, legs: Legs) -> bool:
        """As of Scene.within, of the points ahead."""
        if self._led_before.shape != self._led.shape:
            return False
        way = np.sqrt(((self._led - self._led_before) ** 2).sum(axis=1))
        return bool((5.0 * way <= 2.0 * size[legs.target]).all())

    def _errors(self) -> Array | None:
        """How far off (T+1,) m targets may be by the frame of the input that steers them; None: by none."""
        if not self.frame_errors:
            return None
        errors = np.zeros(len(self.targets) + 1)
        for n, way, source in self.steering.sources:
            if self.steering.way[n] == way:
                errors[n] = self.frame_errors.get(source.input, 0.0)
        return errors if errors.any() else None

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
        rows = zip(range(len(self.targets)), self.targets, heights, strict=False)
        return [self._point(n, target, height, now_s) for n, target, height in rows]

    def _point(self, n: int, target: TargetState, height: float, now_s: float) -> Point3:
        if not target.led:
            return self._lit(*target.place, target.z_m, height)
        x, y, z = self.steering.place(n, now_s)
        point = self._lit(x, y, None if target.z_m is None else z, height)
        seen = self.steering.tracks.unseen_from(self.steering.row(n), now_s)
        if seen is None or self.zones.outside_by(point) <= 0.0:
            return point
        x, y, z = self._edges.inside(seen, (x, y, z))
        return self._lit(x, y, None if target.z_m is None else z, height)

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
        return np.array([value for n, target in enumerate(self.targets) for value in self._stands(n, target)])

    def _stands(self, n: int, target: TargetState) -> Point3:
        if not target.led:
            return *target.place, FLOOR_Z if target.z_m is None else target.z_m
        x, y, z = self.steering.tracks.place[self.steering.row(n)].tolist()
        return x, y, FLOOR_Z if target.z_m is None else z

    def take_up_freshest(self, numbers: Array) -> None:
        """Targets that had an input are where `freshest` said."""
        for n, (target, (x, y, z)) in enumerate(zip(self.targets, numbers.reshape(-1, 3).tolist(), strict=True)):
            if target.has_input:
                target.place, target.z_m = (x, y), None if z == FLOOR_Z else z
                if target.led:
                    self.steering.tracks.stand(self.steering.row(n), (x, y, 0.0 if z == FLOOR_Z else z))

    # What is kept

    def state(self, roster: Roster) -> Data:
        """As of keeping.Part, targets by name."""
        return {
            "targets": {t.spec.name: t.state(roster.heads) for t in self.targets},
            "inside": dict(zip(self.names, self._inside, strict=True)),
            "near": dict(zip(self.names, self._near, strict=True)),
            "points": {name: list(point) for name, point in zip(self.names, self._points, strict=True)},
            "steering": self.steering.state(),
            "led": self._led.tolist(),
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
        self.steering.restore(data.get("steering"), seats)
        for number in self.steering.gone:
            target = self.targets[number]
            if target.led:
                target.stay(self.steering.shown(number), self._points[number][2])
        led = data.get("led")
        points = [numbers_in(row, 3, -FARTHEST_M, FARTHEST_M) for row in led] if isinstance(led, list) else []
        if points and None not in points:
            self._led = np.array(points)
        for name, on in mapping_in(data.get("areas")).items():
            if name in self.zones.more and isinstance(on, bool):
                self.zones.more[name].on = on
        for name, height in mapping_in(data.get("floors")).items():
            found = number_in(height, *FLOORS_M)
            if name in self.floors.names and found is not None:
                self.floors.set_height(name, found)
