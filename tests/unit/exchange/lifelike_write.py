"""`lifelike.Life` as a .gdtf, written as programs of different years write it. From memory of the format."""

from __future__ import annotations

import io
import zipfile
from random import Random
from xml.sax.saxutils import quoteattr

from tests.unit.exchange.lifelike import Life, Truth
from tests.unit.exchange.lifelike_parts import Fn, Part

IDENTITY = "{1.000000,0.000000,0.000000,%s}{0.000000,1.000000,0.000000,%s}{0.000000,0.000000,1.000000,%s}{0,0,0,1}"


def gdtf(life: Life) -> bytes:
    """The whole archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("description.xml", description(life))
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
    return head + light + _references("Pixel", "Pixel", pixels, 0.02) + "</Axis>"


def _references(target: str, name: str, starts: tuple[int, ...], apart: float) -> str:
    return "".join(
        _tag("GeometryReference", Geometry=target, Model="", Name=f"{name} {n}", Position=IDENTITY % (apart * n, 0, 0))
        + _tag("Break", DMXBreak="1", DMXOffset=str(start), close=True)
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
    highlight = "None" if part.highlight is None else _value(rng, part.highlight, part.size, full=True)
    attributes["Highlight"] = highlight
    if life.version == "0.88":
        attributes |= dict(
            zip(("Coarse", "Fine", "Ultra", "Uber"), [*map(str, part.offsets), "", "", "", ""], strict=False)
        )
    else:
        attributes["Offset"] = ",".join(map(str, part.offsets)) if part.offsets else rng.choice(["", "None"])
    names = [fn.name or f"{fn.attribute} {n}" for n, fn in enumerate(part.fns, 1)]
    at = max(
        (
            n
            for n, fn in enumerate(part.fns)
            if (fn.start <= part.default and not n) or (fn.start <= part.default and not fn.master)
        ),
        default=0,
    )
    default = _value(rng, part.default, part.size, full=part.default == 255)
    if new:
        attributes["InitialFunction"] = f"{_name(part)}.{part.attribute}.{names[at]}"
    else:
        attributes["Default"] = default
    logical = {"Attribute": part.attribute, "Master": part.master, "MibFade": "0.000000", "Snap": "No"}
    logical |= {"DMXChangeTimeLimit": "0.000000"} if new else {}
    functions = "".join(
        _function(rng, mode, part, fn, name, (default if n == at else _value(rng, fn.start, part.size)) if new else "")
        for n, (fn, name) in enumerate(zip(part.fns, names, strict=True))
    )
    return (
        _tag("DMXChannel", **attributes)
        + _tag("LogicalChannel", **logical)
        + functions
        + "</LogicalChannel></DMXChannel>"
    )


def _function(rng: Random, mode: Truth, part: Part, fn: Fn, name: str, default: str) -> str:
    attributes = {
        "Attribute": fn.attribute,
        "DMXFrom": _value(rng, fn.start, part.size),
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
        link = f"{_name(other)}.{other.attribute}.{function}" if function else _name(other)
        attributes |= {"ModeMaster": link, "ModeFrom": _value(rng, low, other.size), "ModeTo": f"{high}/1"}
    sets = "".join(
        _tag(
            "ChannelSet",
            DMXFrom=_value(rng, each.start, part.size),
            Name=each.name,
            WheelSlotIndex=str(each.slot),
            **(
                {"PhysicalFrom": f"{each.physical[0]:.6f}", "PhysicalTo": f"{each.physical[1]:.6f}"}
                if each.physical
                else {}
            ),
            close=True,
        )
        for each in fn.sets
    )
    return _tag("ChannelFunction", **attributes) + sets + "</ChannelFunction>"


def _value(rng: Random, coarse: int, size: int, full: bool = False) -> str:
    """A value from its coarse byte; with `full`, 255 is the largest of all bytes."""
    if size == 1 or coarse == 0:
        return f"{coarse}/{rng.choice([1, size])}"
    if full and coarse == 255:
        return f"{256**size - 1}/{size}"
    return f"{coarse * 256 ** (size - 1)}/{size}"


def _tag(tag: str, close: bool = False, **attributes: str) -> str:
    written = "".join(f" {key}={quoteattr(value)}" for key, value in attributes.items())
    return f"<{tag}{written}{'/' if close else ''}>"
