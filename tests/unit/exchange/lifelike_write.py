"""`lifelike.Life` as a .gdtf, written as programs of different years write it. From memory of the format."""

from __future__ import annotations

import io
import zipfile
from random import Random
from xml.sax.saxutils import quoteattr

from tests.unit.exchange.lifelike import Life, Truth
from tests.unit.exchange.lifelike_parts import Fn, Part, Set

HUMAN = {
    "Iris": "Iris diameter",
    "Frost": "Frost 0-100%",
    "ColorSub_C": "Cyan 0-100%",
    "ColorAdd_R": "Red",
    "Dimmer": "Intensity",
    "Pan": "Pan coarse",
    "Blade": "Blade in",
    "Prism1": "Prism",
    "Shutter1": "Shutter / Strobe",
    "Control1": "Control channel",
    "Gobo1": "Static gobo wheel",
    "Color1": "Color wheel",
}
LEFT_OUT = {("DMXFrom", "0/1"), ("PhysicalFrom", "0.000000"), ("PhysicalTo", "1.000000"), ("OriginalAttribute", "")}
IDENTITY = "{1.000000,0.000000,0.000000,%s}{0.000000,1.000000,0.000000,%s}{0.000000,0.000000,1.000000,%s}{0,0,0,1}"


def gdtf(life: Life) -> bytes:
    """The whole archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        text = description(life)
        text = text.replace("><", ">\r\n<") if "lines" in life.habits else text
        data = text.replace("UTF-8", "UTF-16").encode("utf-16") if "wide" in life.habits else text.encode()
        archive.writestr("Description.xml" if "wide" in life.habits else "description.xml", data)
        archive.writestr("thumbnail.png", b"\x89PNG\r\n")
    return out.getvalue()


def description(life: Life) -> str:
    """description.xml."""
    rng = Random(life.seed + 1)
    modes = "".join(_mode(rng, life, mode) for mode in life.modes)
    wheels = {name: wheel for mode in life.modes for part in mode.parts for name, wheel in part.wheels.items()}
    parts = [
        '<?xml version="1.0" encoding="UTF-8" standalone="no" ?>\n',
        _tag("GDTF", DataVersion=life.version),
        _tag(
            "FixtureType",
            CanHaveChildren="Yes",
            Description="",
            FixtureTypeID="8A3C1F00-0000-4000-8000-0000000000AA",
            LongName=life.name,
            Manufacturer=life.maker,
            Name=life.name,
            RefFT="",
            ShortName="HW",
            Thumbnail="",
        ),
        _attributes(life),
        "<Wheels>" + "".join(_wheel(name, *wheel) for name, wheel in wheels.items()) + "</Wheels>",
        '<PhysicalDescriptions><ColorSpace Mode="sRGB"/><Filters/><Emitters/><CRIs/></PhysicalDescriptions>',
        '<Models><Model File="" Height="0.3" Length="0.3" Name="Base" PrimitiveType="Base" Width="0.3"/></Models>',
        _geometries(life),
        f"<DMXModes>{modes}</DMXModes>",
        '<Revisions><Revision Date="2021-03-04T05:06:07" Text="First" UserID="0"/></Revisions><FTPresets/><Protocols/>',
        "</FixtureType></GDTF>",
    ]
    return "".join(parts)


def _attributes(life: Life) -> str:
    names = sorted({fn.attribute for mode in life.modes for part in mode.parts for fn in part.fns})
    rows = "".join(
        _tag(
            "Attribute",
            ActivationGroup="PanTilt" if name in ("Pan", "Tilt") else "",
            Feature="Control.Control",
            Name=name,
            PhysicalUnit="Angle" if name in ("Pan", "Tilt") else "None",
            Pretty=name[:8],
            close=True,
        )
        for name in names
    )
    return (
        '<AttributeDefinitions><ActivationGroups><ActivationGroup Name="PanTilt"/></ActivationGroups><FeatureGroups>'
        '<FeatureGroup Name="Control" Pretty="Control"><Feature Name="Control"/></FeatureGroup></FeatureGroups>'
        f"<Attributes>{rows}</Attributes></AttributeDefinitions>"
    )


def _wheel(name: str, slots: list[str], open_: str) -> str:
    rows = (
        _tag(
            "Slot",
            Color="0.312700,0.329000,100.000000",
            MediaFileName="" if slot == open_ else f"g{n}",
            Name=slot,
            close=True,
        )
        for n, slot in enumerate(slots)
    )
    return _tag("Wheel", Name=name) + "".join(rows) + "</Wheel>"


def _geometries(life: Life) -> str:
    """One tree for all modes, or, where they differ, one for each with the same names inside."""
    roots = {mode.geometry: mode for mode in life.modes}
    pixel = _tag("Geometry", Model="", Name="Pixel", Position=IDENTITY % (0, 0, 0)) + "</Geometry>"
    arm = _tag("Axis", Model="", Name=life.names[1], Position=IDENTITY % (0, 0, -0.1)) + _head(life, ()) + "</Axis>"
    trees = "".join(_tree(life, mode) for mode in roots.values())
    return f"<Geometries>{trees}{pixel}{arm if life.kind == 'twin' else ''}</Geometries>"


def _tree(life: Life, mode: Truth) -> str:
    base = _tag("Geometry", Model="Base", Name=mode.geometry, Position=IDENTITY % (0, 0, 0))
    if life.kind == "twin":
        return base + _references(life.names[1], "Arm", mode.copies, 0.4) + "</Geometry>"
    yoke = _tag("Axis", Model="", Name=life.names[1], Position=IDENTITY % (0, 0, -0.1))
    return base + yoke + _head(life, mode.copies) + "</Axis></Geometry>"


def _head(life: Life, pixels: tuple[int, ...]) -> str:
    light = _tag(
        "Beam",
        BeamAngle="12.000000",
        BeamRadius="0.050000",
        BeamType="Spot",
        ColorRenderingIndex="100",
        ColorTemperature="6000.000000",
        FieldAngle="14.000000",
        LampType="Discharge",
        LuminousFlux="21000.000000",
        Model="",
        Name=life.names[3],
        Position=IDENTITY % (0, 0, -0.15),
        PowerConsumption="1000.000000",
        close=True,
    )
    head = _tag("Axis", Model="", Name=life.names[2], Position=IDENTITY % (0, 0, -0.25))
    return head + light + _references("Pixel", "Pixel", pixels, 0.02, "two" in life.habits) + "</Axis>"


def _references(target: str, name: str, starts: tuple[int, ...], apart: float, two: bool = False) -> str:
    return "".join(
        _tag("GeometryReference", Geometry=target, Model="", Name=f"{name} {n}", Position=IDENTITY % (apart * n, 0, 0))
        + _tag("Break", DMXBreak="2" if two else "1", DMXOffset=str(start), close=True)
        + "</GeometryReference>"
        for n, start in enumerate(starts, 1)
    )


def _mode(rng: Random, life: Life, mode: Truth) -> str:
    channels = "".join(_channel(rng, life, mode, part) for part in mode.parts)
    relations = "".join(
        _tag(
            "Relation",
            Name=f"Dim {n}",
            Master=_name(part),
            Follower=f"{_name(other)}.{other.attribute}.{other.attribute} 1",
            Type="Multiply",
            close=True,
        )
        for part in mode.parts
        if part.virtual
        for n, other in enumerate(mode.parts)
        if other.attribute.startswith("ColorAdd")
    )
    named = {"Description": ""} if life.version == "1.2" else {}
    return (
        _tag("DMXMode", Geometry=mode.geometry, Name=mode.name, **named)
        + f"<DMXChannels>{channels}</DMXChannels><Relations>{relations}</Relations><FTMacros/></DMXMode>"
    )


def _name(part: Part) -> str:
    return f"{part.geometry}_{part.attribute}"


def _channel(rng: Random, life: Life, mode: Truth, part: Part) -> str:
    new = life.version in ("1.1", "1.2")
    attributes = {"DMXBreak": part.dmx_break, "Geometry": part.geometry}
    attributes["Highlight"] = "None" if part.highlight is None else _value(life, part.highlight, part.size, full=True)
    if life.version == "0.88":
        bytes_ = [*map(str, part.offsets), "", "", "", ""]
        attributes |= dict(zip(("Coarse", "Fine", "Ultra", "Uber"), bytes_, strict=False))
    else:
        attributes["Offset"] = ",".join(map(str, part.offsets)) if part.offsets else rng.choice(["", "None"])
    names = [_called(life, part, n) for n in range(len(part.fns))]
    reached = [n for n, fn in enumerate(part.fns) if fn.start <= part.default and (not n or not fn.master)]
    at = max(reached, default=0)
    default = _value(life, part.default, part.size, full=part.default == 255)
    if not new:
        attributes["Default"] = default
    elif "no initial" not in life.habits or at:
        attributes["InitialFunction"] = f"{_name(part)}.{_logical(life, part, at)}.{names[at]}"
    functions = []
    for n, fn in enumerate(part.fns):
        own = default if n == at else _value(life, fn.start, part.size)
        functions.append((_logical(life, part, n), _function(rng, life, mode, part, fn, names[n], own if new else "")))
    if "shuffled" in life.habits:
        functions = [functions[0], *functions[:0:-1]]
    more = {"DMXChangeTimeLimit": "0.000000"} if new else {}
    return (
        _tag("DMXChannel", **attributes)
        + "".join(
            _tag("LogicalChannel", Attribute=attribute, Master=part.master, MibFade="0.000000", Snap="No", **more)
            + "".join(text for other, text in functions if other == attribute)
            + "</LogicalChannel>"
            for attribute in dict.fromkeys(other for other, _ in functions)
        )
        + "</DMXChannel>"
    )


def _logical(life: Life, part: Part, number: int) -> str:
    return part.fns[number].attribute if "logicals" in life.habits else part.attribute


def _called(life: Life, part: Part, number: int) -> str:
    """A function's name: its own, one of people, or what programs call it."""
    fn = part.fns[number]
    if not fn.name or fn.name == f"{fn.attribute} 1":
        words = next((text for start, text in HUMAN.items() if fn.attribute.startswith(start)), "")
        return words if words and "human" in life.habits else f"{fn.attribute} {number + 1}"
    return fn.name


def _function(rng: Random, life: Life, mode: Truth, part: Part, fn: Fn, name: str, default: str) -> str:
    attributes = {
        "Attribute": fn.attribute,
        "DMXFrom": _value(life, fn.start, part.size),
        "Name": name,
        "OriginalAttribute": "",
        "PhysicalFrom": f"{fn.physical[0]:.6f}",
        "PhysicalTo": f"{fn.physical[1]:.6f}",
        "RealAcceleration": "0.000000",
        "RealFade": f"{fn.fade:.6f}",
    }
    attributes |= {"Default": default} if default else {}
    attributes |= {"Wheel": fn.wheel} if fn.wheel else {}
    attributes |= {"CustomName": "", "Max": "1.000000", "Min": "0.000000"} if default else {}
    if fn.master:
        key, function, low, high = fn.master
        other = next(each for each in mode.parts if each.key == key)
        number = next((n for n, each in enumerate(other.fns) if each.name == function), 0)
        link = f"{_name(other)}.{_logical(life, other, number)}.{function}" if function else _name(other)
        attributes |= {"ModeMaster": link, "ModeFrom": _value(life, low, other.size), "ModeTo": f"{high}/1"}
        if function and rng.random() < 0.3:
            attributes |= {"ModeFrom": "", "ModeTo": ""}
    if "few" in life.habits:
        attributes = {key: value for key, value in attributes.items() if (key, value) not in LEFT_OUT}
    order = fn.sets[::-1] if "shuffled" in life.habits else fn.sets
    sets = "".join(_set(life, part.size, each) for each in order)
    return _tag("ChannelFunction", **attributes) + sets + "</ChannelFunction>"


def _set(life: Life, size: int, each: Set) -> str:
    attributes = {"DMXFrom": _value(life, each.start, size), "Name": each.name, "WheelSlotIndex": str(each.slot)}
    if each.physical:
        attributes |= {"PhysicalFrom": f"{each.physical[0]:.6f}", "PhysicalTo": f"{each.physical[1]:.6f}"}
    return _tag("ChannelSet", close=True, **attributes)


def _value(life: Life, coarse: int, size: int, full: bool = False) -> str:
    """A value from its coarse byte; with `full`, 255 is the largest of all bytes."""
    if size == 1 or coarse == 0 or ("mirrored" in life.habits):
        return f"{coarse}/1"
    if full and coarse == 255:
        return f"{256**size - 1}/{size}"
    return f"{coarse * 256 ** (size - 1)}/{size}"


def _tag(tag: str, close: bool = False, **attributes: str) -> str:
    written = "".join(f" {key}={quoteattr(value)}" for key, value in attributes.items())
    return f"<{tag}{written}{'/' if close else ''}>"
