"""OSC addresses to what they do to the engine: one table, one short function each.

To add an address: write a method that checks all its arguments before it acts, and name it in the table in
`Commands.__init__`. The middle word of an address (fixture, target, truss, area, floor) is given to the method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from bridge.errors import Refused
from bridge.follow.engine import Engine

Args = Sequence[object]
FARTHEST_M = 1000.0
FASTEST_M_S = 50.0
FEW = 12


def number(value: object, what: str, low: float = -FARTHEST_M, high: float = FARTHEST_M) -> float:
    """A finite number (OSC i, f or d) in [low, high]; raises Refused."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Refused("arguments", f"{what} must be a number, found {value!r}")
    if not math.isfinite(value):
        raise Refused("not-finite", f"{what} must be a finite number, found {value}")
    if not low <= value <= high:
        raise Refused("range", f"{what} must lie in {low:g} .. {high:g}, found {value:g}")
    return float(value)


def switch(args: Args, what: str) -> bool:
    """A single 0 or 1, or OSC T or F."""
    (value,) = count(args, what, 1)
    state = float(value) if isinstance(value, bool) else number(value, what, 0.0, 1.0)
    if state not in (0.0, 1.0):
        raise Refused("range", f"{what} must be 0 or 1, found {state:g}")
    return bool(state)


def text(value: object, what: str) -> str:
    """A name."""
    if not isinstance(value, str):
        raise Refused("arguments", f"{what} must be a name, found {value!r}")
    return value


def count(args: Args, what: str, *allowed: int) -> Args:
    """The arguments, if there are as many as allowed."""
    if len(args) not in allowed:
        raise Refused("arguments", f"{what} takes {' or '.join(map(str, allowed))} argument(s), found {len(args)}")
    return args


def find(names: Iterable[str], name: str, kind: str) -> int:
    """Place of a name among the known ones; raises Refused with what is known."""
    known = list(names)
    if name in known:
        return known.index(name)
    same = [k for k in known[:FEW] if k.lower() == name.lower()]  # no slow search for the nearest: a frame may wait
    hint = f"did you mean {same[0]}?" if same else f"known: {', '.join(known[:FEW]) or 'none'}"
    raise Refused("unknown-name", f"there is no {kind} {name}; {hint}")


class Commands:
    """Obeys messages for one engine. Nothing is changed by a message that is refused."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._fixtures = {name: number for number, name in enumerate(engine.rig.names)}
        self._trusses = {fixture.truss for fixture in engine.rig.fixtures if fixture.truss}
        self._simple: dict[str, Callable[[Args, float], None]] = {
            "/level": self._master,
            "/dark": self._dark,
            "/still": self._still_all,
            "/walk": self._walk,
        }
        self._named: dict[tuple[str, str], Callable[[str, Args, str, float], None]] = {
            ("target", "position"): self._target_position,
            ("target", "velocity"): self._target_velocity,
            ("target", "pointing"): self._target_pointing,
            ("target", "height"): self._target_height,
            ("target", "size"): self._target_size,
            ("target", "alive"): self._target_alive,
            ("target", "take"): self._target_take,
            ("fixture", "level"): self._fixture_level,
            ("fixture", "follow"): self._fixture_follow,
            ("fixture", "hold"): self._fixture_hold,
            ("fixture", "out"): self._fixture_out,
            ("fixture", "trim"): self._fixture_trim,
            ("fixture", "still"): self._fixture_still,
            ("truss", "trim"): self._truss_trim,
            ("truss", "still"): self._truss_still,
            ("area", ""): self._area,
            ("no-light", ""): self._no_light,
            ("floor", ""): self._floor,
            ("sight", "point"): self._sight_point,
            ("sight", "nudge"): self._sight_nudge,
            ("sight", "zoom"): self._sight_zoom,
            ("sight", "focus"): self._sight_focus,
            ("sight", "level"): self._sight_level,
            ("sight", "done"): self._sight_done,
        }

    def handle(self, address: str, args: Args, sender: str, now_s: float) -> None:
        """Obey one message from a sender (its host address), or raise Refused and change nothing."""
        if address in self._simple:
            self._simple[address](args, now_s)
            return
        parts = address.split("/")
        action = self._named.get((parts[1], parts[3] if len(parts) == 4 else "")) if len(parts) in (3, 4) else None
        if action is None:
            raise Refused("unknown-address", f"there is no address {address}")
        action(parts[2], args, sender, now_s)

    # Names

    def _fixture(self, name: str) -> int:
        return self._fixtures[name] if name in self._fixtures else find(self._fixtures, name, "fixture")

    def _target(self, name: str) -> int:
        return find(self._engine.target_names, name, "target")

    # Targets

    def _target_position(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self._engine.targets[self._target(name)]
        values = [number(v, axis) for v, axis in zip(count(args, "position", 2, 3), "xyz", strict=False)]
        target.hear(sender, now_s)
        target.put(values[0], values[1], values[2] if len(values) == 3 else None, now_s)

    def _target_velocity(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self._engine.targets[self._target(name)]
        vx, vy = (number(v, "velocity", -FASTEST_M_S, FASTEST_M_S) for v in count(args, "velocity", 2))
        target.hear(sender, now_s)
        target.drive(vx, vy, now_s)

    def _target_pointing(self, name: str, args: Args, sender: str, now_s: float) -> None:
        engine, target = self._engine, self._engine.targets[self._target(name)]
        who, pan, tilt = count(args, "pointing", 3)
        fixture = self._fixture(text(who, "the fixture"))
        pan_rad, tilt_rad = self._angles(fixture, pan, tilt)
        if engine.targets[engine.controls.follows[fixture]] is not target:
            raise Refused("follows-another", f"{who} does not follow {name}; hand it over with /fixture/{who}/follow")
        if not engine.rig.has_pose[fixture]:
            raise Refused("unsolved", f"{who} has no pose yet, so where it points is not known; solve it first")
        meets = engine.where_beam_meets(fixture, pan_rad, tilt_rad, target.height)
        if meets is None:
            raise Refused("meets-nothing", f"the beam of {who} at pan {pan}, tilt {tilt} meets no floor")
        target.hear(sender, now_s)
        target.point(fixture, pan_rad, tilt_rad, meets, now_s)

    def _target_height(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self._engine.targets[self._target(name)]
        height = number(count(args, "height", 1)[0], "height", -10.0, 10.0)
        target.hear(sender, now_s)
        target.height = height

    def _target_size(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self._engine.targets[self._target(name)]
        size = number(count(args, "size", 1)[0], "size", 0.05, 50.0)
        target.hear(sender, now_s)
        target.size = size

    def _target_alive(self, name: str, args: Args, sender: str, now_s: float) -> None:
        target = self._engine.targets[self._target(name)]
        target.hear(sender, now_s)

    def _target_take(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.targets[self._target(name)].take(sender, now_s)

    # Fixtures, trusses, levels

    def _master(self, args: Args, now_s: float) -> None:
        self._engine.controls.master = number(count(args, "level", 1)[0], "level", 0.0, 1.0)

    def _fixture_level(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, level = self._fixture(name), number(count(args, "level", 1)[0], "level", 0.0, 1.0)
        self._engine.controls.level[fixture] = level

    def _fixture_follow(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self._fixture(name)
        target = self._target(text(count(args, "follow", 1)[0], "the target"))
        self._engine.hand_over(fixture, target)

    def _fixture_hold(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.hold(self._fixture(name), switch(args, "hold"))

    def _fixture_out(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.controls.out[self._fixture(name)] = switch(args, "out")

    def _fixture_still(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.controls.still_heads[self._fixture(name)] = switch(args, "still")
        self._engine.controls.refresh()

    def _fixture_trim(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.controls.trim[self._fixture(name)] = self._trim(args)
        self._engine.controls.refresh()

    def _truss(self, name: str) -> str:
        find(sorted(self._trusses), name, "truss")
        return name

    def _truss_trim(self, name: str, args: Args, sender: str, now_s: float) -> None:
        dx, dy = self._trim(args)
        self._engine.controls.truss_trim[self._truss(name)] = (dx, dy)
        self._engine.controls.refresh()

    def _truss_still(self, name: str, args: Args, sender: str, now_s: float) -> None:
        truss, on = self._truss(name), switch(args, "still")
        trusses = self._engine.controls.still_trusses
        (trusses.add if on else trusses.discard)(truss)
        self._engine.controls.refresh()

    @staticmethod
    def _trim(args: Args) -> tuple[float, float]:
        dx, dy = (number(v, "trim", -10.0, 10.0) for v in count(args, "trim", 2))
        return dx, dy

    # Everything at once

    def _dark(self, args: Args, now_s: float) -> None:
        self._engine.controls.dark = switch(args, "dark")

    def _still_all(self, args: Args, now_s: float) -> None:
        self._engine.controls.still_all = switch(args, "still")
        self._engine.controls.refresh()

    def _walk(self, args: Args, now_s: float) -> None:
        (mark,) = count(args, "walk", 1)  # marks are often called 1, 2, 3, and some senders make numbers of them
        name = str(mark) if isinstance(mark, int) and not isinstance(mark, bool) else text(mark, "the mark")
        find(self._engine.marks, name, "mark with a known place")
        self._engine.session.walk(np.array(self._engine.marks[name]), now_s)

    # The place

    def _area(self, name: str, args: Args, sender: str, now_s: float) -> None:
        areas = self._engine.zones.more
        find(areas, name, "area that can be switched")
        areas[name].on = switch(args, "area")

    def _no_light(self, name: str, args: Args, sender: str, now_s: float) -> None:
        no_light = self._engine.no_light
        no_light.on[find(no_light.names, name, "no-light area")] = switch(args, "no-light")

    def _floor(self, name: str, args: Args, sender: str, now_s: float) -> None:
        floors = self._engine.floors
        find(floors.names, name, "floor")
        floors.set_height(name, number(count(args, "floor", 1)[0], "floor height", -20.0, 20.0))

    # The focus session

    def _angles(self, fixture: int, pan: object, tilt: object) -> tuple[float, float]:
        """Degrees as given, inside the fixture's soft limits, in rad."""
        angles = []
        for value, axes, what in ((pan, self._engine.rig.pan, "pan"), (tilt, self._engine.rig.tilt, "tilt")):
            low, high = math.degrees(axes.low[fixture]), math.degrees(axes.high[fixture])
            slack = 1e-9
            angles.append(math.radians(number(value, what, low - slack, high + slack)))
        return angles[0], angles[1]

    def _sight(self, name: str) -> int:
        fixture = self._fixture(name)
        if self._engine.controls.still[fixture]:
            raise Refused("still", f"{name} is still (people aloft) and will not move; clear it with /still 0 first")
        return fixture

    def _sight_point(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self._sight(name)
        pan_rad, tilt_rad = self._angles(fixture, *count(args, "point", 2))
        self._engine.take_in_hand(fixture)
        self._engine.session.point(fixture, pan_rad, tilt_rad)

    def _sight_nudge(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self._sight(name)
        step = [number(v, "step", -360.0, 360.0) for v in count(args, "nudge", 2)]
        pan, tilt = np.degrees(self._engine.hand_angles(fixture)) + step
        pan_rad, tilt_rad = self._angles(fixture, float(pan), float(tilt))
        self._engine.take_in_hand(fixture)
        self._engine.session.point(fixture, pan_rad, tilt_rad)

    def _sight_zoom(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._set_raw(self._sight(name), "zoom", self._engine.session.zoom, args)

    def _sight_focus(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._set_raw(self._sight(name), "focus", self._engine.session.focus, args)

    def _set_raw(self, fixture: int, channel: str, values: np.ndarray, args: Args) -> None:
        share = number(count(args, channel, 1)[0], channel, 0.0, 1.0)
        profile = self._engine.rig.fixtures[fixture].profile
        if channel not in profile.channels:
            raise Refused("no-channel", f"{self._engine.rig.names[fixture]} has no {channel} channel")
        self._engine.take_in_hand(fixture)
        values[fixture] = round(share * profile.full_scale(channel))

    def _sight_level(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, level = self._sight(name), number(count(args, "level", 1)[0], "level", 0.0, 1.0)
        self._engine.take_in_hand(fixture)
        self._engine.session.set_level(fixture, level)

    def _sight_done(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._engine.session.done(self._fixture(name))
