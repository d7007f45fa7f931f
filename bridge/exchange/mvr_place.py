"""Pose of a head in our words (m, degrees, where its axes meet) from the matrix of a scene (mm, where its base is)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from bridge.exchange.gdtf_geometry import IDENTITY, Rows
from bridge.exchange.hang import hang_of, tidy, upright
from bridge.exchange.mvr_says import listed
from bridge.exchange.mvr_scene import Place
from bridge.rig.fixture import Vector3
from bridge.show.values import FARTHEST

_SCALED = 1e-3
_TINY = 0.1  # m: a rig is larger


class Pose(NamedTuple):
    """`at` (m, stage axes) and `hang` (yaw, pitch, roll, degrees); None is what cannot be known, and `question` why."""

    at: Vector3 | None
    hang: Vector3 | None
    question: str = ""
    note: str = ""


def pose_of(place: Place, axes_at: Vector3, base: Rows = IDENTITY) -> Pose:
    """The pose of a head whose pan and tilt axes meet `axes_at` (m) from its origin, both as the drawing has it.

    `base` (3, 3) turns the drawing's frame of the fixture into ours, where pan is about z.
    """
    if place.world is None:
        return Pose(None, None, f"{place.lost} has a matrix that is none (expected four times three numbers): {_WRITE}")
    turn, origin_m = place.world[:3, :3], place.world[:3, 3] / 1000
    rotation, stretch = upright(turn)
    hang = tidy(hang_of(rotation @ np.array(base))) if rotation is not None else None
    if rotation is None and math.isinf(stretch):
        return Pose(_point(origin_m), None, f"its matrix is flat or endless, so its rotation is not known: {_WRITE}")
    with np.errstate(all="ignore"):
        at = _point(origin_m + (rotation if rotation is not None else turn) @ np.array(axes_at))
    if rotation is None:
        return Pose(at, None, f"its matrix is mirrored, and no head can hang so: {_WRITE}")
    if at is None:
        far = f"its place lies more than {FARTHEST:g} m from the origin (in another unit than mm?): {_WRITE}"
        return Pose(None, hang, far)
    scaled = "its matrix is scaled: its rotation is taken without" if stretch > _SCALED else ""
    turned = "its GDTF turns its base, so its hang is not the drawing's rotation"
    return Pose(at, hang, turned if base != IDENTITY else "", scaled)


def odd_places(poses: Sequence[tuple[str, Pose]]) -> list[str]:
    """What looks wrong in the places of all heads together."""
    places: dict[Vector3, list[str]] = {}
    for name, pose in poses:
        if pose.at is not None:
            places.setdefault(pose.at, []).append(name)
    found = [
        f"{listed(names)}: all at one place ({at[0]:g}, {at[1]:g}, {at[2]:g} m): is the drawing a flat one?"
        for at, names in places.items()
        if len(names) > 1
    ]
    if len(places) > 1 and all(max(map(abs, at)) < _TINY for at in places):
        found.append(f"all heads lie within {_TINY:g} m of the origin: does the file have metres where mm belong?")
    return found


def _point(place_m: np.ndarray) -> Vector3 | None:
    """To 1e-6 m; None where it is not finite or farther than a rig may be."""
    if not np.isfinite(place_m).all() or np.abs(place_m).max() > FARTHEST:
        return None
    x, y, z = (round(float(value), 6) + 0.0 for value in place_m)
    return x, y, z


_WRITE = "write `at` and `hang` into rig.yaml"
