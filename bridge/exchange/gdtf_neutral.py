"""What a channel that is not ours to move is held at: open, white, steady, nothing happening; and why.

The file's own evidence, in this order: a set whose name says so (the default or highlight value inside it first), the
value that makers give for full white light (highlight), the end of the physical range that lets the light through, and
the default.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from bridge.exchange.gdtf_active import Choice, Span
from bridge.exchange.gdtf_channels import Channel
from bridge.exchange.gdtf_wheels import Wheels
from bridge.exchange.gdtf_words import FIRST_FAMILIES, OPEN_TO, family_of, says_open, says_shut

_LIT_BY_HIGHLIGHT = frozenset({"shutter", "iris", "filter", "prism", "frost"})
_NEAR = 0.02  # of a function's physical range


@dataclass
class Neutral:
    """Chooses for one mode. `lit`: whether any colour of the mode has a highlight above 0, so that 0 means none."""

    wheels: Wheels
    lit: bool = False
    at_rest: dict[Channel, Choice] = field(default_factory=dict)

    def choose(self, channel: Channel, spans: list[Span]) -> Choice:
        """The value for a channel whose active parts are `spans`."""
        if channel in self.at_rest:
            return self.at_rest[channel]
        family = main_family(spans)
        if family in ("colour", "uv"):
            return self._colour(channel, spans, family)
        return (
            self._named(channel, spans, family)
            or _highlighted(channel, spans, family)
            or _physical(channel, spans, family)
            or _default(channel, spans, family)
        )

    def _named(self, channel: Channel, spans: list[Span], family: str) -> Choice | None:
        ranked = [(rank, span) for span in spans if (rank := self._rank(span, family)) is not None]
        if not ranked:
            return None
        for value, text in ((channel.default, "the file's default"), (channel.highlight, "the file's highlight")):
            for _, span in ranked:
                if value is not None and span.has(value):
                    return Choice(value, f"{family}: {text}, in {_shown(span)}")
        span = min(ranked, key=lambda each: each[0])[1]
        return Choice(inside(span, channel), f"{family}: {_shown(span)}")

    def _rank(self, span: Span, family: str) -> int | None:
        own = family_of(span.function.attribute)
        if own == family:
            rank = says_open(family, span.label)
            if rank is None and span.set is not None and not says_open_elsewhere(span):
                rank = self.wheels.says_open(family, span)
            return rank
        if own == "nothing" and family not in ("shutter", "iris", "colour", "uv"):
            return None if says_shut("control", span.label) else 1
        if (
            own in ("effect", "control")
            and says_open(own, span.label) is not None
            and family not in ("shutter", "iris")
        ):
            return 2
        return None

    def _colour(self, channel: Channel, spans: list[Span], family: str) -> Choice:
        if channel.highlight is not None and (channel.highlight or self.lit):
            return Choice(channel.highlight, f"{family}: the file's highlight, for white light")
        if family == "uv":
            return Choice(channel.default or 0, "ultraviolet: the file's default")
        own = [span for span in spans if family_of(span.function.attribute) == family]
        first, last = own[0].start, max(span.end for span in own)
        low, high = own[0].function.physical
        raw = first if low is not None and high is not None and low > high else last
        return Choice(raw, f"{family}: full, as all colours are for white light (the file has no highlight)")


def says_open_elsewhere(span: Span) -> bool:
    """Another set of the function says by name that it is the open one."""
    family = family_of(span.function.attribute)
    return any(says_open(family, each.name) is not None for each in span.function.sets)


def main_family(spans: list[Span]) -> str:
    """Of all that is active on a channel, what decides."""
    families = {family_of(span.function.attribute) for span in spans}
    return next((family for family in FIRST_FAMILIES if family in families), "other")


def inside(span: Span, channel: Channel) -> int:
    """A value that is surely in a span: the channel's or the function's end where it reaches it, else the middle."""
    if span.start == 0:
        return 0
    if span.end == channel.full:
        return channel.full
    return (span.start + span.end) // 2


def _highlighted(channel: Channel, spans: list[Span], family: str) -> Choice | None:
    value = channel.highlight
    if family not in _LIT_BY_HIGHLIGHT or value is None:
        return None
    at = [span for span in spans if span.has(value)]
    if not at or any(_wrong(span, family) for span in at):
        return None
    return Choice(value, f"{family}: the file's highlight, for white light")


def _physical(channel: Channel, spans: list[Span], family: str) -> Choice | None:
    """The end of a function without names that lets the light through; the default, where it does so already."""
    end = OPEN_TO.get(family)
    for span in spans:
        low, high = span.function.physical
        if end is None or family_of(span.function.attribute) != family or span.label or low is None or high is None:
            continue
        if low == high:
            continue
        at_start = low > high if end == "max" else abs(low) < abs(high)
        raw = span.start if at_start else span.end
        near = abs((channel.default or 0) - raw) <= _NEAR * max(span.end - span.start, 1)
        value = channel.default or 0 if near and span.has(channel.default or 0) else raw
        says = "the file's default" if near else f"where the file has {low if at_start else high:g}"
        doubt = "" if near or family in ("filter", "blade") else _doubt(channel, family, value)
        return Choice(value, f"{family}: {says}", doubt)
    return None


def _default(channel: Channel, spans: list[Span], family: str) -> Choice:
    value = channel.default if channel.default is not None else 0
    said = "the file's default" if channel.default is not None else "the file has no default"
    if any(_wrong(span, family) for span in spans if span.has(value)):
        better = next((span for span in spans if not _wrong(span, family)), None)
        if better is not None and family in ("control", "nothing"):
            return Choice(inside(better, channel), f"{family}: the first part without a command")
        return Choice(value, f"{family}: {said}", _doubt(channel, family, value))
    slow = family == "speed" and any(s.function.attribute.casefold() in _SLOWING for s in spans)
    doubtful = family in ("shutter", "iris") or slow
    return Choice(value, f"{family}: {said}", _doubt(channel, family, value) if doubtful else "")


_SLOWING = frozenset({"positionmspeed", "globalmspeed", "pantiltspeed", "positionspeed"})


def _wrong(span: Span, family: str) -> bool:
    own = family_of(span.function.attribute)
    if family in ("shutter", "iris") and own not in (family, "nothing", "other"):
        return True
    return says_shut(own, span.label)


def _doubt(channel: Channel, family: str, value: int) -> str:
    slots = ", ".join(map(str, channel.offsets))
    if family == "speed":
        return (
            f"slot {slots} ({channel.label}): the file does not say where moves are fastest; held at raw {value}: if "
            "the head follows sluggishly, set it in `fixed`"
        )
    return (
        f"slot {slots} ({channel.label}): the file does not say clearly where the {family} is open; held at raw "
        f"{value}: see that the head gives full, steady, white light, else set it in `fixed`"
    )


def _shown(span: Span) -> str:
    name = span.label.strip()[:40]
    what = f"'{name}'" if name else f"{span.function.attribute[:40]}"
    return f"the file's {what}, {span.start} to {span.end}"
