"""The matrices of a GDTF file (`Position`), as rotations and metres.

Four groups of four, "{ux,uy,uz,x}{vx,vy,vz,y}{wx,wy,wz,z}{0,0,0,1}": the 4th number of each row is the translation, the
rows of the 3x3 block are the local basis vectors, so that in column maths the rotation is the block's transpose
(facts of DIN SPEC 15800). The rotation becomes a true one; how far off it was is said.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from bridge.exchange.xml_tree import finite
from bridge.geometry.frames import Array

FARTHEST_M = 1000.0
LARGEST = 1e6
ROUNDED = 2e-3
"""What the rounding of written digits may do to a rotation; beyond that it is said."""


class Placed(NamedTuple):
    """Where a frame is in its parent's: rotation (3, 3) and translation (3,), metres. `fault`: "" or what was wrong."""

    rotation: Array
    at: Array
    fault: str = ""

    def then(self, inner: Placed) -> Placed:
        """This frame and one inside it, as one."""
        return Placed(self.rotation @ inner.rotation, self.rotation @ inner.at + self.at)


UNTURNED = Placed(np.eye(3), np.zeros(3))


def matrix(text: str) -> tuple[Array, Array] | None:
    """Rotation (3, 3) and translation (3,), metres, of a `Position`; None where the text is no matrix."""
    numbers = _numbers(text)
    if numbers is None:
        return None
    placed = _placed(numbers)
    return placed.rotation, placed.at


@lru_cache(maxsize=4096)
def placed(text: str) -> Placed:
    """The same, never None: nothing written is the identity, and so is what cannot be read, with its fault."""
    if not text:
        return UNTURNED
    numbers = _numbers(text)
    if numbers is None:
        return UNTURNED._replace(fault="cannot be read, taken as no turn and no shift")
    return _placed(numbers)


def _numbers(text: str) -> Array | None:
    """The 16 numbers (4, 4) of a matrix; None where there are not as many, or out of all bounds."""
    if not re.fullmatch(r"[\s{},;0-9eE.+-]{1,1000}", text):
        return None
    values = [finite(word) for word in re.split(r"[\s{},;]+", text) if word]
    if len(values) != 16 or any(value is None or abs(value) > LARGEST for value in values):
        return None
    return np.array(values, dtype=np.float64).reshape(4, 4)


def _placed(numbers: Array) -> Placed:
    at, fault = numbers[:3, 3].copy(), ""
    if not at.any() and numbers[3, :3].any():
        at, fault = numbers[3, :3].copy(), "has its shift in the last row, as MVR writes it: taken from there"
    if np.abs(at).max() > FARTHEST_M:
        at, fault = np.zeros(3), f"shifts by more than {FARTHEST_M:g} m, taken as no shift"
    rotation, turned = nearest_rotation(numbers[:3, :3].T)
    return Placed(rotation, at, turned or fault)


def nearest_rotation(block: Array) -> tuple[Array, str]:
    """The true rotation nearest to a 3x3 block (least squares, by its singular values), and what was wrong or "".

    A mirrored block becomes the nearest rotation as well; one without three directions becomes the identity.
    """
    if np.abs(block @ block.T - np.eye(3)).max() < 1e-12 and np.linalg.det(block) > 0:
        return np.ascontiguousarray(block), ""
    left, sizes, right = np.linalg.svd(block)
    if sizes[2] <= 1e-6 * max(float(sizes[0]), 1e-3):
        return np.eye(3), "has not three directions, taken as no turn"
    mirrored = np.linalg.det(left @ right) < 0
    rotation = left @ np.diag([1.0, 1.0, -1.0 if mirrored else 1.0]) @ right
    if mirrored:
        return rotation, "is mirrored, taken as the nearest turn"
    if np.ptp(sizes) > ROUNDED * sizes[0]:
        return rotation, "is sheared or stretched, taken as the nearest turn"
    return rotation, "" if abs(sizes[0] - 1) < ROUNDED else "is scaled, taken without its scale"
