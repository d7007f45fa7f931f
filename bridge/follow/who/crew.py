"""The room of who does what: what operators have set head by head, and what that gives every head to do in a frame."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import (
    FARTHEST_M,
    NEVER_S,
    Data,
    Field,
    Part,
    Roster,
    Seats,
    mapping_in,
    names_in,
    time_field,
)
from bridge.follow.where.scene import Legs, Scene
from bridge.follow.where.target import Guide
from bridge.follow.who.actions import Actions
from bridge.follow.who.desk import DeskHands
from bridge.follow.who.hand import InHand
from bridge.follow.who.roles import Cast, Role, cast
from bridge.follow.who.still import Still
from bridge.follow.who.trims import Trims
from bridge.geometry.frames import Array
from bridge.rig.rig import Rig
from bridge.rig.shares import Shares

FIND_S = 10.0


class Task(NamedTuple):
    """What each head is to light: points (N, 3) m, spot diameters (N,) m, and the target (N,) it follows.

    `guides` are heads at exact angles; `setpoints` (2, N) rad of heads in hands, a person's or the desk's;
    `leaving` (N,) heads were handed to another target since the last frame. `goes_on`: all is as in the last frame but
    for targets, and none of these has moved out of its spot.
    """

    points: Array
    size: Array
    follows: np.ndarray
    guides: tuple[Guide, ...]
    setpoints: Array | None
    leaving: np.ndarray | None
    goes_on: bool


class Crew(Part):
    """Switches of N heads, and the parts that keep more. Change it by its methods: roles are derived on a change."""

    kept = (
        Field("_out", "heads", bool),
        Field("_held", "heads", bool),
        Field("_held_point", "heads", low=-FARTHEST_M, high=FARTHEST_M),
        Field("_points", "heads", low=-FARTHEST_M, high=FARTHEST_M),
        Field("_leaving", "heads", bool),
        time_field("_found_until_s", "heads"),
        time_field("_found_since_s", "heads"),
        Field("_walked", kind=bool),
        Field("_placed", kind=bool),
        Field("dark", kind=bool),
    )

    def __init__(
        self,
        rig: Rig,
        follows: np.ndarray,
        targets: tuple[str, ...],
        short_ways: bool = True,
        desk: Shares | None = None,
    ) -> None:
        """`follows` (N,) is the target of each head at first; `targets` are their names, the last being nobody's."""
        self._short_ways = short_ways
        count = len(rig)
        self._names, self._targets = rig.names, targets
        self.still, self.trims = Still(rig), Trims(rig)
        self.hand, self.actions = InHand(rig), Actions(rig)
        self.desk = None if desk is None else DeskHands(rig, desk)
        self.dark = False
        self.follows = follows.copy()
        self._own = follows.copy()
        self._unsolved = ~rig.has_pose
        self._out, self._held, self._leaving = (np.zeros(count, dtype=bool) for _ in range(3))
        self._found_since_s, self._found_until_s = np.full(count, NEVER_S), np.full(count, NEVER_S)
        self._held_point, self._points = np.zeros((count, 3)), np.zeros((count, 3))
        self._walked = self._placed = self._any_leaving = False
        self._shift = self.trims.shift  # of the last frame
        self._lag, self._legs = rig.lag, legs_of(self.follows, rig.lag)
        self._legs_of = self.follows.copy()
        self._cast: Cast | None = None
        self._cast_until_s, self._cast_idle = NEVER_S, True

    # What operators set

    def solved(self, has_pose: np.ndarray) -> None:
        """Which heads (N,) have a pose."""
        self._unsolved = ~has_pose
        self.changed()

    def changed(self) -> None:
        """Something that a role depends on is set otherwise."""
        self._cast = None

    def is_still(self, fixture: int) -> bool:
        """Whether a head must neither move nor light."""
        return bool(self.still.heads[fixture])

    def is_out(self, fixture: int) -> bool:
        """Whether a head is taken out."""
        return bool(self._out[fixture])

    @property
    def switches(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Which heads (N,) are out, held, still, and aimed by hand."""
        return self._out, self._held, self.still.heads, self.hand.active

    def set_out(self, fixture: int, on: bool) -> None:
        """Take a head out, or give it back."""
        self._out[fixture] = on
        self.changed()

    def set_held(self, fixture: int, on: bool) -> None:
        """Stop one head where it is, with what it lights now, or let it follow again."""
        if on and self._placed and not self._held[fixture]:
            self._held_point[fixture] = self._points[fixture]
        self._held[fixture] = on
        self.changed()

    def hand_over(self, fixture: int, target: int) -> None:
        """Let a head follow another target (its number; the last is nobody); it goes over in the dark."""
        if self.follows[fixture] != target:
            self.follows[fixture] = target
            self._leaving[fixture] = self._any_leaving = True
            self.changed()

    def gather(self, target: int, fixtures: set[int]) -> None:
        """Exactly these heads follow this target. The others go back to their own, or, if this was it, to nobody."""
        nobody = len(self._targets) - 1
        for number in np.flatnonzero(self.follows == target).tolist():
            if number not in fixtures:
                own = int(self._own[number])
                self.hand_over(number, own if own != target else nobody)
        for number in fixtures:
            self.hand_over(number, target)

    def set_still(self, kind: str, name: str, on: bool, sender: str, override: bool) -> None:
        """People aloft: see Still.set."""
        self.still.set(kind, name, on, sender, override)
        self.changed()

    def take_in_hand(self, fixture: int, standing: tuple[float, float]) -> None:
        """Begin to aim a head by hand, from the angles (rad) at which it stands."""
        self.hand.take(fixture, *standing)
        self.changed()

    def let_go(self, fixture: int) -> None:
        """A head that was aimed by hand goes back to following."""
        self.hand.done(fixture)
        self.changed()

    def find(self, fixture: int, on: bool, now_s: float) -> None:
        """Let a head show which it is, for a while, or stop that."""
        if on and now_s >= self._found_until_s[fixture]:
            self._found_since_s[fixture] = now_s
        self._found_until_s[fixture] = now_s + FIND_S if on else NEVER_S
        self.changed()

    def take_own_targets(self, before: Crew) -> None:
        """After another crew, whose show was read again: heads that followed their own target there do so here."""
        rows = {name: row for row, name in enumerate(before._names)}
        for number, name in enumerate(self._names):
            row = rows.get(name)
            if row is None or before.follows[row] == before._own[row]:
                self.hand_over(number, int(self._own[number]))

    def give_to_desk(self, fixtures: np.ndarray, on: bool) -> None:
        """Give heads (N,) into the desk's hands, or have them back; only beside a desk."""
        if self.desk is not None:
            self.desk.give(fixtures, on)
            self.changed()

    def not_in_desk_hands(self, strangers: np.ndarray) -> None:
        """These heads (N,) are other ones than those that the desk had."""
        if self.desk is not None:
            self.desk.forget(strangers)
            self.changed()

    def in_desk_hands(self, fixture: int) -> bool:
        """Whether the desk has a head, or it is on its way there or back."""
        return self.desk is not None and self.desk.holds(fixture)

    # What that comes to

    def change_hands(self, angle: Array, now_s: float) -> None:
        """Let heads change over between the desk and us; `angle` (2, N) rad is where they are commanded to be.

        What was asked of one by hand is over when the desk has it; one that comes back is on its way to its target.
        """
        if self.desk is None:
            return
        changed = self.desk.change_over(angle, self.still.heads, now_s)
        if changed is not None:
            taken, back = changed
            self.hand.active, self._held = self.hand.active & ~taken, self._held & ~taken
            self._found_until_s = np.where(taken, NEVER_S, self._found_until_s)
            self._leaving = self._leaving | back
            self._any_leaving = bool(self._leaving.any())
        if changed is not None or self.desk.idle != self._cast_idle:
            self.changed()

    def cast(self, now_s: float) -> Cast:
        """The roles now: derived anew after a change, or when something has run out."""
        walking = self.hand.walk_mark(now_s) is not None
        switched, self._walked = walking != self._walked, walking
        if self._cast is None or switched or self._cast.switched or now_s >= self._cast_until_s:
            self._cast = self._derive(walking, switched, now_s)
        return self._cast

    def _derive(self, walking: bool, switched: bool, now_s: float) -> Cast:
        found = now_s < self._found_until_s
        self._cast_until_s = float(self._found_until_s[found].min(initial=np.inf))
        holds = {
            Role.STILL: self.still.heads,
            Role.OUT: self._out,
            Role.FOUND: found,
            Role.BY_HAND: self.hand.active,
            Role.UNSOLVED: self._unsolved,
            Role.HELD: self._held,
        }
        short_ways = self._short_ways and not (self.follows == len(self._targets) - 1).any()
        if self.desk is None:
            return cast(holds, len(self._names), walking, switched, short_ways)
        holds[Role.DESK], self._cast_idle = self.desk.held, self.desk.idle
        return cast(holds, len(self._names), walking, switched, short_ways and self.desk.idle, self.desk.changing)

    def legs(self) -> Legs:
        """Who is led how far: for as long as each head's light takes.

        No further while motors do not keep up: they go no faster for it, and leave whoever turns (motors_study.py).
        """
        if not np.array_equal(self._legs_of, self.follows):
            self._legs, self._legs_of = legs_of(self.follows, self._lag), self.follows.copy()
        return self._legs

    def task(self, roles: Cast, scene: Scene, legs: Legs, angle: Array, now_s: float) -> Task:
        """What each head is to do; `angle` (2, N) rad is where it is commanded to be. Trims never touch the area test.

        A guide's angles hold for a head that follows the target which it steers.
        """
        self._points = self._lit_points(roles, scene, legs, now_s)
        self._placed = True
        follows = self.follows
        guides: tuple[Guide, ...] = ()
        if scene.guides and not roles.walking:
            guides = tuple(guide for target, guide in scene.guides if follows[guide[0]] == target)
        leaving, self._any_leaving = self._leaving if self._any_leaving else None, False
        if leaving is not None:
            self._leaving = np.zeros_like(leaving)
        setpoints = None if roles.usual else self.hand.setpoints(angle)
        if setpoints is not None and self.desk is not None:
            setpoints = np.where(roles.desk, self.desk.setpoints(angle), setpoints)
        goes_on = roles.usual and scene.within and not guides and leaving is None and self._shift is self.trims.shift
        self._shift = self.trims.shift
        return Task(self._points, scene.size[follows], follows, guides, setpoints, leaving, goes_on)

    def _lit_points(self, roles: Cast, scene: Scene, legs: Legs, now_s: float) -> Array:
        mark = self.hand.walk_mark(now_s)
        if mark is not None:
            return np.tile(np.asarray(mark, dtype=np.float64), (len(self._names), 1))
        points = scene.led[legs.of_head]
        points[:, :2] += self.trims.shift
        return points if roles.usual else np.where(roles.held[:, None], self._held_point, points)

    def found_for(self, now_s: float) -> Array:
        """Seconds (N,) since each head was asked to show which it is."""
        return now_s - self._found_since_s

    def targets_of(self) -> list[str]:
        """The target that each head follows, "" for nobody."""
        return [self._targets[target] for target in self.follows.tolist()]

    # What is kept

    def state(self) -> Data:
        """As of keeping.Part."""
        desk = {} if self.desk is None else {"desk": self.desk.state()}
        return (
            super().state()
            | desk
            | {
                "follows": self.targets_of(),
                "still": self.still.state(),
                "trims": self.trims.state(),
                "hand": self.hand.state(),
                "actions": self.actions.state(),
            }
        )

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part."""
        super().restore(data, seats)
        data = mapping_in(data)
        self.hand.restore(data.get("hand"), seats)
        if self.desk is not None:
            self.desk.restore(data.get("desk"), seats)
        self.still.restore(data.get("still"))
        self.trims.restore(data.get("trims"))
        self.actions.restore(data.get("actions"))
        follows = names_in(data.get("follows"))
        rows = seats.rows["heads"]
        if len(follows) == len(seats.old_names("heads")):
            for number in np.flatnonzero(rows >= 0).tolist():
                name = follows[rows[number]]
                if name in self._targets:
                    self.follows[number] = self._targets.index(name)
        self._any_leaving = bool(self._leaving.any())
        self.changed()

    def lasting(self) -> Data:
        """What must be on disk the moment it is switched: still, trims, dark, and who is out."""
        out = [self._names[number] for number in np.flatnonzero(self._out).tolist()]
        return {"still": self.still.state(), "trims": self.trims.state(), "dark": self.dark, "out": out}

    def take_up_lasting(self, data: Any) -> None:
        """Take up what `lasting` gave; what it does not hold stays as it is."""
        data = mapping_in(data)
        if "still" in data:
            self.still.restore(data["still"])
        if "trims" in data:
            self.trims.restore(data["trims"])
        if isinstance(data.get("dark"), bool):
            self.dark = data["dark"]
        if "out" in data:
            self._out = np.array([name in names_in(data["out"]) for name in self._names], dtype=bool)
        self.changed()

    @property
    def roster(self) -> Roster:
        """The names that the columns stand for."""
        return Roster(self._names, self._targets)


def legs_of(follows: np.ndarray, later_s: Array) -> Legs:
    """The legs of heads that follow these targets (N,) with these horizons (N,) s."""
    pairs, leg = np.unique(np.stack([follows.astype(np.float64), later_s]), axis=1, return_inverse=True)
    return Legs(pairs[0].astype(np.intp), pairs[1], leg.reshape(-1))
