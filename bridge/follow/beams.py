"""Where the beams of the frame are, reckoned only if somebody asks: mostly it is known that all are on their points."""

from __future__ import annotations

from bridge.follow.motion import Motors
from bridge.geometry.frames import Array
from bridge.geometry.mechanics import miss_distance
from bridge.rig.rig import Rig


class Beams:
    """The beams of N heads as the motors stand. `on_points`: each is known to go through its point of the frame."""

    def __init__(self, rig: Rig, motors: Motors) -> None:
        self._rig, self._motors = rig, motors
        self.moved()

    def moved(self, on_points: bool = False) -> None:
        """The motors stand elsewhere now."""
        self.on_points = on_points
        self._now: tuple[Array, Array] | None = None

    def now(self) -> tuple[Array, Array]:
        """Start (N, 3) in metres and unit direction (N, 3), stage frame."""
        if self._now is None:
            self._now = self._rig.heads.beam(*self._motors.angle)
        return self._now

    def miss(self, points: Array) -> Array:
        """How far (N,), m, the beams pass from points (N, 3)."""
        return miss_distance(*self.now(), points)

    def surely_within(self, moved: Array, size: Array) -> bool:
        """Whether it is plain that all points, `moved` (N, 3) since the beams were set, still lie in spots of `size`.

        A beam that goes through a point misses another by no more than the way between the two.
        """
        return self.on_points and bool((4 * (moved * moved).sum(axis=1) <= size * size).all())
