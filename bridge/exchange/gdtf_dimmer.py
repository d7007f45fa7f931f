"""The dimmer of a head in a GDTF mode: which of several, what becomes of the others, and whether a level drives it."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from bridge.exchange.gdtf_active import Actives, Choice, Span
from bridge.exchange.gdtf_channels import Channel
from bridge.exchange.gdtf_ours import Missing, Moved, Sayings, having, moved, related
from bridge.exchange.gdtf_values import LAST_SLOT
from bridge.exchange.gdtf_words import family_of, flashes, says_dark, says_open

MOST_SHOWN = 24
LITTLE = 0.02  # of a channel
HARMLESS = frozenset({"nothing", "other", "mode", "dimmer"})


class Found(NamedTuple):
    """The dimmer, where there is one; `unfit`: why a level from 0 to 1 cannot be sent to it, "" where it can."""

    moved: Moved | None
    unfit: str = ""


def dimmer_of(actives: Actives, pan: Channel, tilt: Channel, said: Sayings) -> Found:
    """The channel that dims the whole head."""
    try:
        dimmer = _chosen(actives, pan, tilt, said)
    except Missing as missing:
        return Found(None, str(missing))
    return Found(dimmer, _unfit(dimmer, actives, said))


def _chosen(actives: Actives, pan: Channel, tilt: Channel, said: Sayings) -> Moved:
    """Raises Missing."""
    found = having(actives.channels, "dimmer")
    here = [
        c for c in found if c.offsets and not c.broken and c.dmx_break == pan.dmx_break and max(c.offsets) <= LAST_SLOT
    ]
    if not here:
        raise Missing(_why_none(found, pan))
    near = [c for c in here if related(c, tilt) or related(c, pan)] or here
    parts = Counter(id(at) for c in near if c.instance is not None for at in c.instance.above())
    chosen = min(near, key=lambda c: (not c.grand, -parts[id(c.instance)]))  # of equal ones the first
    return moved(actives, "dimmer", chosen, said)


def at_rest(actives: Actives, dimmer: Channel, said: Sayings) -> dict[Channel, Choice]:
    """What the other dimmers of the mode are held at: full where they are in line with ours, else dark."""
    out: dict[Channel, Choice] = {}
    for channel in having(actives.channels, "dimmer"):
        if channel is dimmer or not channel.offsets or channel.dmx_break != dimmer.dmx_break:
            continue
        if related(channel, dimmer):
            lit = channel.highlight or channel.full
            out[channel] = Choice(lit, "dimmer in line with the one that is moved: full")
        else:
            out[channel] = Choice(0, "dimmer of a light beside the one that is moved: dark")
    dark = [channel for channel in out if out[channel].raw == 0]
    twice = [channel for channel in out if channel.instance is dimmer.instance]
    if dark:
        alike = any(channel.geometry == dimmer.geometry for channel in dark)
        none = "no dimmer of the mode is for the whole fixture: " if alike else ""
        said.ask(
            f"{none}only {dimmer.label} is moved; {_several(dark)} held dark: where that is a part of the same light, "
            "set 255 in `fixed`"
        )
    if twice:
        said.ask(
            f"{_several(twice)} held full, being of the same part as the dimmer that is moved: see that level 0 is "
            "dark; a fine byte belongs into channels.dimmer"
        )
    return out


def _several(channels: list[Channel]) -> str:
    """`the dimmer of Ring (slot 6) is`, `2 dimmers (slot 24, slot 28) are`."""
    slots = ", ".join(f"slot {channel.offsets[0]}" for channel in channels[:MOST_SHOWN])
    slots += " ..." if len(channels) > MOST_SHOWN else ""
    if len(channels) == 1:
        return f"the other dimmer, {channels[0].label} ({slots}), is"
    return f"{len(channels)} other dimmers, {channels[0].label} first ({slots}), are"


def _why_none(found: list[Channel], pan: Channel) -> str:
    if not found:
        return "the mode has no dimmer channel, and a head that follows must be dimmed"
    broken = next((c.broken for c in found if c.broken), "")
    if broken:
        return f"dimmer: found {broken}"
    away = next((c for c in found if c.offsets and c.dmx_break != pan.dmx_break), None)
    if away is not None:
        return (
            f"the dimmer is in DMX break {away.dmx_break} and pan in break {pan.dmx_break}, which have addresses of "
            "their own; a profile has one: choose a mode with all in one"
        )
    if any(c.offsets for c in found):
        return "the dimmer's offset is beyond a universe"
    return "the dimmer is virtual: it has no slot, and the desk makes it from the colours; choose a mode with a dimmer"


def _unfit(dimmer: Moved, actives: Actives, said: Sayings) -> str:
    """A level is sent as raw 0 to full: nothing else may lie on that way that flashes, and 0 must be dark."""
    low, high = dimmer.spans[0].function.physical
    if low is not None and high is not None and low > high:
        return f"the dimmer runs the other way ({low:g} at raw 0 to {high:g}): 0 would be full light"
    own = [span.function for span in dimmer.spans]
    full = dimmer.channel.full
    others = [s for s in actives.spans(dimmer.channel) if s.function not in own]
    start, end = min(s.start for s in dimmer.spans), max(s.end for s in dimmer.spans)
    bad = [span for span in others if not _harmless(span, start, end)]
    if bad:
        names = ", ".join(sorted({(s.label or s.function.name or s.function.attribute)[:30] for s in bad})[:4])
        return (
            f"the dimmer shares its channel with other things ({names}): it is raw {start} to {end} of 0 to {full}, "
            "and a level that runs through the whole channel would set them off; choose a mode with a dimmer of its own"
        )
    if start > 0 or end < full:
        text = (
            f"the dimmer is raw {start} to {end} of its channel's 0 to {full}: a level runs through the whole channel, "
            "so the lowest levels are dark and the highest are full"
        )
        if start + full - end > full * LITTLE:
            said.ask(f"{text}; is that good enough?")
        else:
            said.note(text)
    return ""


def _harmless(span: Span, start: int, end: int) -> bool:
    family = family_of(span.function.attribute)
    if family in (*HARMLESS, "shutter") and span.end < start and says_dark(span.called):
        return True  # closed below the dimmer
    if family == "shutter":
        return span.start > end and says_open("shutter", span.called) is not None
    return family in HARMLESS and not flashes(span.called)
