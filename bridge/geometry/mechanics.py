"""Real heads: from angles to beam and back, for a whole rig at once, exact with every mechanical term.

    axis  = R · Rz((1 + pan_scale)·pan) · Ry(squareness) · Rx(tilt + tilt_zero)
    beam  = axis · Ry(collimation) · (0, 0, -1)
    start = position + axis · (lens_x, lens_y, 0)

The way back is closed form. Seen from the head (after `axis`), the point to be lit lies at a place `w` that follows
from its distance alone; turning `w` back onto the point leaves one equation for tilt (two answers: the faces) and
one for pan. A perfect head is the case in which every term is 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bridge.geometry.frames import Array

TERMS = ("tilt_zero", "squareness", "collimation", "lens_x", "lens_y", "pan_scale")


@dataclass(frozen=True)
class Heads:
    """N heads as arrays: position (N, 3) m, stage_from_fixture (N, 3, 3), `terms` (N, 6) rad and m, order TERMS."""

    position: Array
    rotation: Array
    terms: Array

    @classmethod
    def perfect(cls, position: Array, rotation: Array) -> Heads:
        """Heads without mechanical errors."""
        return cls(position, rotation, np.zeros((len(position), len(TERMS))))

    def one(self, number: int) -> Heads:
        """A single head of these, as arrays of length 1."""
        pick = slice(number, number + 1)
        return Heads(self.position[pick], self.rotation[pick], self.terms[pick])

    def some(self, rows: np.ndarray) -> Heads:
        """Some of these heads, by number."""
        return Heads(self.position[rows], self.rotation[rows], self.terms[rows])

    @cached_property
    def _in_head(self) -> Array:
        """The beam's direction and the lens's place in the head frame, (3, 2, N)."""
        _, _, collimation, lens_x, lens_y, _ = self.terms.T
        none = np.zeros_like(lens_x)
        return np.array([[-np.sin(collimation), lens_x], [none, lens_y], [-np.cos(collimation), none]])

    @cached_property
    def _square(self) -> tuple[Array, Array]:
        return np.cos(self.terms[:, 1]), np.sin(self.terms[:, 1])

    def beam(self, pan_rad: Array, tilt_rad: Array) -> tuple[Array, Array]:
        """Start (N, 3) in metres and unit direction (N, 3) of each beam, stage frame."""
        turned_tilt, turned_pan = tilt_rad + self.terms[:, 0], self._pan_gain * pan_rad
        x, y, z = self._in_head  # both vectors are turned together: about x, then y, then z
        cos, sin = np.cos(turned_tilt), np.sin(turned_tilt)
        y, z = cos * y - sin * z, sin * y + cos * z
        cos, sin = self._square
        x, z = cos * x + sin * z, cos * z - sin * x
        cos, sin = np.cos(turned_pan), np.sin(turned_pan)
        in_fixture = np.array([cos * x - sin * y, sin * x + cos * y, z]).transpose(2, 0, 1)
        in_stage = self.rotation @ in_fixture
        return self.position + in_stage[:, :, 1], in_stage[:, :, 0]

    def aim(self, points: Array) -> tuple[Array, Array, Array]:
        """Angles that put the beams on `points` (N, 3), metres, stage frame.

        Returns pan (N, 2) and tilt (N, 2) in radians, last axis face 1 and face 2, pan as any of the values that
        differ by whole turns (`turn`), and the length (N,) of each beam from its lens to its point. A point that no
        angle reaches (nearer than the lens offset) gives the nearest angles and length 0.
        """
        seen = self._seen(points)
        (pan_1, tilt_1), (pan_2, tilt_2) = self._angles(seen, 1.0), self._angles(seen, -1.0)
        return np.array([pan_1, pan_2]).T, np.array([tilt_1, tilt_2]).T, seen[2]

    def aim_on(self, sides: Array, points: Array) -> tuple[Array, Array, Array]:
        """As `aim`, for one face of each head: `sides` (N,) is 1 for face 1, -1 for face 2; pan and tilt are (N,)."""
        seen = self._seen(points)
        return *self._angles(seen, sides), seen[2]

    def _angles(self, seen: tuple[Array, Array, Array], sides: Array | float) -> tuple[Array, Array]:
        v, w, _ = seen
        cos, sin = self._square
        tilt_zero, pan_gain = self.terms[:, 0], self._pan_gain
        rho = np.sqrt(w[1] * w[1] + w[2] * w[2]) + 1e-12
        u_z = (v[2] + sin * w[0]) / cos
        swing = sides * np.arccos(np.minimum(np.maximum(-u_z / rho, -1.0), 1.0))
        pan = np.arctan2(v[1], v[0]) - np.arctan2(rho * np.sin(swing), cos * w[0] + sin * u_z)
        return pan / pan_gain, swing - np.arctan2(w[1], -w[2]) - tilt_zero

    def tilt_for(self, pan_rad: Array, points: Array) -> Array:
        """The tilt (N,) that brings each beam nearest to its point while pan stays where it is; may be negative."""
        v, w, _ = self._seen(points)
        cos, sin = np.cos(self._pan_gain * pan_rad), np.sin(self._pan_gain * pan_rad)
        along_x, u_y = cos * v[0] + sin * v[1], cos * v[1] - sin * v[0]
        cos, sin = self._square
        u_z = cos * v[2] + sin * along_x
        return np.arctan2(u_y, -u_z) - np.arctan2(w[1], -w[2]) - self.terms[:, 0]

    @cached_property
    def turn(self) -> Array:
        """What a whole turn of the beam takes in commanded pan, (N,) rad."""
        return 2 * np.pi / self._pan_gain

    @cached_property
    def _pan_gain(self) -> Array:
        return 1 + self.terms[:, 5]

    @cached_property
    def _fixture_from_stage(self) -> Array:
        return np.ascontiguousarray(self.rotation.transpose(0, 2, 1))

    def _seen(self, points: Array) -> tuple[Array, Array, Array]:
        """The points in the fixture frame (v) and in the head frame once aimed (w), (3, N), and beam lengths (N,)."""
        (beam_x, lens_x), (_, lens_y), (beam_z, _) = self._in_head
        v = (self._fixture_from_stage @ (points - self.position)[:, :, None])[:, :, 0].T
        across = -lens_x * beam_x
        under_root = across * across + _square_of(v) - lens_x * lens_x - lens_y * lens_y
        length = across + np.sqrt(np.maximum(under_root, 0.0))
        return v, np.array([lens_x + length * beam_x, lens_y, length * beam_z]), length


def miss_distance(start: Array, direction: Array, points: Array) -> Array:
    """Perpendicular distance (N,), m, from points (N, 3) to beam axes; for a point behind the lens, to the lens."""
    offset, d = (points - start).T, direction.T
    along = np.maximum(offset[0] * d[0] + offset[1] * d[1] + offset[2] * d[2], 0.0)
    return np.sqrt(_square_of(offset - along * d))


def _square_of(rows: Array) -> Array:
    """Squared length (N,) of vectors (3, N)."""
    return rows[0] * rows[0] + rows[1] * rows[1] + rows[2] * rows[2]
