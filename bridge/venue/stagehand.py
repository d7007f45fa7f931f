"""What the venue can do to a running bridge by itself: focus it with the robot, then send a performer on walks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from bridge.venue.actor import Actor
from bridge.venue.cards import Cards
from bridge.venue.robot import Robot
from bridge.venue.simulation import Venue
from bridge.venue.walks import Link, walk

Say = Callable[..., None]  # (address, *arguments)
WALK_S = 30.0  # then another of the same kind goes on from there
SAY_PROGRESS_S = 5.0
SAY_WAITING_S = 1.0
SOLVED_WITHIN_S = 60.0
TAKEN_WITHIN_S = 1.0  # from poses.yaml on disk to heads that aim by it


@dataclass(frozen=True)
class Plan:
    """What to do: a focus session or not, a kind of walk or None, for one target, by dice with a seed."""

    focus: bool = False
    kind: str | None = None
    target: str = "lead"
    link: Link = field(default_factory=Link)
    seed: int = 1
    hand_m: float = 0.03


class Stagehand:
    """`tick(now_s)` at the venue's steps. With neither focus nor walk it does nothing; it waits for the bridge's sACN,
    since what is said to a bridge that does not run yet, or is not armed, is lost."""

    def __init__(
        self,
        venue: Venue,
        plan: Plan,
        say: Say,
        note: Callable[[str], None],
        solves: Callable[[], int] | None = None,
    ) -> None:
        """`solves()` is another number after every solve (the time of poses.yaml); None: no walk waits for a solve."""
        self._venue, self._plan, self._say, self._note, self._solves = venue, plan, say, note, solves
        self._robot: Robot | None = None
        if plan.focus:
            cards = Cards(venue)
            self._robot = Robot(
                venue.show.fixtures, venue.marks, say, venue.landing, plan.seed, plan.hand_m, cards=cards
            )
        self._actor = Actor(venue, say, plan.target)
        self._walks = 0
        self._until_s = 0.0
        self._said_s: float | None = None
        self._ticks = 0
        self._heard, self._waiting_s = False, 0.0
        self._solves_before, self._walk_from_s = 0, 0.0

    def tick(self, now_s: float) -> None:
        """Do what is due."""
        if not self._bridge_is_heard(now_s):
            return
        self._ticks += 1
        if self._robot is not None:
            if self._ticks % 2 == 0:
                self._focus(self._robot, now_s)
        elif self._plan.kind is not None and self._solve_is_taken(now_s):
            if now_s >= self._until_s:
                self._begin_walk(self._plan.kind, now_s)
            self._actor.tick(now_s)

    def _bridge_is_heard(self, now_s: float) -> bool:
        """Whether every universe of the rig has been heard since the start."""
        if self._heard or not (self._plan.focus or self._plan.kind):
            return True
        self._heard = bool(self._venue.heads.state().heard.all())
        if not self._heard:
            self._waiting_s = self._waiting_s or now_s
            if math.isfinite(self._waiting_s) and now_s - self._waiting_s > SAY_WAITING_S:
                self._waiting_s = math.inf  # said once
                self._note("waiting for the bridge's sACN: in another terminal, `tetherlight run SHOW --armed`")
        return self._heard

    def _focus(self, robot: Robot, now_s: float) -> None:
        robot.tick(now_s)
        found = robot.progress
        if self._said_s is None or now_s - self._said_s > SAY_PROGRESS_S or found.finished:
            self._said_s = now_s
            self._note(f"focus session: {found.done} of {found.total} sightings, {found.nudges} nudges")
        if found.finished:
            for fixture, mark in found.misses:
                self._note(f"focus session: {fixture} could not be put on {mark}")
            if found.unserved:
                names = ", ".join(found.unserved)
                self._note(f"focus session: no mark serves {names}: put up raised marks (see `check`)")
            if self._solves is not None:
                self._solves_before, self._walk_from_s = self._solves(), now_s + SOLVED_WITHIN_S
            self._say("/sight/solve")
            self._robot = None

    def _solve_is_taken(self, now_s: float) -> bool:
        """Whether a walk may begin: until the solve is there, heads light by the poses before."""
        if now_s >= self._walk_from_s:
            return True
        if self._solves is not None and self._ticks % 10 == 0 and self._solves() != self._solves_before:
            self._walk_from_s = min(self._walk_from_s, now_s + TAKEN_WITHIN_S)
            self._solves = None
        return False

    def _begin_walk(self, kind: str, now_s: float) -> None:
        seed = self._plan.seed + self._walks
        here = self._venue.performers.get(self._plan.target)
        start = here.feet[:2] if here is not None else None
        path = walk(kind, self._venue.show.stage.polygon.area.corners, WALK_S, seed, start=start)
        self._note(f"walk: {self._plan.target} {kind}, seed {seed}, {self._plan.link.rate_hz:g} messages/s")
        self._actor.begin(path, now_s, self._plan.link, seed)
        self._walks += 1
        self._until_s = now_s + WALK_S
