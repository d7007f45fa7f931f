"""One mode of a GDTF file as a profile: its parts put together, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bridge.exchange import gdtf_physical as physical
from bridge.exchange.gdtf_actions import actions_of
from bridge.exchange.gdtf_active import Actives
from bridge.exchange.gdtf_channels import Channel, channels_of
from bridge.exchange.gdtf_dimmer import at_rest, dimmer_of
from bridge.exchange.gdtf_fixed import check_apart, fixed_of, footprint_of, more_breaks, say_beyond, say_fine
from bridge.exchange.gdtf_geometry import YOKES, Head, read_head
from bridge.exchange.gdtf_neutral import Neutral
from bridge.exchange.gdtf_ours import Moved, Sayings, optional, pan_and_tilt
from bridge.exchange.gdtf_plain import plain
from bridge.exchange.gdtf_range import axis_range
from bridge.exchange.gdtf_wheels import Wheels
from bridge.exchange.gdtf_words import family_of
from bridge.exchange.xml_tree import Element

Turn = tuple[int, float]
SIGNS = (
    "which way pan and tilt turn is in no GDTF file: the first sightings show it. If the beam goes the other way, swap "
    "`from` and `to` of that axis in the profile"
)
FOCUS = "focus against distance is in no GDTF file: make the spot sharp at three distances and enter focus.table"


@dataclass
class Made:
    """A profile's document and all that is said of it. `head` is its geometry.

    `unfit`: why no head can be driven so, as it has no dimmer, or one that would strobe; the rest is read all the same.
    """

    document: dict[str, Any]
    said: Sayings
    head: Head
    confirm: list[str] = field(default_factory=list)
    dmx_break: int = 1
    more_breaks: tuple[tuple[int, int], ...] = ()
    unfit: str = ""


@dataclass(frozen=True)
class Wanted:
    """`name` of the profile; `invert` of pan and tilt. `drawn`: its fixtures have rotations of a drawing, and its zero
    of pan is that of the file's geometry; else it is part of the pose that a solve finds."""

    name: str
    invert: tuple[bool, bool] = (False, False)
    drawn: bool = True


def make_profile(fixture_type: Element, mode: Element, wanted: Wanted) -> Made:
    """Raises gdtf_ours.Missing where it can be none, with why."""
    said = Sayings()
    channels, said.notes = channels_of(fixture_type, mode)
    neutral = Neutral(Wheels(fixture_type), *_lit(channels))
    actives = Actives(channels, neutral.choose)
    pan, tilt = pan_and_tilt(actives, said)
    dimmer, unfit = dimmer_of(actives, pan.channel, tilt.channel, said)
    zoom = optional(actives, "zoom", pan.channel, tilt.channel, said)
    focus = optional(actives, "focus", pan.channel, tilt.channel, said)
    moved = {"pan": pan, "tilt": tilt, "dimmer": dimmer, "zoom": zoom, "focus": focus}
    ours = {each: found.channel for each, found in moved.items() if found is not None}
    check_apart(ours)
    neutral.at_rest = at_rest(actives, dimmer.channel, said) if dimmer is not None else {}
    actives.forget()
    head = read_head(fixture_type, mode)
    dmx_break = pan.channel.dmx_break
    made = Made({}, said, head, ["pan", "tilt"], dmx_break, more_breaks(channels, dmx_break), unfit)
    made.document = _document(made, actives, moved, ours, wanted)
    _say_live_masters(actives, moved, ours, said)
    _say_curves(moved, said)
    say_fine(channels, ours, said)
    say_beyond(channels, dmx_break, said)
    said.notes += actives.notes
    return made


def _document(
    made: Made,
    actives: Actives,
    moved: dict[str, Moved | None],
    ours: dict[str, Channel],
    wanted: Wanted,
) -> dict[str, Any]:
    said, head = made.said, made.head
    footprint = footprint_of(actives.channels, made.dmx_break)
    out: dict[str, Any] = {"name": wanted.name, "footprint": footprint}
    out["channels"] = {each: list(channel.offsets) for each, channel in ours.items()}
    out["fixed"] = fixed_of(actives, ours, footprint, said)
    turns = _turns(head, wanted.drawn, said)
    for axis, turn, inverted in zip(("pan", "tilt"), turns, wanted.invert, strict=True):
        out[axis] = _axis(axis, moved, actives, turn, inverted, said)
    _add_zoom(out, made, moved["zoom"])
    if "focus" in ours:
        said.ask(FOCUS)
        made.confirm.append("focus")
    actions = actions_of(actives, list(ours.values()), said)
    if actions:
        out["actions"] = actions
    if any(head.axes_at):
        out["axes_at"] = [round(float(each), 9) for each in head.axes_at]
    said.questions[:0] = [SIGNS]
    said.why |= {path: text for path, text in head.why.items() if path not in said.why}
    several = any("channels are pan" in text or "channels are tilt" in text for text in said.questions)
    for text in head.questions:
        if not (several and YOKES in text):  # asked once, by the channels
            said.ask(text)
    for text in head.notes:
        said.note(text)
    return out


def _turns(head: Head, drawn: bool, said: Sayings) -> tuple[Turn, Turn]:
    """(sign, offset in degrees) that make the file's pan and tilt ours; where that is not exact, `head` asks."""
    pan, tilt = (head.pan_sign, head.pan_offset_deg), (head.tilt_sign, head.tilt_offset_deg)
    if drawn:
        return pan, tilt
    if tilt[0] < 0:  # (pan, tilt) is (pan + 180, -tilt)
        pan, tilt = (pan[0], pan[1] + 180.0), (1, -tilt[1])
    if pan[1]:
        said.note(
            f"by the file's geometry pan 0 is turned by {pan[1]:g} degrees on its base; a solve finds that anyway"
        )
    return (pan[0], 0.0), tilt


def _axis(
    name: str, moved: dict[str, Moved | None], actives: Actives, turn: Turn, inverted: bool, said: Sayings
) -> dict[str, Any]:
    """{from, to, speed?, acceleration?}: the file's degrees as they stand, unless its geometry turns them."""
    axis = moved[name]
    assert axis is not None
    first, last = axis_range(name, axis, actives.spans(axis.channel, sets=False), said)
    written = f"the file's PhysicalFrom {first:g} and PhysicalTo {last:g}, as they stand"
    if turn != (1, 0.0):
        first, last = (round(turn[0] * each + turn[1], 9) for each in (first, last))
        written += f"; by its geometry {first:g} to {last:g}"
    if inverted:
        first, last = last, first
        written += f"; the other way round, since the drawing inverts {name}"
    out: dict[str, Any] = {"from": float(first), "to": float(last)}
    motion = physical.read_motion(name, plain(name, axis, Sayings()))
    if motion.speed is not None:
        out["speed"] = motion.speed
    if motion.acceleration is not None:
        out["acceleration"] = motion.acceleration
    for text in motion.questions:
        said.ask(text)
    parts = [said.why.get(name, ""), written, motion.why]
    said.why[name] = "; ".join(part for part in parts if part)
    return out


def _add_zoom(out: dict[str, Any], made: Made, zoom: Moved | None) -> None:
    said = made.said
    found = physical.read_zoom(None if zoom is None else plain("zoom", zoom, said), made.head)
    if found.document is not None:
        out["zoom"] = dict(found.document)
    elif zoom is not None and "zoom" not in said.why:
        said.why["zoom"] = "the file gives no angles: held at 0 until there is a table"
    for path, text in found.why.items():
        said.why[path] = "; ".join(part for part in (said.why.get(path, ""), text) if part)
    made.confirm += found.confirm
    for text in found.questions:
        said.ask(text)
    for text in found.notes:
        said.note(text)


def _lit(channels: list[Channel]) -> tuple[bool, bool]:
    """Whether highlight values, and defaults, of colours are in use."""
    colours = [c for c in channels if any(family_of(f.attribute) == "colour" for f in c.functions)]
    return any(c.highlight for c in colours), any(c.default for c in colours)


def _say_curves(moved: dict[str, Moved | None], said: Sayings) -> None:
    """A DMXProfile bends what is else a straight line from PhysicalFrom to PhysicalTo."""
    for name, each in moved.items():
        curve = each.spans[0].function.element.get("DMXProfile") if each is not None and name != "focus" else ""
        if curve and curve.casefold() not in ("none", "linear"):
            said.ask(f"{name}: the file bends it by a curve ('{curve[:40]}'), which is not taken: a straight line is")


def _say_live_masters(
    actives: Actives, moved: dict[str, Moved | None], ours: dict[str, Channel], said: Sayings
) -> None:
    for name, each in moved.items():
        if each is None:
            continue
        for master in actives.masters_of((span.function, each.channel) for span in each.spans):
            owner = next((other for other, channel in ours.items() if channel is master), None)
            if owner is not None and owner != name:
                said.ask(f"{name} counts only at some values of {owner}, which moves: try it before heads follow")
