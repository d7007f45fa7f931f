"""One target: where it is, who steers it, and for how long nobody has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bridge.errors import Refused
from bridge.follow.keeping import FARTHEST_M, LATEST_S, NEVER_S, Data, mapping_in, number_in, numbers_in
from bridge.geometry.stage import Point3, Target
from bridge.wire.settings import LostInput

VELOCITY_RENEWAL_S = 0.5
FASTEST_M_S = 1e3
_TIMES = ("heard_s", "velocity_until_s", "advanced_s")

INPUT = "input "
"""Begins the name of a tracking input as who steers a target, beside hosts."""

Guide = tuple[int, float, float]


@dataclass
class TargetState:
    """Live state of a target. `z_m` is None while the floor decides; `guide` is a fixture held at exact angles.

    `led`: it is where observations of it say (steering.py), else exactly at `place`.
    """

    spec: Target
    rule: LostInput
    place: tuple[float, float]
    z_m: float | None = None
    has_input: bool = False
    sender: str | None = None
    heard_s: float = NEVER_S
    velocity: tuple[float, float] = (0.0, 0.0)
    velocity_until_s: float = NEVER_S
    advanced_s: float = NEVER_S
    guide: Guide | None = None
    led: bool = False

    # Who may steer

    def hear(self, sender: str, now_s: float) -> None:
        """Note a message from a sender; raises Refused if another one steers this target."""
        if self.sender is not None and sender != self.sender and not self.lost(now_s):
            raise Refused(
                "other-sender",
                f"target {self.spec.name} is steered by {self.sender}, not {sender}; "
                f"send /target/{self.spec.name}/take to take it over",
            )
        self.sender, self.heard_s = sender, now_s

    def take(self, sender: str, now_s: float) -> None:
        """Another sender takes the target over."""
        self.sender, self.heard_s = sender, now_s
        self.velocity_until_s = NEVER_S

    @property
    def by_input(self) -> bool:
        """Whether a tracking input steers it, and no hand."""
        return self.sender is not None and self.sender.startswith(INPUT)

    def lost(self, now_s: float) -> bool:
        """Whether nothing has come from the sender for too long."""
        return now_s - self.heard_s > self.rule.after

    # What it is told

    def put(self, x: float, y: float, z: float | None, now_s: float) -> None:
        """It is exactly here: the performer stands at x, y (z None), or this very point is to be lit."""
        self._observed(now_s)
        self.place, self.z_m, self.guide, self.led = (x, y), z, None, False
        self.velocity_until_s = NEVER_S

    def stay(self, place: tuple[float, float], z_m: float) -> None:
        """The tracked point that steered it is its own no more: it stays here, and anybody may steer it."""
        self.place, self.z_m, self.led = place, None if self.z_m is None else z_m, False
        self.sender = None if self.by_input else self.sender

    def drive(self, vx: float, vy: float, now_s: float) -> None:
        """Move at a velocity, m/s, until 0.5 s from now."""
        self.advance(now_s)
        self._observed(now_s)
        self.guide, self.led = None, False
        self.velocity, self.velocity_until_s = (vx, vy), now_s + VELOCITY_RENEWAL_S

    def point(self, guide: Guide, meets: Point3, now_s: float) -> None:
        """A fixture is sent these angles; the target is where its beam meets."""
        self.put(*meets, now_s)
        self.guide = guide

    def _observed(self, now_s: float) -> None:
        self.has_input, self.advanced_s = True, now_s

    # Where it is

    def advance(self, now_s: float) -> None:
        """Carry a velocity on to now."""
        if self.velocity_until_s > self.advanced_s:
            until = min(now_s, self.velocity_until_s, self.heard_s + self.rule.after)
            for_s = max(0.0, until - self.advanced_s)
            self.place = (self.place[0] + self.velocity[0] * for_s, self.place[1] + self.velocity[1] * for_s)
        self.advanced_s = now_s

    # What is kept

    def state(self, heads: tuple[str, ...]) -> Data:
        """Plain data; the guide by its fixture's name among `heads`."""
        guide = self.guide
        return {
            "place": list(self.place),
            "z": self.z_m,
            "has_input": self.has_input,
            "led": self.led,
            "sender": self.sender,
            "velocity": list(self.velocity),
            "guide": None if guide is None else [heads[guide[0]], *guide[1:]],
            **{name: getattr(self, name) for name in _TIMES},
        }

    def restore(self, data: Any, heads: tuple[str, ...]) -> None:
        """Take up what `state` gave; what does not fit is left out."""
        data = mapping_in(data)
        if place := numbers_in(data.get("place"), 2, -FARTHEST_M, FARTHEST_M):
            self.place = (place[0], place[1])
        self.z_m = number_in(data.get("z"), -FARTHEST_M, FARTHEST_M)
        self.has_input, self.led = data.get("has_input") is True, data.get("led") is True
        if velocity := numbers_in(data.get("velocity"), 2, -FASTEST_M_S, FASTEST_M_S):
            self.velocity = (velocity[0], velocity[1])
        for name in _TIMES:
            time_s = number_in(data.get(name), -LATEST_S, LATEST_S, NEVER_S)
            if time_s is not None:
                setattr(self, name, time_s)
        self.sender = data["sender"] if isinstance(data.get("sender"), str) else None
        guide = data.get("guide")
        if isinstance(guide, list) and len(guide) == 3 and guide[0] in heads and (angles := numbers_in(guide[1:], 2)):
            self.guide = (heads.index(guide[0]), angles[0], angles[1])
