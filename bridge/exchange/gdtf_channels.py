"""The DMX channels of a mode of a GDTF file as they lie in its slots: functions, sets, values in raw."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from bridge.exchange.gdtf_instances import Instance, instances_of
from bridge.exchange.gdtf_values import break_of, dmx_value, full_scale, offsets_of
from bridge.exchange.xml_tree import Element

MOST_CHANNELS = 20_000
VIRTUAL_SIZE = 4


@dataclass(eq=False)
class Set:
    """A ChannelSet: its name, raw start, wheel slot from 1, and its physical values where it has its own."""

    name: str
    start: int
    slot: int | None
    physical: tuple[float | None, float | None]


@dataclass(eq=False)
class Function:
    """A ChannelFunction. `start`: raw; where it ends depends on which others are active (`gdtf_active`).

    `master`: (link, ModeFrom, ModeTo) as written, or None. `physical`: None where missing or broken.
    """

    attribute: str
    logical: str
    name: str
    start: int
    physical: tuple[float | None, float | None]
    default: int | None
    sets: tuple[Set, ...]
    master: tuple[str, str, str] | None
    wheel: str
    element: Element

    @property
    def unnamed(self) -> bool:
        """Its name says no more than its attribute."""
        return re.sub(r"[\s\d_]+", "", self.name).casefold() == re.sub(r"[\s\d_]+", "", self.attribute).casefold()


@dataclass(eq=False)
class Channel:
    """A DMXChannel where it lies. `name` as links have it; `offsets` coarse first, () for a virtual one.

    `default`: of its initial function, None where the file has none; `highlight` likewise. `broken`: what is wrong
    with its offsets. `grand`: a LogicalChannel whose Master is Grand.
    """

    name: str
    geometry: str
    instance: Instance | None
    dmx_break: int
    offsets: tuple[int, ...]
    functions: list[Function] = field(default_factory=list)
    default: int | None = None
    highlight: int | None = None
    grand: bool = False
    broken: str = ""

    @property
    def size(self) -> int:
        """Bytes."""
        return len(self.offsets) or VIRTUAL_SIZE

    @property
    def full(self) -> int:
        """The largest raw value."""
        return full_scale(self.size)

    @property
    def label(self) -> str:
        """For people."""
        where = self.instance.label if self.instance is not None else self.geometry
        attribute = self.functions[0].logical if self.functions else ""
        return f"{attribute or 'without attribute'} of {where or 'no geometry'}"[:80]


def channels_of(fixture_type: Element, mode: Element) -> tuple[list[Channel], list[str]]:
    """All channels of a mode, those of geometries that are referred to once for each reference; and notes."""
    instances = instances_of(fixture_type, mode)
    out: list[Channel] = []
    notes: list[str] = []
    for element in mode.below("DMXChannels", "DMXChannel"):
        where: list[Instance | None] = [*instances.get(element.get("Geometry"), ())]
        for instance in where or [None]:
            if len(out) >= MOST_CHANNELS:
                notes.append(f"found more than {MOST_CHANNELS} channels: the rest is not read")
                return out, notes
            out.append(_channel(element, instance, notes))
    return out, notes


def _channel(element: Element, instance: Instance | None, notes: list[str]) -> Channel:
    dmx_break, offsets, broken = break_of(element.get("DMXBreak")), offsets_of(element), ""
    shift = 0
    if instance is not None:
        dmx_break, shift = instance.placed(dmx_break)
    if offsets is None:
        broken = f"offsets '{element.get('Offset')[:40]}', expected whole numbers from 1, each once"
    logicals = list(element.all("LogicalChannel"))
    first = logicals[0].get("Attribute") if logicals else ""
    channel = Channel(
        name=f"{element.get('Geometry')}_{_last(first)}",
        geometry=element.get("Geometry"),
        instance=instance,
        dmx_break=dmx_break or 1,
        offsets=tuple(offset + shift for offset in offsets or ()),
        grand=any(logical.get("Master") == "Grand" for logical in logicals),
        broken=broken,
    )
    if max(channel.offsets, default=0) > 100_000:
        channel.broken, channel.offsets = f"offset {max(channel.offsets)}, which no universe has", ()
    channel.functions = list(_functions(logicals, channel, notes))
    channel.default = _default(element, channel)
    channel.highlight = dmx_value(element.get("Highlight"), channel.size)
    return channel


def _functions(logicals: list[Element], channel: Channel, notes: list[str]) -> Iterator[Function]:
    for logical in logicals:
        elements = list(logical.all("ChannelFunction")) or [logical]  # without one, the attribute is known at least
        for number, element in enumerate(elements, 1):
            attribute = _last(element.get("Attribute")) or _last(logical.get("Attribute"))
            start = dmx_value(element.get("DMXFrom") or "0/1", channel.size)
            if start is None:
                _say(notes, f"{channel.name}: a function begins at '{element.get('DMXFrom')[:20]}': left out")
                continue
            link = "" if element.get("ModeMaster") == "None" else element.get("ModeMaster")
            yield Function(
                attribute=attribute,
                logical=_last(logical.get("Attribute")),
                name=element.get("Name") or f"{attribute} {number}",
                start=start,
                physical=_physical(element),
                default=dmx_value(element.get("Default"), channel.size),
                sets=_sets(element, channel.size),
                master=(link, element.get("ModeFrom"), element.get("ModeTo")) if link else None,
                wheel=element.get("Wheel"),
                element=element,
            )


def _physical(function: Element) -> tuple[float | None, float | None]:
    """From and to as written. A missing PhysicalFrom beside a PhysicalTo is the standard's 0 (DIN SPEC 15800)."""
    low, high = function.number("PhysicalFrom"), function.number("PhysicalTo")
    return 0.0 if high is not None and not function.get("PhysicalFrom") else low, high


def _sets(function: Element, size: int) -> tuple[Set, ...]:
    out = []
    for element in function.all("ChannelSet"):
        start = dmx_value(element.get("DMXFrom") or "0/1", size)
        if start is not None:
            slot = element.get("WheelSlotIndex")
            out.append(
                Set(
                    name=element.get("Name"),
                    start=start,
                    slot=int(slot) if re.fullmatch(r"[1-9]\d{0,4}", slot, re.ASCII) else None,
                    physical=(element.number("PhysicalFrom"), element.number("PhysicalTo")),
                )
            )
    return tuple(sorted(out, key=lambda each: each.start))


def _default(element: Element, channel: Channel) -> int | None:
    """The initial function's, else the channel's own as old files have it, else the first function's."""
    wanted = element.get("InitialFunction").casefold()
    for function in channel.functions if wanted else ():
        if f".{wanted}".endswith((f".{function.name}".casefold(),)):
            return function.default
    old = dmx_value(element.get("Default"), channel.size)
    if old is not None:
        return old
    return channel.functions[0].default if channel.functions else None


def _last(link: str) -> str:
    """An attribute's name; some files write the link with its collection."""
    return link.rpartition(".")[2]


def _say(notes: list[str], text: str) -> None:
    if len(notes) < 20 and text not in notes:
        notes.append(text)
