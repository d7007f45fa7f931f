"""Beams: where axis and cone of every head fall, the lit ellipse, its light, and who stands in it.

Arrays over n heads; metres, radians, candela, lux. A cone's half angle is half of the zoom's full beam angle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.stage import Stage
from bridge.venue.kinematics import Hangs
from bridge.venue.surfaces import FAR_M, Ground, NoLightPrisms, plan_distance
from bridge.venue.virtual_heads import HeadState
from bridge.venue.zoom import sharpness

Array = NDArray[np.float64]
RINGS, SPOKES = (0.5, 1.0), 16  # sampled rays of a cone, beside the axis


@dataclass(frozen=True)
class Ellipses:
    """Lit ellipses: centre, long and short half axes as vectors, (n, 3); nan where the cone gives no closed spot."""

    centre: Array
    long: Array
    short: Array

    def diameter(self) -> Array:
        """Mean diameter (that of the circle of equal area), (n,) m."""
        area = np.linalg.norm(self.long, axis=1) * np.linalg.norm(self.short, axis=1)
        return 2 * np.sqrt(area)


@dataclass(frozen=True)
class ThrownBeams:
    """One moment of all beams. hit is nan where a beam meets nothing."""

    start: Array  # (n, 3)
    ray: Array  # (n, 3)
    length: Array  # (n,) to the hit
    hit: Array  # (n, 3)
    on_top: NDArray[np.bool_]  # the axis landed on a floor, not on a riser's side
    half_rad: Array  # (n,)


def throw(hangs: Hangs, state: HeadState, ground: Ground) -> ThrownBeams:
    """Axes of all beams and where they land."""
    start, ray = hangs.beam(state.pan_rad, state.tilt_rad)
    length, on_top = ground.land(start, ray)
    return ThrownBeams(start, ray, length, start + length[:, None] * ray, on_top, state.zoom_rad / 2)


def ellipses(beams: ThrownBeams) -> Ellipses:
    """Sections of the cones with the level plane through each axis' hit point, in closed form.

    With height H over the plane, angle of incidence i and half angle a, the section reaches from H tan(i - a) to
    H tan(i + a) along the beam's plan direction, and its eccentricity is sin i / cos a (conic section of a cone).
    """
    down = -beams.ray[:, 2]
    height = beams.start[:, 2] - beams.hit[:, 2]
    incidence = np.arccos(np.clip(down, -1, 1))
    closed = (incidence + beams.half_rad < np.radians(89)) & (height > 0) & np.isfinite(height)
    with np.errstate(invalid="ignore"):
        near, far = (height * np.tan(incidence + s * beams.half_rad) for s in (-1, 1))
        eccentricity = np.sin(incidence) / np.cos(beams.half_rad)
        long = (far - near) / 2
        short = long * np.sqrt(np.maximum(1 - eccentricity**2, 0))
    flat = np.hypot(beams.ray[:, 0], beams.ray[:, 1])
    straight = flat < 1e-9
    with np.errstate(invalid="ignore", divide="ignore"):
        ux = np.where(straight, 1.0, beams.ray[:, 0] / flat)
        uy = np.where(straight, 0.0, beams.ray[:, 1] / flat)
    zero = np.zeros_like(ux)
    along, across = np.stack([ux, uy, zero], axis=1), np.stack([-uy, ux, zero], axis=1)
    foot = np.stack([beams.start[:, 0], beams.start[:, 1], beams.hit[:, 2]], axis=1)
    gap = np.where(closed, 1.0, np.nan)[:, None]
    centre = foot + along * ((near + far) / 2)[:, None]
    return Ellipses(gap * centre, gap * along * long[:, None], gap * across * short[:, None])


def axis_distance(beams: ThrownBeams, point: Array) -> Array:
    """Perpendicular distance of points (3,) or (n, 3) from the beam axes, (n,) m; behind a lens, from the lens."""
    to_point = point - beams.start
    along = np.maximum((to_point * beams.ray).sum(axis=1), 0.0)
    return np.asarray(np.linalg.norm(to_point - along[:, None] * beams.ray, axis=1))


def in_pool(beams: ThrownBeams, point: Array) -> NDArray[np.bool_]:
    """Whether points (3,) or (n, 3) are inside the cones."""
    to_point = point - beams.start
    along = (to_point * beams.ray).sum(axis=1)
    within: NDArray[np.bool_] = (along > 0) & (axis_distance(beams, point) <= along * np.tan(beams.half_rad))
    return within


def illuminance(beams: ThrownBeams, state: HeadState) -> Array:
    """Lux on the floor at the centre of each spot: I cos(i) / r^2 (inverse square and cosine law); nan if unknown."""
    return np.asarray(state.level * state.candela * -beams.ray[:, 2] / beams.length**2)


def edge_sharpness(beams: ThrownBeams, state: HeadState) -> Array:
    """Sharpness 0..1 of each spot's edge where it lands; nan without focus or floor."""
    with np.errstate(invalid="ignore"):
        return sharpness(beams.length, state.focus_m, state.zoom_rad)


def cone_rays(beams: ThrownBeams) -> tuple[Array, Array]:
    """Start points and unit rays of axis, half-way and edge ring of every cone, ((1 + 2*16) n, 3), head by head."""
    helper = np.where(np.abs(beams.ray[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    u = np.cross(beams.ray, helper)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(beams.ray, u)
    turn = np.linspace(0, 2 * np.pi, SPOKES, endpoint=False)
    ring = np.cos(turn)[None, :, None] * u[:, None, :] + np.sin(turn)[None, :, None] * v[:, None, :]
    bundles = [beams.ray[:, None, :]]
    for share in RINGS:
        slope = np.tan(beams.half_rad * share)[:, None, None]
        bundles.append(beams.ray[:, None, :] + slope * ring)
    rays = np.concatenate(bundles, axis=1)
    rays /= np.linalg.norm(rays, axis=2, keepdims=True)
    starts = np.broadcast_to(beams.start[:, None, :], rays.shape)
    return starts.reshape(-1, 3), rays.reshape(-1, 3)


def no_light_hits(
    beams: ThrownBeams, lit: NDArray[np.bool_], ground: Ground, areas: NoLightPrisms
) -> dict[str, NDArray[np.bool_]]:
    """Per no-light area that is on: which lit heads (n,) throw light into it with axis or cone (sampled rays)."""
    if not any(areas.on.values()) or not lit.any():
        return {}
    per_head = 1 + len(RINGS) * SPOKES
    start, ray = (v.reshape(lit.size, per_head, 3)[lit] for v in cone_rays(beams))
    # Most cones are nowhere near: only those whose box, down to the lowest floor, meets a prism's are looked at.
    reach = _reach_down(start, ray, ground.lowest)
    found = {}
    for name in areas.active():
        near = areas.boxes_meet(name, start, start + ray * reach[..., None])
        heads = np.zeros(lit.size, dtype=bool)
        if near.any():
            s, r = start[near].reshape(-1, 3), ray[near].reshape(-1, 3)
            touched = areas.through(name, s, r, reach[near].ravel())
            which = np.flatnonzero(touched)
            length, _ = ground.land(s[which], r[which])
            touched[which] = areas.through(name, s[which], r[which], np.where(np.isnan(length), FAR_M, length))
            heads[np.flatnonzero(lit)[near]] = touched.reshape(-1, per_head).any(axis=1)
        found[name] = heads
    return found


def _reach_down(start: Array, ray: Array, lowest: float) -> Array:
    """How far rays go before they are below every floor, FAR_M at most."""
    down = -ray[..., 2]
    with np.errstate(divide="ignore"):
        reach = np.where(down > 1e-9, (start[..., 2] - lowest) / np.maximum(down, 1e-9), FAR_M)
    return np.asarray(np.clip(reach, 0.0, FAR_M))


class Place:
    """The stage as the venue measures it: ground, polygon with the areas that are on, no-light areas."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.ground = Ground(stage.floors)
        self.no_light = NoLightPrisms(stage.no_light)
        areas = [stage.polygon.area, *(a for a in stage.more_areas if a.on)]
        self._areas = [(np.asarray(a.corners, dtype=np.float64), a.height) for a in areas]

    def outside_by(self, point: Array) -> float:
        """How far (m) a point (3,) is outside the lit areas, in plan or in height; 0 inside any of them."""
        x, y, z = (float(v) for v in point)
        gaps = []
        for corners, (low, high) in self._areas:
            plan = plan_distance(corners, x, y)
            gaps.append(max(plan, low - z, z - high, 0.0))
        return min(gaps)
