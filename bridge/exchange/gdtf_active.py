"""Which functions of a channel are active: mode masters, and the values that select what we need."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bridge.exchange.gdtf_channels import Channel, Function, Set
from bridge.exchange.gdtf_values import dmx_value

DEEPEST_MASTERS = 30
LONGEST_NAME = 80
Copy = tuple[int, ...]
Choose = Callable[[Channel, list["Span"]], "Choice"]


@dataclass(frozen=True)
class Span:
    """Raw values `start` to `end` of a channel: a function, or a part of it that a set names."""

    function: Function
    start: int
    end: int
    set: Set | None = None

    def has(self, raw: int) -> bool:
        """Whether the value lies in it."""
        return self.start <= raw <= self.end

    @property
    def label(self) -> str:
        """The set's name; a function without sets goes by its own, unless that is only its attribute."""
        if self.set is not None:
            return self.set.name[:LONGEST_NAME].strip()
        return "" if self.function.sets else self._of_function

    @property
    def called(self) -> str:
        """As `label`; where a set has no name, the function's."""
        return self.label or self._of_function

    @property
    def _of_function(self) -> str:
        return "" if self.function.unnamed else self.function.name[:LONGEST_NAME].strip()


@dataclass(frozen=True)
class Choice:
    """A raw value and why; `doubt`: a question, where the light may hang on it."""

    raw: int
    why: str
    doubt: str = ""


@dataclass(frozen=True)
class Mastered:
    """A function is active while this channel is held inside `low` .. `high`."""

    channel: Channel
    low: int
    high: int


class Actives:
    """What every channel is held at, and so which functions are active. `choose` picks a value from active spans."""

    def __init__(self, channels: list[Channel], choose: Choose) -> None:
        self.channels, self._choose = channels, choose
        self._names: dict[tuple[str, Copy | None], tuple[Channel, Function | None]] = {}
        for channel in channels:
            self._enter(channel.name, channel, None)
            for function in channel.functions:
                self._enter(f"{channel.name}.{function.logical}.{function.name}", channel, function)
                self._enter(f"{channel.name}.{function.logical}", channel, None)
        for channel in channels:  # some files name a channel by another than its first attribute
            for function in channel.functions:
                self._enter(f"{channel.geometry}_{function.logical}", channel, None)
        self._held: dict[Channel, Choice] = {}
        self._busy: set[Channel] = set()
        self._needed: dict[Channel, tuple[int, int, str]] = {}
        self.notes: list[str] = []

    def held(self, channel: Channel) -> Choice:
        """The value that the channel is held at, within what is needed of it."""
        if channel in self._held:
            return self._held[channel]
        if channel in self._busy or len(self._busy) > DEEPEST_MASTERS:  # a circle of masters
            return Choice(channel.default or 0, "the file's default")
        self._busy.add(channel)
        choice = self._choose(channel, self.spans(channel))
        self._busy.discard(channel)
        if channel in self._needed:
            choice = self._within(channel, choice)
        self._held[channel] = choice
        return choice

    def spans(self, channel: Channel, sets: bool = True) -> list[Span]:
        """What is active on a channel, by raw value; with `sets`, functions are cut at their channel sets."""
        spans = _whole([f for f in channel.functions if self.active(f, channel)], channel.full)
        return [part for span in spans for part in parts_of(span)] if sets else spans

    def active(self, function: Function, channel: Channel) -> bool:
        """Whether its mode master, if it has one, is held where the function counts."""
        mastered = self.mastered(function, channel)
        return mastered is None or mastered.low <= self.held(mastered.channel).raw <= mastered.high

    def mastered(self, function: Function, channel: Channel) -> Mastered | None:
        """What a function hangs on; None for nothing (said, where its link leads nowhere)."""
        if function.master is None:
            return None
        link, low, high = function.master
        found = self._linked(link, channel)
        if found is None:
            self._say(
                f"{channel.name}: mode master '{link[:60]}' is not in this mode: '{function.name[:40]}' counts always"
            )
            return None
        master, part = found
        if part is not None and not low and not high:
            span = next((s for s in _whole(master.functions, master.full) if s.function is part), None)
            return Mastered(master, span.start, span.end) if span else None
        first, last = dmx_value(low or "0/1", master.size), dmx_value(high or "0/1", master.size)
        if first is None or last is None or last < first:
            self._say(
                f"{channel.name}: mode master '{link[:60]}' from '{low[:20]}' to '{high[:20]}' cannot be: left out"
            )
            return None
        return Mastered(master, first, last)

    def need(self, function: Function, channel: Channel, why: str) -> bool:
        """Hold the function's master where it is active. False where that cannot be."""
        mastered = self.mastered(function, channel)
        if mastered is None or self.active(function, channel):
            if mastered is not None:  # as it is, and to stay so
                self._needed.setdefault(mastered.channel, (mastered.low, mastered.high, ""))
            return True
        low, high, _ = self._needed.get(mastered.channel, (0, mastered.channel.full, ""))
        low, high = max(low, mastered.low), min(high, mastered.high)
        if low > high or not mastered.channel.offsets:
            return False
        self._needed[mastered.channel] = (low, high, why)
        self._held.clear()
        return self.active(function, channel)

    def forget(self) -> None:
        """Choose anew, after what is known has changed."""
        self._held.clear()

    def masters_of(self, functions: Iterable[tuple[Function, Channel]]) -> set[Channel]:
        """The channels on which these hang."""
        return {m.channel for f, c in functions if (m := self.mastered(f, c)) is not None}

    def _within(self, channel: Channel, choice: Choice) -> Choice:
        low, high, why = self._needed[channel]
        if low <= choice.raw <= high or not why:
            return choice
        parts = [s for s in self.spans(channel) if s.start <= high and s.end >= low]
        inside = [Span(s.function, max(s.start, low), min(s.end, high), s.set) for s in parts]
        raw = self._choose(channel, inside).raw if inside else low
        if not low <= raw <= high:
            raw = (low + high) // 2
        return Choice(raw, f"{why} (the file's mode master, {low} to {high})", choice.doubt)

    def _enter(self, name: str, channel: Channel, function: Function | None) -> None:
        key = name.casefold()
        self._names.setdefault((key, _copy(channel)), (channel, function))
        self._names.setdefault((key, None), (channel, function))

    def _linked(self, link: str, asking: Channel) -> tuple[Channel, Function | None] | None:
        """What a link means: in the same copy of a geometry, else in one that it is a part of, else anywhere."""
        whole, copy = link.casefold(), _copy(asking)
        copies = [copy[:length] for length in range(len(copy), -1, -1)]
        for name in (whole, whole.partition(".")[0]):
            for key in (*((name, each) for each in copies), (name, None)):
                if key in self._names:
                    return self._names[key]
        return None

    def _say(self, text: str) -> None:
        if len(self.notes) < 20 and text not in self.notes:
            self.notes.append(text)


def _copy(channel: Channel) -> Copy:
    """Which copy of a geometry that is referred to the channel is of: the references on the way."""
    return tuple(map(id, channel.instance.references)) if channel.instance else ()


def _whole(functions: list[Function], full: int) -> list[Span]:
    """Functions by raw value, each up to the next one's start."""
    starts = sorted({f.start for f in functions})
    ends = {start: after - 1 for start, after in zip(starts, [*starts[1:], full + 1], strict=bool(starts))}
    return [Span(f, f.start, ends[f.start]) for f in sorted(functions, key=lambda f: f.start)]


def parts_of(span: Span) -> list[Span]:
    """A function's span cut at its sets; what lies before the first set has none."""
    sets = [each for each in span.function.sets if span.has(each.start)]
    if not sets:
        return [span]
    out = [Span(span.function, span.start, sets[0].start - 1)] if sets[0].start > span.start else []
    for index, each in enumerate(sets):
        end = sets[index + 1].start - 1 if index + 1 < len(sets) else span.end
        if end >= each.start:
            out.append(Span(span.function, each.start, end, each))
    return out
