"""The sentences about what looks wrong and what could not be solved, as a person reads them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.solve.mounts import BASE_AXIS, OTHER_WAY_UP
from bridge.solve.result import (
    Lifted,
    Misread,
    Moved,
    OffTruss,
    OtherMount,
    OtherTruss,
    ProfileFault,
    Reordered,
    Resized,
    SharedRange,
    Suspect,
    Taped,
    Unexplained,
)
from bridge.solve.survey_words import survey_words
from bridge.solve.truss_words import crossed_words, off_truss_words, other_truss_words

MOUNT_WORDS = {
    OTHER_WAY_UP: "standing instead of hanging, or the other way round",
    "pitch 90": "on its side (pitch 90)",
    "pitch -90": "on its side (pitch -90)",
    "roll 90": "on its side (roll 90)",
    "roll -90": "on its side (roll -90)",
    BASE_AXIS: "turned about the axis of its base",
}
SAME_TRAVEL = 0.005  # a factor this near to -1 is a plain reversal


def suspect_words(s: Suspect) -> str:
    """The sentence for one suspect: who, what, by how much, and what to do about it."""
    text = _of_rig(s) if s.fixture is None else _of_head(s)
    if s.rivals:
        named = [_short(each) for each in (s, *s.rivals)]
        if s.one_of_several:
            return f"{text} ({s.fixture}: more than one of these is wrong: {', '.join(named)}; sight them all again)"
        short = " or ".join(named)
        text += f" ({s.fixture}: something is wrong and {len(named)} explanations fit ({short}); sight these again)"
    return f"{s.fixture}: more than one thing is wrong; first {text}" if s.one_of_several else text


def _of_rig(s: Suspect) -> str:
    match s.detail:
        case OtherTruss():
            return other_truss_words(s, s.detail)
        case Moved(said, seen) if said is not None:
            seems = "seems to be" if s.sure else "or another mark may be"
            return (
                f"mark {s.mark} {seems} mis-surveyed by {_cm(s.misfit)}: the sightings put it at"
                f" ({seen[0]:.2f}, {seen[1]:.2f}), stage.yaml says ({said[0]:.2f}, {said[1]:.2f}); measure it again"
            )
        case Reordered():
            return _reordered(s, s.detail)
        case Misread() | Lifted() | Taped() | Resized() | SharedRange():
            return survey_words(s)
        case _:
            return (
                "every pan runs the other way than its profile says (exchange pan from and to in the profile, or switch"
                " pan invert off at the heads); or the marks are labelled as in a mirror"
            )


def _reordered(s: Suspect, order: Reordered) -> str:
    told = ", ".join(f"{label} is really {really}" for label, really in order.pairs)
    if order.turned_off is not None:
        return (
            f"all marks seem to have been taken from the opposite corner ({told}): as labelled, fixtures are"
            f" {s.misfit:.1f} m from their places in rig.yaml, turned round {order.turned_off:.1f} m"
        )
    if order.turned:
        return f"all marks seem to have been taken from another corner: {told}"
    if len(order.pairs) == 2:
        pair = f"{s.mark} and {s.instead}"
        return f"marks {pair} are exchanged for all fixtures: their labels on the floor or in stage.yaml"
    return f"the marks were taken in another order by all fixtures, or every pan runs the other way: {told}"


def _of_head(s: Suspect) -> str:
    match s.detail:
        case OffTruss():
            return off_truss_words(s, s.detail)
        case ProfileFault():
            return f"{s.fixture}: {_profile(s.detail)}"
        case OtherMount(mount):
            return (
                f"{s.fixture}: does not fit its hang, but fits when taken as {MOUNT_WORDS[mount]}, or one of its three"
                " sightings is wrong: correct hang in rig.yaml, or sight a fourth mark"
            )
        case Moved(said, (x, y, z)) if said is not None:
            return (
                f"{s.fixture}: {s.misfit:.1f} m from its place in rig.yaml, at ({x:.2f}, {y:.2f}, {z:.2f}); correct"
                " `at`, or is it another unit that answers to its address?"
            )
        case Moved(_, (x, y, z)):
            return (
                f"{s.fixture}: its position in rig.yaml does not fit the sightings, which put it at"
                f" ({x:.2f}, {y:.2f}, {z:.2f}); correct `at`, or give a larger at_sigma"
            )
        case Unexplained(every=True):
            return (
                f"{s.fixture}: its sightings contradict each other in more than two places (up to {_cm(s.misfit)}):"
                " put the beam on every mark again and record; if that does not help, is its profile right?"
            )
        case Unexplained():
            return f"{s.fixture}: its sightings do not fit one pose, worst at {s.mark} ({_cm(s.misfit)})"
    if s.kind == "patch":
        return crossed_words(s)
    if s.kind == "hang":
        return f"{s.fixture}: its base is not as level as hang.sigma says; correct hang, or give a larger sigma"
    if s.kind == "swap":
        cm = _cm(s.misfit)
        return f"{s.fixture}: the sightings at {s.mark} and {s.instead} fit when exchanged ({cm} off as they are)"
    off = f"{s.fixture} at {s.mark} {'is' if s.sure else 'may be'} {_cm(s.misfit)} off"
    if s.kind == "wrong-mark":
        return f"{off} and fits mark {s.instead}: was it {s.instead} that was sighted?"
    return f"{off}: put the beam on {s.mark} again and record"


def _profile(fault: ProfileFault) -> str:
    pan, tilt, factor = fault.pan_travel, fault.tilt_travel, fault.factor
    if fault.term == "pan" and factor < 0:
        ends = "exchange pan from and to in its profile, or switch pan invert off at the head"
        if abs(factor + 1) < SAME_TRAVEL:
            return f"pan runs the other way than its profile says: {ends}"
        return f"pan runs the other way and over {pan * -factor:.0f} deg, not the {pan:.0f} deg of its profile: {ends}"
    if fault.term == "pan":
        return f"pan seems to run over {pan * factor:.0f} deg, not the {pan:.0f} deg of its profile"
    if fault.term == "tilt":
        return f"tilt seems to run over {tilt * factor:.0f} deg, not the {tilt:.0f} deg of its profile"
    if fault.term == "unit":
        return (
            f"pan and tilt seem to be in another unit or mode: {factor:.4g} degrees for each one of the profile"
            f" ({pan * factor:.0f} and {tilt * factor:.0f} deg of travel)"
        )
    return f"tilt zero seems to be {np.degrees(factor):.1f} deg from where its profile has it: check tilt from and to"


def _short(s: Suspect) -> str:
    """A suspect in a list of rivals."""
    if s.kind in ("sighting", "wrong-mark"):
        return f"the sighting at {s.mark}"
    if s.kind == "swap":
        return f"{s.mark} and {s.instead} exchanged"
    return {"hang": "its hang", "position": "its position in the plot"}.get(s.kind, "its profile")


def _cm(metres: float) -> str:
    return f"{metres * 100:.0f} cm"


def unsolved_words(name: str, marks: Sequence[str], fits: bool) -> str:
    """Why a head has no pose, and what would fix it. `fits`: its sightings at `marks` fit, but do not hold it."""
    if len(marks) <= 1:
        seen = f"only mark {marks[0]}" if marks else "no mark"
        return f"{name}: {seen} was sighted; sight a second mark, far from the first, better four more"
    if not fits and len(marks) > 2:
        return (
            f"{name}: sightings at {', '.join(marks)} fit no place above the floor; does pan or tilt run the other way"
            " than its profile says, or are its hang or tilt zero wrong?"
        )
    if not fits:
        return (
            f"{name}: sightings at {', '.join(marks)} do not fit its hang (pitch, roll) in rig.yaml; correct hang,"
            " or sight a third mark, which tells what is wrong"
        )
    return (
        f"{name}: sightings at {', '.join(marks)} do not fix its pose; sight another mark, well off the line through"
        " these, or measure how level its base is (hang.sigma) or where it hangs (at, at_sigma)"
    )


def nothing_solved_words(reasons: Sequence[str], most: int = 6) -> str:
    """One line for each reason, after the verdict."""
    rest = [f"... and {len(reasons) - most} more fixtures"] if len(reasons) > most else []
    return "no fixture could be solved:\n" + "\n".join([*reasons[:most], *rest])


def some(names: Sequence[str], most: int = 8) -> str:
    """Names in a sentence, the first few of many."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
