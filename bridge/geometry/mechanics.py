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

BOTH_FACES = np.array([1.0, -1.0])
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
        turned_tilt, turned_pan = tilt_rad + self.terms[:, 0], (1 + self.terms[:, 5]) * pan_rad
        x, y, z = self._in_head  # both vectors are turned together: about x, then y, then z
        cos, sin = np.cos(turned_tilt), np.sin(turned_tilt)
        y, z = cos * y - sin * z, sin * y + cos * z
        cos, sin = self._square
        x, z = cos * x + sin * z, cos * z - sin * x
        cos, sin = np.cos(turned_pan), np.sin(turned_pan)
        in_fixture = np.array([cos * x - sin * y, sin * x + cos * y, z])
        in_stage = np.einsum("nij,jvn->vni", self.rotation, in_fixture)
        return self.position + in_stage[1], in_stage[0]

    def aim(self, points: Array) -> tuple[Array, Array, Array]:
        """Angles that put the beams on `points` (N, 3), metres, stage frame.

        Returns pan (N, 2) and tilt (N, 2) in radians, last axis face 1 and face 2, pan as a principal value that
        whole turns may be added to (`turn`), and the length (N,) of each beam from its lens to its point. A point
        that no angle reaches (nearer than the lens offset) gives the nearest angles and length 0.
        """
        v, w, length = self._seen(points)
        tilt_zero, *_, pan_scale = self.terms.T
        cos, sin = self._square
        rho = np.maximum(np.hypot(w[:, 1], w[:, 2]), 1e-12)
        u_z = (v[:, 2] + sin * w[:, 0]) / cos
        swing = np.arccos(np.minimum(np.maximum(-u_z / rho, -1.0), 1.0))[:, None] * BOTH_FACES
        tilt = swing - np.arctan2(w[:, 1], -w[:, 2])[:, None]
        x = (cos * w[:, 0] + sin * u_z)[:, None]
        pan = np.arctan2(v[:, 1], v[:, 0])[:, None] - np.arctan2(rho[:, None] * np.sin(swing), x)
        return _principal(pan) / (1 + pan_scale)[:, None], tilt - tilt_zero[:, None], length

    def tilt_for(self, pan_rad: Array, points: Array) -> Array:
        """The tilt (N,) that brings each beam nearest to its point while pan stays where it is; may be negative."""
        v, w, _ = self._seen(points)
        tilt_zero, squareness, *_, pan_scale = self.terms.T
        turned = (1 + pan_scale) * pan_rad
        along_x = np.cos(turned) * v[:, 0] + np.sin(turned) * v[:, 1]
        u_y = np.cos(turned) * v[:, 1] - np.sin(turned) * v[:, 0]
        u_z = np.cos(squareness) * v[:, 2] + np.sin(squareness) * along_x
        return np.arctan2(u_y, -u_z) - np.arctan2(w[:, 1], -w[:, 2]) - tilt_zero

    @property
    def turn(self) -> Array:
        """What a whole turn of the beam takes in commanded pan, (N,) rad."""
        return 2 * np.pi / (1 + self.terms[:, 5])

    def _seen(self, points: Array) -> tuple[Array, Array, Array]:
        """The points in the fixture frame (v) and in the head frame once aimed (w), and the beam lengths."""
        (beam_x, lens_x), (_, lens_y), (beam_z, _) = self._in_head
        v = np.einsum("nji,nj->ni", self.rotation, points - self.position)
        across = -lens_x * beam_x
        under_root = across**2 + np.einsum("ni,ni->n", v, v) - lens_x**2 - lens_y**2
        length = across + np.sqrt(np.maximum(under_root, 0.0))
        return v, np.array([lens_x + length * beam_x, lens_y, length * beam_z]).T, length


def miss_distance(start: Array, direction: Array, points: Array) -> Array:
    """Perpendicular distance (...,) in metres from points to beam axes; for a point behind the lens, to the lens."""
    offset = points - start
    along = np.maximum(np.einsum("...i,...i->...", offset, direction), 0.0)
    gap = offset - along[..., None] * direction
    return np.sqrt(np.einsum("...i,...i->...", gap, gap))


def _principal(angle: Array) -> Array:
    return np.pi - np.mod(np.pi - angle, 2 * np.pi)
