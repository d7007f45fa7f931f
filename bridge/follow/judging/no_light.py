"""Whether a beam's whole cone touches an area where no light may fall.

A no-light area is a prism: a plan polygon between two heights (the part under the lowest floor is left out, since
light ends there). A cone meets it if and only if its axis hits the prism or one of the prism's edges passes through
the cone: a section that touches no edge of a face is an ellipse inside it, and then the axis goes through it too.
What other floors or people would shade is not taken off: the test errs to the dark.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.frames import Array
from bridge.geometry.stage import Area

HIGHEST_M = 100.0


class NoLight:
    """All no-light areas of a stage; `on` (A,) switches each of them live."""

    def __init__(self, areas: Sequence[Area], lowest_floor_m: float) -> None:
        self.names = [area.name for area in areas]
        self.on = np.array([area.on for area in areas], dtype=bool)
        self._areas = tuple(areas)
        self._clip_at(lowest_floor_m)

    def clip(self, lowest_floor_m: float) -> None:
        """Leave out what lies under the lowest floor, should that be another one now."""
        if lowest_floor_m != self._lowest_m:
            self._clip_at(lowest_floor_m)

    def _clip_at(self, lowest_floor_m: float) -> None:
        self._lowest_m = lowest_floor_m
        self._prisms = [_Prism(area, lowest_floor_m) for area in self._areas]

    @property
    def any_on(self) -> bool:
        """Whether any area is on."""
        return any(self.on.tolist())

    def touched(self, start: Array, direction: Array, half_angle_rad: Array) -> np.ndarray:
        """Which of N cones (start (N, 3), unit direction (N, 3), half angle (N,) below 90 deg) meet an area: (N,)."""
        hit = np.zeros(len(start), dtype=bool)
        for prism, on in zip(self._prisms, self.on, strict=True):
            if not on or prism.empty:
                continue
            near = np.flatnonzero(~hit & prism.may_meet(start, direction, half_angle_rad))
            if near.size:
                hit[near] = prism.meets(start[near], direction[near], half_angle_rad[near])
        return hit


class _Prism:
    def __init__(self, area: Area, lowest_floor_m: float) -> None:
        corners = np.asarray(area.corners, dtype=np.float64)
        self._polygon = Polygon(area.corners)
        self._low = max(area.height[0], lowest_floor_m)
        self._high = min(area.height[1], HIGHEST_M)
        self.empty = self._high < self._low
        bottom, top = (np.column_stack([corners, np.full(len(corners), z)]) for z in (self._low, self._high))
        self._a = np.concatenate([bottom, top, bottom])
        self._b = np.concatenate([np.roll(bottom, -1, axis=0), np.roll(top, -1, axis=0), top])
        both = np.concatenate([bottom, top])
        self._centre = (both.min(axis=0) + both.max(axis=0)) / 2
        self._radius = float(np.max(np.linalg.norm(both - self._centre, axis=1)))

    def may_meet(self, start: Array, direction: Array, half_angle_rad: Array) -> np.ndarray:
        """Cheap first look: does the cone, widened by the ball round the prism, hold the ball's centre?"""
        offset = self._centre - start
        distance = np.linalg.norm(offset, axis=1)
        along = np.einsum("ni,ni->n", offset, direction)
        angle = np.arccos(np.clip(along / np.maximum(distance, 1e-9), -1.0, 1.0))
        ball = np.arcsin(np.clip(self._radius / np.maximum(distance, 1e-9), 0.0, 1.0))
        return np.asarray((distance <= self._radius) | (angle <= half_angle_rad + ball))

    def meets(self, start: Array, direction: Array, half_angle_rad: Array) -> np.ndarray:
        return np.asarray(self._edge_in_cone(start, direction, half_angle_rad) | self._axis_hits(start, direction))

    def _edge_in_cone(self, start: Array, direction: Array, half_angle_rad: Array) -> np.ndarray:
        """Does a point a + t·e of an edge have (x·d)² >= cos² |x|² on the front side? A quadratic in t."""
        cos2 = (np.cos(half_angle_rad) ** 2)[:, None]
        offset = self._a - start[:, None, :]
        edge = self._b - self._a
        od, ed = np.einsum("nei,ni->ne", offset, direction), direction @ edge.T
        oo, oe = np.einsum("nei,nei->ne", offset, offset), np.einsum("nei,ei->ne", offset, edge)
        ee = np.einsum("ei,ei->e", edge, edge)
        a, b, c = ed**2 - cos2 * ee, 2 * (od * ed - cos2 * oe), od**2 - cos2 * oo
        root = np.sqrt(np.maximum(b**2 - 4 * a * c, 0.0))
        safe = np.where(np.abs(a) > 1e-12, 2 * a, np.inf)
        linear = np.where(np.abs(b) > 1e-12, -c / np.where(np.abs(b) > 1e-12, b, 1.0), 0.0)
        hit = np.zeros(a.shape, dtype=bool)
        for t in (0.0, 1.0, (-b - root) / safe, (-b + root) / safe, linear):
            t = np.clip(t, 0.0, 1.0)
            inside = (a * t + b) * t + c >= -1e-9 * np.maximum(oo, 1.0)
            hit |= inside & (od + t * ed > 0)
        return np.asarray(hit.any(axis=1))

    def _axis_hits(self, start: Array, direction: Array) -> np.ndarray:
        """Does the axis go through the prism's bottom, top or sides, or start inside it?"""
        hit = self._polygon.contains(start[:, :2]) & (start[:, 2] >= self._low) & (start[:, 2] <= self._high)
        upright = np.where(np.abs(direction[:, 2]) > 1e-9, direction[:, 2], np.inf)
        for z in (self._low, self._high):
            t = (z - start[:, 2]) / upright
            hit |= (t > 0) & self._polygon.contains((start + t[:, None] * direction)[:, :2])
        return np.asarray(hit | self._axis_hits_sides(start, direction))

    def _axis_hits_sides(self, start: Array, direction: Array) -> np.ndarray:
        corners = self._polygon.corners
        edge = np.roll(corners, -1, axis=0) - corners
        offset = corners - start[:, None, :2]
        d = direction[:, None, :]
        cross = d[..., 0] * edge[:, 1] - d[..., 1] * edge[:, 0]
        safe = np.where(np.abs(cross) > 1e-12, cross, np.inf)
        t = (offset[..., 0] * edge[:, 1] - offset[..., 1] * edge[:, 0]) / safe
        s = (offset[..., 0] * d[..., 1] - offset[..., 1] * d[..., 0]) / safe
        z = start[:, 2, None] + t * direction[:, 2, None]
        on_face = (t > 0) & (s >= 0) & (s <= 1) & (z >= self._low) & (z <= self._high) & np.isfinite(safe)
        return np.asarray(on_face.any(axis=1))
