"""The sentences about what the whole survey, its tapes and its profiles share."""

from __future__ import annotations

import math

from bridge.solve.readings import FEET, METRES, MIRROR, REVERSED, TURN
from bridge.solve.result import Lifted, Misread, Resized, SharedRange, Suspect, Taped

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


def survey_words(s: Suspect) -> str:
    """The sentence for a suspect of the whole rig that this file knows."""
    match s.detail:
        case Misread():
            return _misread(s.detail)
        case Lifted(said, seen):
            seems = "seems to be" if s.sure else "may be"
            return (
                f"mark {s.mark} {seems} at another height: the sightings put it at z {seen:.2f}, stage.yaml says"
                f" {said:.2f}; does it lie on a riser?"
            )
        case Taped(said, seen):
            seems = "seems to be" if s.sure else "may be"
            return (
                f"the tape between {s.mark} and {s.instead} {seems} wrong by {s.misfit * 100:.0f} cm: stage.yaml says"
                f" {said:.2f} m, everything else {seen:.2f} m; measure it again"
            )
        case SharedRange():
            return _shared_range(s.detail, s.sure)
        case Resized():
            return _resized(s.detail)
    raise TypeError(f"no sentence for {s.detail!r}")


def _shared_range(what: SharedRange, sure: bool) -> str:
    seem = "turn" if sure else "may turn"
    if abs(what.factor + 1) < 0.005:
        return (
            f"all {what.heads} of type {what.profile} {what.axis} the other way than their profile says: exchange"
            f" {what.axis} from and to in the profile, or switch {what.axis} invert off at the heads"
        )
    travel = what.travel * abs(what.factor)
    way = " the other way and" if what.factor < 0 else ""
    return (
        f"all {what.heads} of type {what.profile} {seem}{way} {travel:.0f} degrees of {what.axis}, not"
        f" {what.travel:g}: correct {what.axis} in that profile and record their sightings again"
        " (the degrees recorded so far are those of the old profile)"
    )


def _resized(what: Resized) -> str:
    percent, which = abs(what.scale - 1) * 100, "near each other" if what.scale > 1 else "far apart"
    size = f"{percent:.1f} %"
    if what.by == "tapes":
        text = "the scale of the survey and of the tapes differs: by the tapes, marks in stage.yaml are"
        text += f" {size} too {which}"
        return (
            text
            + {
                "survey": "; the plot agrees with the tapes: the survey seems stretched, measure the marks again",
                "tapes": "; the plot agrees with the marks: the tapes seem stretched, measure them again",
                "": "; one of the two was stretched and nothing else decides: measure one long distance again",
            }[what.wrong]
        )
    text = "the scale of the survey is in doubt: by the positions of heads in rig.yaml, marks are"
    text += f" {size} too {which}"
    ask = "the marks or the plot" if not what.taped else "the plot, or marks and tapes together,"
    return f"{text}; {ask} seem stretched: measure one long distance again"


def _misread(what: Misread) -> str:
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
