"""Small .gdtf files made by tests: DIN SPEC 15800 from memory, an invented maker, nothing of a real one.

build_gdtf([Mode("16 bit", [*PAN_TILT, Channel("5", [Function("Dimmer")])])])
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import quoteattr

UNTURNED = "{1,0,0,0}{0,1,0,0}{0,0,1,0}{0,0,0,1}"
GEOMETRIES = """
<Geometry Name="Base" Position="{1,0,0,0}{0,1,0,0}{0,0,1,0}{0,0,0,1}">
 <Axis Name="Yoke" Position="{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}{0,0,0,1}">
  <Axis Name="Head" Position="{1,0,0,0}{0,1,0,0}{0,0,1,-0.3}{0,0,0,1}">
   <Beam Name="Beam" Position="{1,0,0,0}{0,1,0,0}{0,0,1,-0.15}{0,0,0,1}"
    BeamAngle="25" FieldAngle="28" BeamRadius="0.07" BeamType="Spot" LampType="LED" LuminousFlux="12000"/>
  </Axis>
 </Axis>
</Geometry>"""


@dataclass(frozen=True)
class Set:
    """A ChannelSet. `slot` is the wheel slot, from 1; `more` further attributes."""

    name: str
    start: str
    slot: int | None = None
    more: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Function:
    """A ChannelFunction. With `apart` it begins a LogicalChannel of its own; `more`: ModeMaster, RealFade, Wheel ..."""

    attribute: str
    start: str = "0/1"
    physical: tuple[float | str, float | str] = (0, 1)
    default: str = "0/1"
    name: str = ""
    sets: Sequence[Set] = ()
    more: Mapping[str, str] = field(default_factory=dict)
    apart: bool = False


@dataclass(frozen=True)
class Channel:
    """A DMXChannel. `offset` as the file has it: "1,2", "None"; `more`: InitialFunction, the old Default ..."""

    offset: str
    functions: Sequence[Function]
    geometry: str = "Beam"
    highlight: str = "None"
    dmx_break: str = "1"
    more: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Mode:
    """A DMXMode; `geometry` is the root of its tree."""

    name: str
    channels: Sequence[Channel]
    geometry: str = "Base"


PAN = Function("Pan", physical=(-270, 270), default="32768/2")
TILT = Function("Tilt", physical=(-135, 135), default="32768/2")
PAN_TILT = (Channel("1,2", [PAN], "Yoke"), Channel("3,4", [TILT], "Head"))
DIMMER = Channel("5,6", [Function("Dimmer")], highlight="255/1")
SHUTTER_SETS = (Set("Closed", "0/1"), Set("Open", "32/1"))
SHUTTER = Channel(
    "7", [Function("Shutter1", sets=SHUTTER_SETS, default="32/1"), Function("Shutter1Strobe", "64/1", (1, 20))]
)
ZOOM = Channel("8,9", [Function("Zoom", physical=(50, 5))])
FOCUS = Channel("10,11", [Function("Focus1")])
USUAL = (*PAN_TILT, DIMMER, SHUTTER, ZOOM, FOCUS)
"""A whole small spot: pan 1,2; tilt 3,4; dimmer 5,6; shutter 7 (open 32..63); zoom 8,9; focus 10,11."""


def build_gdtf(
    modes: Sequence[Mode] = (Mode("Standard", USUAL),),
    name: str = "Spot 12",
    maker: str = "Harbour Works",
    geometries: str = GEOMETRIES,
    wheels: str = "",
    member: str = "description.xml",
    more: str = "",
    files: Mapping[str, bytes] | None = None,
) -> bytes:
    """The octets of a .gdtf file. `wheels`, `geometries` and `more` (collections behind Geometries) are XML."""
    return packed(description(modes, name, maker, geometries, wheels, more), member, files)


def packed(xml: str | bytes, member: str = "description.xml", files: Mapping[str, bytes] | None = None) -> bytes:
    """An archive with this description and further files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(member, xml)
        for path, data in (files or {}).items():
            archive.writestr(path, data)
    return out.getvalue()


def description(
    modes: Sequence[Mode],
    name: str = "Spot 12",
    maker: str = "Harbour Works",
    geometries: str = GEOMETRIES,
    wheels: str = "",
    more: str = "",
) -> str:
    """The description.xml."""
    head = _tag("FixtureType", Name=name, ShortName=name[:4], LongName=name, Manufacturer=maker, Description="")
    attributes = "".join(
        f"<Attribute{_attributes({'Name': each, 'Pretty': each})}/>" for each in sorted(_attributes_of(modes))
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<GDTF DataVersion="1.2">{head}'
        f"<AttributeDefinitions><Attributes>{attributes}</Attributes></AttributeDefinitions>"
        f"<Wheels>{wheels}</Wheels><Geometries>{geometries}</Geometries>{more}"
        f"<DMXModes>{''.join(map(_mode, modes))}</DMXModes></FixtureType></GDTF>"
    )


def wheel(name: str, slots: Sequence[str], media: Sequence[str] = (), colours: Sequence[str] = ()) -> str:
    """A Wheel with slots of these names, and pictures and CIE colours where they are not empty."""
    out = [_tag("Wheel", Name=name)]
    for index, slot in enumerate(slots):
        extra = {"MediaFileName": media[index]} if index < len(media) and media[index] else {}
        extra |= {"Color": colours[index]} if index < len(colours) and colours[index] else {}
        out.append(f"<Slot{_attributes({'Name': slot, **extra})}/>")
    return "".join([*out, "</Wheel>"])


def _attributes_of(modes: Sequence[Mode]) -> set[str]:
    return {function.attribute for mode in modes for channel in mode.channels for function in channel.functions}


def _mode(mode: Mode) -> str:
    channels = "".join(map(_channel, mode.channels))
    return f"{_tag('DMXMode', Name=mode.name, Geometry=mode.geometry)}<DMXChannels>{channels}</DMXChannels></DMXMode>"


def _channel(channel: Channel) -> str:
    attributes = {
        "DMXBreak": channel.dmx_break,
        "Offset": channel.offset,
        "Highlight": channel.highlight,
        "Geometry": channel.geometry,
        **channel.more,
    }
    out = [f"<DMXChannel{_attributes(attributes)}>"]
    for index, function in enumerate(channel.functions):
        if index == 0 or function.apart:
            out.append("</LogicalChannel>" if index else "")
            out.append(_tag("LogicalChannel", Attribute=function.attribute, Snap="No", Master="None"))
        out.append(_function(function))
    return "".join([*out, "</LogicalChannel>" if channel.functions else "", "</DMXChannel>"])


def _function(function: Function) -> str:
    attributes = {"Name": function.name} if function.name else {}
    attributes |= {
        "Attribute": function.attribute,
        "DMXFrom": function.start,
        "Default": function.default,
        "PhysicalFrom": str(function.physical[0]),
        "PhysicalTo": str(function.physical[1]),
        **function.more,
    }
    return f"<ChannelFunction{_attributes(attributes)}>{''.join(map(_set, function.sets))}</ChannelFunction>"


def _set(one: Set) -> str:
    slot = {} if one.slot is None else {"WheelSlotIndex": str(one.slot)}
    return f"<ChannelSet{_attributes({'Name': one.name, 'DMXFrom': one.start, **slot, **one.more})}/>"


def _tag(tag: str, **attributes: str) -> str:
    return f"<{tag}{_attributes(attributes)}>"


def _attributes(attributes: Mapping[str, str]) -> str:
    return "".join(f" {key}={quoteattr(value)}" for key, value in attributes.items())
