"""One target: who steers it, where it is, and for how long nobody has."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from bridge.errors import Refused
from bridge.geometry.areas import Floors
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Target
from bridge.wire.settings import LostInput

VELOCITY_RENEWAL_S = 0.5


@dataclass
class TargetState:
    """Live state of a target. `z_m` is None while the floor decides; `guide` is a fixture held at exact angles."""

    spec: Target
    rule: LostInput
    place: tuple[float, float]
    height: float = field(init=False)
    size: float = field(init=False)
    z_m: float | None = None
    has_input: bool = False
    sender: str | None = None
    heard_s: float = -math.inf
    velocity: tuple[float, float] = (0.0, 0.0)
    velocity_until_s: float = -math.inf
    advanced_s: float | None = None
    guide: tuple[int, float, float] | None = None

    def __post_init__(self) -> None:
        self.height, self.size = self.spec.height, self.spec.size

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
        self.velocity_until_s = -math.inf

    def lost(self, now_s: float) -> bool:
        """Whether nothing has come from the sender for too long."""
        return now_s - self.heard_s > self.rule.after

    # What it is told

    def put(self, x: float, y: float, z: float | None, now_s: float) -> None:
        """An observation: the performer stands at x, y (z None), or this very point is to be lit."""
        self._observed(now_s)
        self.place, self.z_m, self.guide = (x, y), z, None
        self.velocity_until_s = -math.inf

    def drive(self, vx: float, vy: float, now_s: float) -> None:
        """Move at a velocity, m/s, until 0.5 s from now."""
        self.advance(now_s)
        self._observed(now_s)
        self.guide = None
        self.velocity, self.velocity_until_s = (vx, vy), now_s + VELOCITY_RENEWAL_S

    def point(self, fixture: int, pan_rad: float, tilt_rad: float, meets: Array, now_s: float) -> None:
        """A fixture is sent these angles; the target is where its beam meets."""
        self.put(float(meets[0]), float(meets[1]), float(meets[2]), now_s)
        self.guide = (fixture, pan_rad, tilt_rad)

    def _observed(self, now_s: float) -> None:
        self.has_input, self.advanced_s = True, now_s

    # Where it is

    def advance(self, now_s: float) -> None:
        """Carry a velocity on to now."""
        if self.advanced_s is not None and self.velocity_until_s > self.advanced_s:
            until = min(now_s, self.velocity_until_s, self.heard_s + self.rule.after)
            for_s = max(0.0, until - self.advanced_s)
            self.place = (self.place[0] + self.velocity[0] * for_s, self.place[1] + self.velocity[1] * for_s)
        self.advanced_s = now_s

    def lit_point(self, floors: Floors) -> Point3:
        """The point to be lit, metres, stage frame."""
        x, y = self.place
        return (x, y, self.z_m if self.z_m is not None else floors.height_of(x, y) + self.height)
