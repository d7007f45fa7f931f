"""Where the pool of a beam lies on the plane of a mark, and where the beam's axis then is.

A round beam is a cone. A plane that it meets obliquely cuts an ellipse whose centre lies beyond the axis, seen from the
lens: of two edge rays that meet the plane at angles t + a and t - a from its normal, the middle is at

    tan m = (tan(t + a) + tan(t - a)) / 2 = sin 2t / (cos 2t + cos 2a)

with t the incidence of the axis, a half the beam angle, m the direction of the centre (plane geometry, exact). Solved
for t, which a hand that centred the pool on a mark at m has set without knowing it:

    t = (m + asin(cos 2a · sin m)) / 2

The planes of marks are level, so all turns are in the vertical plane through lens and mark.
"""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array

PLUMB = 1e-9  # a mark this near to plumb (sine) has no direction in plan, and its pool is a circle


def axis_offset(half_angle: Array, incidence: Array) -> Array:
    """By how much (rad) the axis is steeper than the line to the centre of its pool, which meets the plane at
    `incidence` (rad from the normal, 0 to pi/2); `half_angle` is half the beam angle, rad."""
    return np.asarray((incidence - np.arcsin(np.cos(2 * half_angle) * np.sin(incidence))) / 2)


def toward_axis(v: Array, half_angle: Array, share: Array) -> tuple[Array, Array, Array]:
    """Lines to marks (..., 3), stage frame, turned to where the axis of the beam was, their lengths kept.

    `share` (...) of the offset counts: 1 where the pool was centred on the mark, 0 where the axis was. Returns the
    lines, their derivatives by `v` (..., 3, 3), and by `share` (..., 3).
    """
    flat, length = np.hypot(v[..., 0], v[..., 1]), np.linalg.norm(v, axis=-1)
    length = np.maximum(length, 1e-9)
    sin, cos = flat / length, np.abs(v[..., 2]) / length
    up = np.where(v[..., 2] < 0, -1.0, 1.0)
    plumb = sin < PLUMB
    out = np.where(plumb[..., None], [1.0, 0.0], v[..., :2] / np.where(plumb, 1.0, flat)[..., None])
    offset = axis_offset(half_angle, np.arctan2(sin, cos))
    steep = np.sqrt(np.maximum(1 - (np.cos(2 * half_angle) * sin) ** 2, 1e-12))
    slope = 1 - share * (1 - np.cos(2 * half_angle) * cos / steep) / 2  # of the turned angle by the angle
    turned = np.arctan2(sin, cos) - share * offset
    along, across = _ray(out, up, np.sin(turned), np.cos(turned)), _ray(out, up, np.cos(turned), -np.sin(turned))
    was_along, was_across = _ray(out, up, sin, cos), _ray(out, up, cos, -sin)
    aside = np.stack([-out[..., 1], out[..., 0], np.zeros_like(flat)], axis=-1)
    wider = np.where(plumb, slope, np.sin(turned) / np.where(plumb, 1.0, sin))
    by_v = along[..., :, None] * was_along[..., None, :]
    by_v += (slope[..., None] * across)[..., :, None] * was_across[..., None, :]
    by_v += (wider[..., None] * aside)[..., :, None] * aside[..., None, :]
    return along * length[..., None], by_v, across * (-offset * length)[..., None]


def _ray(out: Array, up: Array, flat: Array, high: Array) -> Array:
    """Vectors (..., 3): `flat` along the plan direction `out` (..., 2), `high` along the vertical of sign `up`."""
    return np.concatenate([out * flat[..., None], (up * high)[..., None]], axis=-1)
