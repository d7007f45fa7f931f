"""Drawings in text of what words explain badly: the stage's axes, how a head hangs, pan, tilt and the two faces.

Which way a beam goes is computed by the code that aims (`geometry/frames.py`), not drawn from memory.
"""

from __future__ import annotations

import numpy as np

from bridge.geometry.frames import beam_in_fixture, rotation_from_hang

_WAYS: dict[tuple[float, float, float], str] = {
    (1, 0, 0): "right (+x)",
    (-1, 0, 0): "left (-x)",
    (0, 1, 0): "upstage (+y)",
    (0, -1, 0): "downstage (-y)",
    (0, 0, 1): "up (+z)",
    (0, 0, -1): "down (-z)",
}
_HANGS = [
    ("{}", (0, 0, 0), "hanging: the default"),
    ("{yaw: 90}", (90, 0, 0), "hanging"),
    ("{yaw: 180}", (180, 0, 0), "hanging, turned round"),
    ("{roll: 180}", (0, 0, 180), "standing"),
    ("{yaw: 180, roll: 180}", (180, 0, 180), "standing, turned round"),
    ("{pitch: 90}", (0, 90, 0), "on the right wall"),
    ("{pitch: -90}", (0, -90, 0), "on the left wall"),
]

STAGE = """\
The stage from above          and from the audience's right

        y upstage                      z up
        ^                              ^
        |                              |
        |                              |
  ------o------> x right       --------o------> y upstage
        |        as the        audience|  stage
        |        audience
    audience     sees it

o is the origin that the crew chose; z is 0 at stage level. Metres.
"""
HANG = """\
roll 0: hanging                roll 180: standing

  ====+====  pipe                    ^  beam at tilt 0
   [base ]                           |
     ( )  head                      ( )  head
      |                            [base ]
      v  beam at tilt 0           =========  floor

R = Rz(yaw) Ry(pitch) Rx(roll): roll about x first, then pitch about y, then
yaw about z, each right-handed. Yaw turns the base to the left as seen from
above. Left and right are as the audience sees them.
"""
PAN = """\
Pan of a head that hangs with yaw 0, seen from above; tilt 90, the beam level:

                 pan 0
                   ^  upstage
                   |
     pan 90 <------o------> pan -90
   audience's      |        audience's
      left         v           right
              pan 180, -180

Pan grows to the left as seen from above; a standing head's to the right.
"""
TILT = """\
Tilt of a head that hangs with yaw 0, at pan 0, from the audience's right:

              [base]
                 |
  tilt -90 <-----o-----> tilt 90
   downstage    /|\\        upstage
        tilt -45 | tilt 45
                 v
              tilt 0, straight along the pan axis away from the base
"""
FACES = """\
One place, two ways to light it; > is the same side of the head's yoke:

   face 1: tilt 0 or more        face 2: tilt below 0
   pan P, tilt T                 pan P + 180 (or - 180), tilt -T

       [base]                        [base]
       |( ) >                      < ( )|
           \\                            \\
            \\                            \\
             x  the place                 x  the same place

A head sighted on one face and driven on the other misses by some 25 cm,
because no head is perfect. So the face is recorded with every sighting, and
the head is kept on it unless both were sighted.
"""


def way(direction: np.ndarray) -> str:
    """A direction of the stage frame in a crew's words: one of the six along the axes, else its numbers."""
    x, y, z = (round(float(part), 3) + 0.0 for part in direction)
    return _WAYS.get((x, y, z), f"({x:g}, {y:g}, {z:g})")


def hang_table() -> str:
    """Where the beam goes for the usual ways to mount a head."""
    lines = [f"{'hang':<23}{'mounted':<24}{'tilt 0':<12}pan 0, tilt 90"]
    for text, degrees, mounted in _HANGS:
        stage_from_fixture = rotation_from_hang(*np.radians(degrees))
        ways = [way(stage_from_fixture @ beam_in_fixture(0.0, np.radians(tilt))) for tilt in (0, 90)]
        lines.append(f"{text:<23}{mounted:<24}{ways[0]:<12}{ways[1]}")
    return "\n".join(lines) + "\n"


def turn_table() -> str:
    """Where pan and tilt send the beam of a head that hangs with yaw 0."""
    lines = [f"{'pan':>5}{'tilt':>7}   beam (left and right as the audience sees them)"]
    for pan, tilt in ((0, 0), (0, 90), (90, 90), (-90, 90), (180, 90), (0, -90), (180, -90)):
        lines.append(f"{pan:>5}{tilt:>7}   {way(beam_in_fixture(*np.radians((pan, tilt))))}")
    return "\n".join(lines) + "\n"


_PLACES = ("marks", "marks.NAME.at", "fixtures[].at", "datum", "fixtures.NAME.position")


def drawings_of(path: str) -> list[str]:
    """The drawings that belong to a key, by its path; none for most."""
    name = path.rpartition(".")[2]
    if name in ("hang", "yaw", "pitch", "roll"):
        return [STAGE, HANG, hang_table()]
    if name == "faces":
        return [FACES]
    if path in ("fixtures[].rest", "fixtures[].limits"):
        return [PAN, TILT, turn_table()]
    if path in ("pan", "pan.from", "pan.to", "fixtures[].limits.pan", "sightings[].pan"):
        return [PAN, turn_table()]
    if path in ("tilt", "tilt.from", "tilt.to", "fixtures[].limits.tilt"):
        return [TILT, turn_table()]
    if path == "sightings[].tilt":
        return [TILT, turn_table(), FACES]
    return [STAGE] if path in _PLACES else []
