"""Two turning axes of a file as pan and tilt of ours: signs, offsets, a turned base, and where the axes meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.exchange.gdtf_matrix import Placed
from bridge.geometry.frames import Array, rotation_x, rotation_z

UPRIGHT = 2e-5
"""rad: a pan axis this near to z is along it (six written digits)."""
WRITTEN_DEG = 5e-4
"""An angle this near to a whole degree is one: the digits of a written matrix say no more."""


@dataclass(frozen=True)
class Axes:
    """`sign` · file's angle + `offset` = ours (degrees), in a fixture frame turned by `base` (3, 3).

    `square_deg`: tilt axis off the right angle to the pan axis; `beam_deg`: beam off the right angle to the tilt axis.
    With both at 0 the directions are the file's, exactly.
    """

    pan_sign: int
    pan_offset: float
    tilt_sign: int
    tilt_offset: float
    base: Array
    square_deg: float
    beam_deg: float

    def head_at_neutral(self) -> Array:
        """Our head frame in the drawing's when the file's angles are 0, (3, 3)."""
        pan, tilt = np.radians([self.pan_offset, self.tilt_offset])
        out: Array = self.base @ rotation_z(pan) @ rotation_x(tilt)
        return out


def axes_of(pan: Array, tilt_in_pan: Array, beam: Array) -> Axes | None:
    """`pan` (3, 3): the pan geometry's frame in the fixture's, `tilt_in_pan` the tilt geometry's in that, `beam` (3,)
    the light's direction in the tilt geometry's frame. None where tilt turns about the pan axis, or the beam along
    its own: no two angles then lead anywhere.

    The file's direction is pan · Rz(p) · tilt_in_pan · Rx(t) · beam. With tilt_in_pan = Rz(b) Ry(squareness) Rx(g) and
    beam = Rx(d) · (0, 0, -1) it is pan · Rz(p + b) · Rx(t + g + d) · (0, 0, -1); a pan axis that looks down is
    Rx(180) · Rz(-p) · Rx(180); and (pan, tilt) is (pan + 180, -tilt), of which the smaller offset of pan is taken.
    """
    if np.hypot(*tilt_in_pan[:2, 0]) < 0.1 or np.hypot(*beam[1:]) < 0.1:
        return None
    base, turn = _base(pan)
    down = turn[2, 2] < 0
    about_z = np.degrees(np.arctan2(turn[1, 0], turn[0, 0]))
    b = np.degrees(np.arctan2(tilt_in_pan[1, 0], tilt_in_pan[0, 0]))
    g = np.degrees(np.arctan2(tilt_in_pan[2, 1], tilt_in_pan[2, 2]))
    d = np.degrees(np.arctan2(beam[1], -beam[2]))
    pan_offset, tilt_offset = _whole(about_z - b if down else about_z + b), _whole(g + d + (180.0 if down else 0.0))
    tilt_sign = 1
    if abs(pan_offset) > 90.0:
        pan_offset, tilt_sign, tilt_offset = _whole(pan_offset + 180.0), -1, _whole(-tilt_offset)
    square, off = np.degrees(np.arcsin(np.clip([tilt_in_pan[2, 0], beam[0]], -1, 1)))
    pan_sign = -1 if down else 1
    return Axes(pan_sign, pan_offset, tilt_sign, tilt_offset, base, abs(float(square)), abs(float(off)))


def meeting(pan: Placed, tilt: Placed) -> tuple[Array, float]:
    """Foot on the pan axis (3,) of the common perpendicular of the two axes, and its length, metres."""
    along, across, between = pan.rotation[:, 2], tilt.rotation[:, 0], tilt.at - pan.at
    cosine = float(along @ across)
    if 1 - cosine**2 < 1e-6:  # parallel: any foot is as good
        foot = pan.at + (between @ along) * along
        return foot, float(np.linalg.norm(tilt.at - foot))
    up = (between @ along - cosine * (between @ across)) / (1 - cosine**2)
    normal = np.cross(along, across)
    return pan.at + up * along, float(abs(between @ normal) / np.linalg.norm(normal))


def _base(pan: Array) -> tuple[Array, Array]:
    """The pan geometry's frame as a smallest turn of the base and a turn about z, or a flip about x and one about z."""
    axis = pan[:, 2]
    up = np.array([0.0, 0.0, 1.0 if axis[2] >= 0 else -1.0])
    normal, cosine = np.cross(up, axis), float(up @ axis)
    if np.linalg.norm(normal) < UPRIGHT:
        return np.eye(3), pan
    cross = np.array([[0, -normal[2], normal[1]], [normal[2], 0, -normal[0]], [-normal[1], normal[0], 0]])
    base = np.eye(3) + cross + cross @ cross / (1 + cosine)
    return base, base.T @ pan


def _whole(angle_deg: float) -> float:
    """Into (-180, 180], and a whole degree where it is one but for written digits."""
    angle = float(angle_deg)
    if abs(angle - round(angle)) < WRITTEN_DEG:
        angle = float(round(angle))
    return 180.0 - (180.0 - angle) % 360.0
