"""The frame of a tracking system: its origin, axes, unit and level are never quite the stage's."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from bridge.geometry.frames import Array, rotation_from_quaternion, rotation_z
from bridge.geometry.stage import Point3

AXES = ("x", "y", "z", "-x", "-y", "-z")


@dataclass(frozen=True)
class Recorded:
    """A point of an input that stood on a mark: `at` in the input's own axes, m; `sigma` its noise while it stood."""

    mark: str
    point: str
    at: Point3
    sigma: float = 0.0


@dataclass(frozen=True)
class InputFrame:
    """stage = origin + scale * R * A * input, metres.

    A: row by row which axis of the input is the stage's x, y and z (`axes`, "-" for its opposite). R: `rotation`, a
    unit quaternion [x, y, z, w], or a `turn` about z in degrees. `sigma` is how far off a place may be by the frame
    itself (95 %, worst place of the area, m; 0: not known). `recorded` is what it was solved from.
    """

    axes: tuple[str, str, str] = ("x", "y", "z")
    turn: float = 0.0
    rotation: tuple[float, float, float, float] | None = None
    origin: Point3 = (0.0, 0.0, 0.0)
    scale: float = 1.0
    sigma: float = 0.0
    recorded: tuple[Recorded, ...] = field(default_factory=tuple)

    @cached_property
    def matrix(self) -> Array:
        """(3, 3): from the input's axes to stage directions, with the scale."""
        rows = np.zeros((3, 3))
        for row, axis in enumerate(self.axes):
            rows[row, "xyz".index(axis[-1])] = -1.0 if axis.startswith("-") else 1.0
        turn = rotation_z(np.radians(self.turn)) if self.rotation is None else rotation_from_quaternion(self.rotation)
        return np.asarray(self.scale * (turn @ rows))

    @cached_property
    def _rows(self) -> list[list[float]]:
        return list(self.matrix.tolist())

    def place(self, at: Point3) -> Point3:
        """A place of the input, on the stage."""
        x, y, z = self.velocity(at)
        return (x + self.origin[0], y + self.origin[1], z + self.origin[2])

    def velocity(self, of: Point3) -> Point3:
        """A velocity (or any difference of places) of the input, on the stage."""
        a, b, c = self._rows
        x, y, z = of
        return (
            a[0] * x + a[1] * y + a[2] * z,
            b[0] * x + b[1] * y + b[2] * z,
            c[0] * x + c[1] * y + c[2] * z,
        )
