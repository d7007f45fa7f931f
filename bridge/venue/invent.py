"""Make up the truth of a venue from the plot of a rig: every head hung a little wrong, by dice with a seed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bridge.errors import InputError
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture, Mechanics
from bridge.show.model import Show
from bridge.venue.kinematics import quaternion_product
from bridge.venue.truth import FixtureTruth, Quaternion, Truth


@dataclass(frozen=True)
class Scatter:
    """How wrong a crew hangs and a maker builds: standard deviations, except where said.

    `yaw_unknown_deg` is the half width of a uniform offset: nobody knows how the base was turned on its clamp.
    Position scatter is that of the rig's `at_sigma` where it says one. The mechanical terms are about half of what
    facts/solver.md takes as priors for heads of all ages. How far zoom (of its angle) and focus (of full scale) of two
    heads of a type lie apart is from memory.
    """

    position_m: float = 0.2
    yaw_deg: float = 2.0
    yaw_unknown_deg: float = 180.0
    mark_m: float = 0.01
    tilt_zero_deg: float = 0.25
    squareness_deg: float = 0.1
    collimation_deg: float = 0.05
    lens_m: float = 0.01
    pan_scale: float = 0.0005
    backlash_deg: float = 0.03
    zoom_share: float = 0.02
    focus_share: float = 0.02


def invent(show: Show, seed: int, scatter: Scatter = Scatter()) -> Truth:
    """A repeatable truth for the show's rig and marks. Raises InputError for fixtures that have no place at all."""
    homeless = [f.name for f in show.fixtures if _nominal_place(show, f) is None]
    if homeless:
        raise InputError(
            f"cannot invent where {', '.join(homeless)} hang: the rig gives no `at` and there is no pose; "
            "add `at: [x, y, z]` (a rough place is enough)"
        )
    rng = np.random.default_rng(seed)
    heads = {fixture.name: _head(show, fixture, rng, scatter) for fixture in show.fixtures}
    return Truth(heads, _marks(show, rng, scatter), seed)


def _nominal_place(show: Show, fixture: Fixture) -> Point3 | None:
    if fixture.at is not None:
        return fixture.at
    pose = show.poses.get(fixture.name)
    return pose.position if pose else None


def _head(show: Show, fixture: Fixture, rng: np.random.Generator, scatter: Scatter) -> FixtureTruth:
    place = _nominal_place(show, fixture)
    assert place is not None
    sigma = fixture.at_sigma if fixture.at is not None and fixture.at_sigma else (scatter.position_m,) * 3
    position = np.asarray(place) + rng.normal(size=3) * np.asarray(sigma)
    lag = fixture.profile.lag if fixture.lag is None else fixture.lag
    terms: list[float] = rng.normal(size=6).tolist()
    mechanics = Mechanics(
        tilt_zero=round(terms[0] * scatter.tilt_zero_deg, 4),
        squareness=round(terms[1] * scatter.squareness_deg, 4),
        collimation=round(terms[2] * scatter.collimation_deg, 4),
        lens_x=round(terms[3] * scatter.lens_m, 4),
        lens_y=round(terms[4] * scatter.lens_m, 4),
        pan_scale=round(terms[5] * scatter.pan_scale, 6),
    )
    # Pure delay of packet and processor, the same for light and motors; the rest is the motors' smoothing.
    share = rng.uniform(0.2, 0.4)
    lens = rng.spawn(1)[0].normal(size=2)  # dice of its own, so that a seed hangs the heads as it always did
    return FixtureTruth(
        position=_rounded(position),
        rotation=_rotation(fixture, rng, scatter),
        mechanics=mechanics,
        backlash_deg=round(abs(rng.normal()) * scatter.backlash_deg, 4),
        dead_time_s=round(share * lag, 4),
        smoothing_s=round((1 - share) * lag, 4),
        zoom_travel_s=round(rng.uniform(0.6, 1.2), 3),
        focus_travel_s=round(rng.uniform(0.6, 1.2), 3),
        dimmer_s=round(rng.uniform(0.001, 0.005), 4),
        zoom_scale=round(float(np.clip(1.0 + scatter.zoom_share * lens[0], 0.9, 1.1)), 4),
        focus_off=round(float(np.clip(scatter.focus_share * lens[1], -0.1, 0.1)), 4),
    )


def _rotation(fixture: Fixture, rng: np.random.Generator, scatter: Scatter) -> Quaternion:
    """Nominal hang, tipped by the level error about a horizontal axis and turned by an unknown yaw, seen from above."""
    hang = fixture.hang
    unknown = rng.uniform(-scatter.yaw_unknown_deg, scatter.yaw_unknown_deg)
    yaw = hang.yaw + rng.normal() * scatter.yaw_deg + unknown
    tip_x, tip_y = rng.normal(size=2) * hang.sigma
    nominal = quaternion_product(about_axis(1, hang.pitch), about_axis(0, hang.roll))
    level = quaternion_product(about_axis(0, tip_x), about_axis(1, tip_y))
    x, y, z, w = quaternion_product(level, quaternion_product(about_axis(2, yaw), nominal))
    sign = -1.0 if w < 0 else 1.0
    return (round(sign * x, 9), round(sign * y, 9), round(sign * z, 9), round(sign * w, 9))


def about_axis(axis: int, angle_deg: float) -> Quaternion:
    """Quaternion xyzw of a right-handed turn about axis 0 (x), 1 (y) or 2 (z)."""
    half = math.radians(angle_deg) / 2
    v = [0.0, 0.0, 0.0]
    v[axis] = math.sin(half)
    return (v[0], v[1], v[2], math.cos(half))


def _marks(show: Show, rng: np.random.Generator, scatter: Scatter) -> dict[str, Point3]:
    """Surveyed marks are off by the survey's error in plan (a mark lies on its floor, so not in z)."""
    places: dict[str, Point3] = {}
    for name, mark in show.stage.marks.items():
        dx, dy = rng.normal(size=2) * scatter.mark_m
        known = mark.at or show.solved_marks.get(name)
        if known is not None:
            places[name] = _rounded(np.array([known[0] + dx, known[1] + dy, known[2]]))
        else:
            places[name] = _unsurveyed(show, name, mark.height or 0.0, rng)
    return places


def _unsurveyed(show: Show, name: str, height: float, rng: np.random.Generator) -> Point3:
    """Somewhere on the stage for a mark that nobody measured; the datum's marks keep to their definition."""
    corners = np.asarray(show.stage.polygon.area.corners)
    low, high = corners.min(axis=0), corners.max(axis=0)
    datum = show.stage.datum
    if datum and name == datum.origin:
        return (0.0, 0.0, height)
    if datum and name == datum.along_x:
        return (round(float(high[0] - low[0]) * 0.8, 4), 0.0, height)
    x, y = low + (high - low) * rng.uniform(0.05, 0.95, size=2)
    return _rounded(np.array([x, y, height]))


def _rounded(v: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Point3:
    x, y, z = (round(float(value), 5) for value in v)
    return (x, y, z)
