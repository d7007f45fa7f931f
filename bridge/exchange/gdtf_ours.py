"""Which channels of a GDTF mode are ours to move: pan, tilt, zoom, focus; the dimmer is in `gdtf_dimmer`."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NamedTuple

from bridge.exchange.gdtf_active import Actives, Span
from bridge.exchange.gdtf_channels import Channel, Function
from bridge.exchange.gdtf_values import LAST_SLOT

MOST_BYTES = 4  # of a channel of ours
ATTRIBUTES = {
    "pan": (r"pan\d*",),
    "tilt": (r"tilt\d*",),
    "dimmer": (r"dimmer\d*",),
    "zoom": (r"zoom\d*", r"zoommode(spot|beam)"),
    "focus": (r"focus\d*",),
}


class Missing(Exception):
    """The mode cannot be a profile; the text says why."""


class Moved(NamedTuple):
    """A channel of ours: the spans of its function, by raw value, as they are active."""

    channel: Channel
    spans: list[Span]


@dataclass
class Sayings:
    """What is said of a mode on the way."""

    questions: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    why: dict[str, str] = field(default_factory=dict)

    def ask(self, text: str) -> None:
        """A question, once."""
        if text not in self.questions:
            self.questions.append(text)

    def note(self, text: str) -> None:
        """A note, once."""
        if text not in self.notes:
            self.notes.append(text)


def having(channels: list[Channel], name: str) -> list[Channel]:
    """The channels with a function of ours of this name, in order; the first of its attributes that is used."""
    for pattern in ATTRIBUTES[name]:
        found = [channel for channel in channels if any(_is(f, pattern) for f in channel.functions)]
        if found:
            return found
    return []


def pan_and_tilt(actives: Actives, said: Sayings) -> tuple[Moved, Moved]:
    """The first pan, and the tilt that belongs to it. Raises Missing."""
    pans, tilts = _driven(actives.channels, "pan"), _driven(actives.channels, "tilt")
    pan = pans[0]
    tilt = next((each for each in tilts if related(each, pan) and each.dmx_break == pan.dmx_break), tilts[0])
    if tilt.dmx_break != pan.dmx_break:
        raise Missing(
            f"pan is in DMX break {pan.dmx_break} and tilt in break {tilt.dmx_break}, which have addresses of their "
            "own; a profile has one"
        )
    for name, channels, taken in (("pan", pans, pan), ("tilt", tilts, tilt)):
        if len(channels) > 1:
            said.ask(
                f"{len(channels)} channels are {name} (of {_list(channels)}): the one of {_where(taken)} is taken, and "
                "the others are held; is it the head that is to follow?"
            )
    return moved(actives, "pan", pan, said), moved(actives, "tilt", tilt, said)


def optional(actives: Actives, name: str, pan: Channel, tilt: Channel, said: Sayings) -> Moved | None:
    """Zoom or focus of this head; None where it has none that we can move, which is said."""
    found = [c for c in having(actives.channels, name) if c.offsets and not c.broken and c.dmx_break == pan.dmx_break]
    near = [c for c in found if related(c, tilt) or related(c, pan)] or found
    usable = [c for c in near if max(c.offsets) <= LAST_SLOT and c is not pan and c is not tilt]
    if not usable:
        if near or any(c.broken or c.offsets for c in having(actives.channels, name)):
            said.ask(f"{name}: the file has a channel of it at a place that cannot be taken: it is held, not moved")
        return None
    if len(usable) > 1:
        said.ask(
            f"{len(usable)} channels are {name} (of {_list(usable)}): the one of {_where(usable[0])} is moved, the "
            "others are held at what the file has for them"
        )
    try:
        return moved(actives, name, usable[0], said)
    except Missing as missing:
        said.ask(f"{name}: {missing}; it is held, not moved")
        return None


def moved(actives: Actives, name: str, channel: Channel, said: Sayings) -> Moved:
    """The channel with its function as it is active; its mode master is held where it is. Raises Missing."""
    if len(channel.offsets) > MOST_BYTES:
        raise Missing(f"{name} has {len(channel.offsets)} bytes; {MOST_BYTES} can be sent")
    if max(channel.offsets) > LAST_SLOT:
        raise Missing(f"{name} is at offset {max(channel.offsets)}, beyond a universe")
    wanted = next(p for p in ATTRIBUTES[name] if any(_is(f, p) for f in channel.functions))
    functions = [f for f in channel.functions if _is(f, wanted)]
    active = [f for f in functions if actives.active(f, channel)]
    chosen = (active or functions)[0]
    if not actives.need(chosen, channel, f"so that {name} is '{chosen.name[:40]}'"):
        raise Missing(
            f"{name} ('{chosen.name[:40]}') counts only in a setting that cannot be held together with others"
        )
    spans = [s for s in actives.spans(channel, sets=False) if _is(s.function, wanted) and s.end >= s.start]
    others = [f for f in functions if f.master is not None]
    if not spans:
        raise Missing(f"{name}: its function has no raw values of its own")
    if len(functions) > 1 and others:
        mastered = actives.mastered(chosen, channel)
        held = f" at {actives.held(mastered.channel).raw} on {mastered.channel.label}" if mastered else ""
        said.why[name] = f"'{chosen.name[:40]}', one of {len(functions)} functions by mode master: active{held}"
    return Moved(channel, spans)


def related(one: Channel, other: Channel) -> bool:
    """One's geometry is the other's, or a part of it."""
    if one.instance is None or other.instance is None:
        return False
    return one.instance.hangs_from(other.instance) or other.instance.hangs_from(one.instance)


def _driven(channels: list[Channel], name: str) -> list[Channel]:
    """The channels of an axis that have slots. Raises Missing."""
    found = having(channels, name)
    usable = [channel for channel in found if channel.offsets and not channel.broken]
    if usable:
        return usable
    if not found:
        raise Missing(f"the mode has no {name} channel: it is no moving head, or a stub of a file")
    broken = next((channel.broken for channel in found if channel.broken), "")
    raise Missing(f"{name}: found {broken}" if broken else f"the {name} channel is virtual: it has no slot")


def _is(function: Function, pattern: str) -> bool:
    return re.fullmatch(pattern, function.attribute.strip().casefold()) is not None


def _where(channel: Channel) -> str:
    return channel.instance.label[:40] if channel.instance is not None else channel.geometry[:40]


def _list(channels: list[Channel], most: int = 6) -> str:
    return ", ".join(map(_where, channels[:most])) + (" ..." if len(channels) > most else "")
