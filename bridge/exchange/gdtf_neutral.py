"""What a channel that is not ours to move is held at: open, white, steady, nothing happening; and why.

By the file's own evidence: a set whose name says so (the default or the highlight value inside it first), the value
that makers give for full white light (highlight), the end of the physical range that lets the light through, the
default. Where that is thin and the light hangs on it, a question.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from bridge.exchange.gdtf_active import Choice, Span
from bridge.exchange.gdtf_channels import Channel
from bridge.exchange.gdtf_wheels import Wheels
from bridge.exchange.gdtf_words import FIRST_FAMILIES, OPEN_TO, family_of, says_open, says_shut, says_shutter_open

_AS_THE_FILE_HAS_IT = frozenset({"control", "nothing", "mode", "other", "temperature"})
_LIT_BY_HIGHLIGHT = frozenset({"shutter", "iris", "filter", "prism", "frost"})
_SURE_BY_DEFAULT = frozenset({"filter", "prism", "frost", "blade"})
_SHOWN_OPEN = frozenset({"shutter", "iris", "colour wheel", "pattern wheel", "prism", "frost"})
_FADES = frozenset({"iris", "frost", "filter", "blade"})  # a function is called by what it does, not by a state
_SLOWING = frozenset({"positionmspeed", "globalmspeed", "pantiltspeed", "positionspeed"})
_FLASHING = re.compile(r"strob|pulse|random", re.IGNORECASE)
_EFFECTS = re.compile(r"(effects?\d*|macros?\d*|audio|panrotate|tiltrotate)$")
_NAMED = 2  # ranks below it are by the name of a part itself, not by what the file's wheel has there
_NEAR = 0.02  # of a function's raw range


@dataclass
class Neutral:
    """Chooses for one mode. `lit`, `on`: whether any colour of it has a highlight, or a default, above 0: then 0 is
    meant so."""

    wheels: Wheels
    lit: bool = False
    on: bool = False
    at_rest: dict[Channel, Choice] = field(default_factory=dict)

    def choose(self, channel: Channel, spans: list[Span]) -> Choice:
        """The value for a channel whose active parts are `spans`."""
        if channel in self.at_rest:
            return self.at_rest[channel]
        family = main_family(spans)
        if family in ("colour", "uv"):
            return self._colour(channel, spans, family)
        if (
            family in _AS_THE_FILE_HAS_IT
            and channel.default is not None
            and not _wrong_at(channel.default, spans, family)
        ):
            return Choice(channel.default, f"{family}: the file's default")
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
        strong = [each for each in ranked if each[0] < _NAMED]
        ranked = strong or ranked
        for value, text in ((channel.default, "the file's default"), (channel.highlight, "the file's highlight")):
            for _, span in ranked:
                if value is not None and span.has(value):
                    return Choice(value, f"{family}: {text}, in {_shown(span)}")
        span = min(ranked, key=lambda each: each[0])[1]
        return Choice(inside(span, channel), f"{family}: {_shown(span)}")

    def _rank(self, span: Span, family: str) -> int | None:
        """How well a span says that it is the one; lower is better, None for not at all."""
        own = family_of(span.function.attribute)
        if own == family:
            rank = says_open(family, span.called)
            return rank if rank is not None else self.wheels.says_open(family, span)
        if family == "shutter":
            return 3 if own in ("nothing", "effect") and says_shutter_open(span.called) else None
        if family == "iris":
            return None
        if own == "nothing":
            return None if says_shut("control", span.called) else 1
        return 2 if own in ("effect", "control") and says_open(own, span.called) is not None else None

    def _colour(self, channel: Channel, spans: list[Span], family: str) -> Choice:
        if channel.highlight is not None and (channel.highlight or self.lit):
            return Choice(channel.highlight, f"{family}: the file's highlight, for white light")
        if family == "uv" or (self.on and channel.default is not None):
            return Choice(channel.default or 0, f"{family}: the file's default")
        own = [span for span in spans if family_of(span.function.attribute) == family]
        low, high = own[0].function.physical
        first, last = own[0].start, max(span.end for span in own)
        raw = first if low is not None and high is not None and low > high else last
        return Choice(
            raw, f"{family}: full, as all colours are for white light (the file has neither highlight nor default)"
        )


def main_family(spans: list[Span]) -> str:
    """Of all that is active on a channel, what decides."""
    families = {family_of(span.function.attribute) for span in spans}
    return next((family for family in FIRST_FAMILIES if family in families), "other")


def inside(span: Span, channel: Channel) -> int:
    """A value that is surely in a span: the channel's end where it reaches it, else the middle."""
    if span.start == 0:
        return 0
    if span.end == channel.full:
        return channel.full
    return (span.start + span.end) // 2


def _highlighted(channel: Channel, spans: list[Span], family: str) -> Choice | None:
    value = channel.highlight
    if family not in _LIT_BY_HIGHLIGHT or value is None or _wrong_at(value, spans, family):
        return None
    return Choice(value, f"{family}: the file's highlight, for white light")


def _physical(channel: Channel, spans: list[Span], family: str) -> Choice | None:
    """The end of a function without names that lets the light through, unless a default stands against it."""
    for span in spans:
        low, high = span.function.physical
        named = span.set is not None if family in _FADES else True
        if family_of(span.function.attribute) != family or low is None or high is None or (named and span.label):
            continue
        if family not in OPEN_TO or low == high:
            continue
        at_start = low > high if OPEN_TO[family] == "max" else abs(low) < abs(high)
        raw = span.start if at_start else span.end
        default = channel.default
        if default is not None and abs(default - raw) <= _NEAR * (span.end - span.start):
            return Choice(default, f"{family}: the file's default")
        if default is not None and family in _SURE_BY_DEFAULT and span.has(default):
            return Choice(default, f"{family}: the file's default")
        doubt = _doubt(channel, family, raw) if family in _SHOWN_OPEN else ""
        return Choice(raw, f"{family}: where the file has {low if at_start else high:g}", doubt)
    return None


def _default(channel: Channel, spans: list[Span], family: str) -> Choice:
    """What is left: the default, or the first part that is no command where it would be one."""
    value = channel.default if channel.default is not None else 0
    said = "the file's default" if channel.default is not None else "the file has no default"
    wrong = _wrong_at(value, spans, family)
    better = next((span for span in spans if not _wrong(span, family)), None)
    if wrong and better is not None and family in _AS_THE_FILE_HAS_IT:
        return Choice(inside(better, channel), f"{family}: {_shown(better)}, the first part that is no command")
    attributes = [span.function.attribute.casefold() for span in spans]
    doubtful = (
        family in ("shutter", "iris")
        or (wrong and (family in _SHOWN_OPEN or any(map(_FLASHING.search, attributes))))
        or (family == "speed" and any(each in _SLOWING for each in attributes))
        or any(_flashing(span) or _commanding(span) for span in spans if span.has(value))
    )
    return Choice(value, f"{family}: {said}", _doubt(channel, family, value) if doubtful else "")


def _flashing(span: Span) -> bool:
    """A strobe without names whose first value has a rate above 0 already."""
    name, rate = span.function.attribute, span.function.physical[0]
    return not span.called and bool(rate) and _FLASHING.search(name) is not None and family_of(name) == "effect"


def _commanding(span: Span) -> bool:
    """A part whose name is a command, or an effect that turns or colours the beam."""
    attribute, family = span.function.attribute.casefold(), family_of(span.function.attribute)
    if family in ("control", "nothing"):
        off = family == "nothing" and says_open("effect", span.called) is not None
        return says_shut(family, span.called) and not off
    plain = attribute.startswith("color") and says_open("colour wheel", span.label) is not None
    return family == "effect" and bool(span.label) and not plain and _EFFECTS.search(attribute) is not None


def _wrong_at(value: int, spans: list[Span], family: str) -> bool:
    return any(_wrong(span, family) for span in spans if span.has(value))


def _wrong(span: Span, family: str) -> bool:
    """What is surely not wanted: another thing than the channel is held for, or what its name says."""
    own = family_of(span.function.attribute)
    if family in ("shutter", "iris") and own not in (family, "nothing", "other"):
        return True
    return says_shut(own, span.called if own in ("shutter", "control", "nothing") else span.label)


def _doubt(channel: Channel, family: str, value: int) -> str:
    slots = ", ".join(map(str, channel.offsets))
    if family == "speed":
        return (
            f"slot {slots} ({channel.label}): the file does not say where moves are fastest; held at raw {value}: if "
            "the head follows sluggishly, set it in `fixed`"
        )
    if family in ("control", "effect", "nothing"):
        return (
            f"slot {slots} ({channel.label}): the file does not say clearly where nothing happens; held at raw "
            f"{value}: see that the head neither moves nor changes by itself, else set it in `fixed`"
        )
    return (
        f"slot {slots} ({channel.label}): the file does not say clearly where the {family} is open; held at raw "
        f"{value}: see that the head gives full, steady, white light, else set it in `fixed`"
    )


def _shown(span: Span) -> str:
    what = f"'{span.called[:40]}'" if span.called else span.function.attribute[:40]
    return f"the file's {what}, {span.start} to {span.end}"
