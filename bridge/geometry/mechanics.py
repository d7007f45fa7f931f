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

import numpy as np

from bridge.geometry.frames import Array, rotation_x, rotation_y, rotation_z

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

    def axis(self, pan_rad: Array, tilt_rad: Array) -> Array:
        """stage_from_head, shape (N, 3, 3)."""
        tilt_zero, squareness, *_, pan_scale = self.terms.T
        turn = rotation_z((1 + pan_scale) * pan_rad) @ rotation_y(squareness)
        return self.rotation @ turn @ rotation_x(tilt_rad + tilt_zero)

    def beam(self, pan_rad: Array, tilt_rad: Array) -> tuple[Array, Array]:
        """Start (N, 3) in metres and unit direction (N, 3) of each beam, stage frame."""
        axis = self.axis(pan_rad, tilt_rad)
        collimation, lens_x, lens_y = self.terms[:, 2], self.terms[:, 3], self.terms[:, 4]
        in_head = np.stack([-np.sin(collimation), np.zeros_like(collimation), -np.cos(collimation)], axis=-1)
        lens = np.stack([lens_x, lens_y, np.zeros_like(lens_x)], axis=-1)
        return self.position + _turn(axis, lens), _turn(axis, in_head)

    def aim(self, points: Array) -> tuple[Array, Array, Array]:
        """Angles that put the beams on `points` (N, 3), metres, stage frame.

        Returns pan (N, 2) and tilt (N, 2) in radians, last axis face 1 and face 2, pan as a principal value that
        whole turns may be added to (`turn`), and the length (N,) of each beam from its lens to its point. A point
        that no angle reaches (nearer than the lens offset) gives the nearest angles and length 0.
        """
        v, w, length = self._seen(points)
        tilt_zero, squareness, *_, pan_scale = self.terms.T
        rho = np.maximum(np.hypot(w[:, 1], w[:, 2]), 1e-12)
        u_z = (v[:, 2] + np.sin(squareness) * w[:, 0]) / np.cos(squareness)
        swing = np.arccos(np.clip(-u_z / rho, -1.0, 1.0))[:, None] * np.array([1.0, -1.0])
        tilt = swing - np.arctan2(w[:, 1], -w[:, 2])[:, None]
        x = (np.cos(squareness) * w[:, 0] + np.sin(squareness) * u_z)[:, None]
        pan = np.arctan2(v[:, 1], v[:, 0])[:, None] - np.arctan2(rho[:, None] * np.sin(swing), x)
        return _principal(pan) / (1 + pan_scale)[:, None], tilt - tilt_zero[:, None], length

    def tilt_for(self, pan_rad: Array, points: Array) -> Array:
        """The tilt (N,) that brings each beam nearest to its point while pan stays where it is; may be negative."""
        v, w, _ = self._seen(points)
        tilt_zero, squareness, *_, pan_scale = self.terms.T
        back = rotation_z((1 + pan_scale) * pan_rad) @ rotation_y(squareness)
        u = _turn_back(back, v)
        return np.arctan2(u[:, 1], -u[:, 2]) - np.arctan2(w[:, 1], -w[:, 2]) - tilt_zero

    @property
    def turn(self) -> Array:
        """What a whole turn of the beam takes in commanded pan, (N,) rad."""
        return 2 * np.pi / (1 + self.terms[:, 5])

    def _seen(self, points: Array) -> tuple[Array, Array, Array]:
        """The points in the fixture frame (v) and in the head frame once aimed (w), and the beam lengths."""
        collimation, lens_x, lens_y = self.terms[:, 2], self.terms[:, 3], self.terms[:, 4]
        v = _turn_back(self.rotation, points - self.position)
        across = lens_x * np.sin(collimation)
        under_root = across**2 + np.einsum("ni,ni->n", v, v) - lens_x**2 - lens_y**2
        length = across + np.sqrt(np.maximum(under_root, 0.0))
        w = np.stack([lens_x - length * np.sin(collimation), lens_y, -length * np.cos(collimation)], axis=-1)
        return v, w, length


def miss_distance(start: Array, direction: Array, points: Array) -> Array:
    """Perpendicular distance (...,) in metres from points to beam axes; for a point behind the lens, to the lens."""
    offset = points - start
    along = np.maximum(np.einsum("...i,...i->...", offset, direction), 0.0)
    return np.asarray(np.linalg.norm(offset - along[..., None] * direction, axis=-1))


def _turn(rotation: Array, vector: Array) -> Array:
    return np.einsum("nij,nj->ni", rotation, vector)


def _turn_back(rotation: Array, vector: Array) -> Array:
    return np.einsum("nji,nj->ni", rotation, vector)


def _principal(angle: Array) -> Array:
    return np.pi - np.mod(np.pi - angle, 2 * np.pi)
