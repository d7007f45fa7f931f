"""The sentences about what the whole survey, its tapes and its profiles share."""

from __future__ import annotations

import math

from bridge.solve.readings import FEET, METRES, MIRROR, REVERSED, TURN
from bridge.solve.result import Misread

MIRRORED = {
    "x": "left and right exchanged (x with the wrong sign, or measured from the other side)",
    "y": "front and back exchanged (y with the wrong sign, or measured from the other end)",
    "x and y exchanged": "x and y exchanged",
    "": "left and right, front and back, or x and y exchanged",
}
READINGS = {
    MIRROR: "the marks in stage.yaml seem to be as in a mirror",
    REVERSED: "every pan runs the other way than its profile says (exchange pan from and to in the profile, or switch"
    " pan invert off at the heads)",
    FEET: "the marks in stage.yaml seem to be in feet, read as metres: multiply them by 0.3048",
    METRES: "the marks in stage.yaml seem to be metres that were converted from feet: divide them by 0.3048",
    TURN: "the whole survey seems to be turned by a corner",
}


def misread_words(what: Misread) -> str:
    """The sentence for another reading of the whole survey."""
    text = READINGS[what.reading]
    if what.reading == MIRROR:
        text += f": {MIRRORED[what.name]}"
    elif what.reading == FEET and what.name == "stage":
        text += ", and the performance polygon with them"
    elif what.reading == TURN and what.name:
        text += f" ({what.name} degrees): in rig.yaml and stage.yaml x and y do not run the same way"
    if what.pairs:
        text += f" (or labelled so: {', '.join(f'{a} is really {b}' for a, b in what.pairs)})"
    text += "".join(f"; or {READINGS[rival]}" for rival in what.rivals)
    if math.isfinite(what.off):
        text += f"; as it stands, fixtures are {what.off:.1f} m from their places in rig.yaml"
        text += f", so read {what.off_then:.1f} m"
    return f"{text}; correct it and solve again"
