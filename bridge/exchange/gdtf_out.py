"""A profile as a small whole GDTF (DIN SPEC 15800), so that an MVR of ours is complete for a visualiser.

Pan, tilt, dimmer, zoom and focus with all their bytes, `from` larger than `to` kept; every other slot as a channel
without a feature whose default is what the bridge holds there. Shapes are primitives: to be seen, not to be admired.
Lumen are an estimate from the candela. `actions` and the focus table have no place in it that other programs read.
"""

from __future__ import annotations

import math
import re
import uuid
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement

import numpy as np

from bridge.exchange.gdtf_candela import GAUSSIAN, TENTH, Flux
from bridge.exchange.writing import number_text, plain, xml_octets, zip_octets
from bridge.rig.profile import Axis, Profile, ZoomTable

MAKER, MODE = "Tetherlight", "Standard"
NAMESPACE = uuid.UUID("5e7c1c5e-1d0b-4b57-9a34-7b1f0f6a2c11")  # of this program's own ids
_ATTRIBUTES = {  # of our channels: attribute, pretty name, feature, unit, the geometry that it moves
    "pan": ("Pan", "P", "Position.PanTilt", "Angle", "Yoke"),
    "tilt": ("Tilt", "T", "Position.PanTilt", "Angle", "Head"),
    "dimmer": ("Dimmer", "Dim", "Dimmer.Dimmer", "LuminousIntensity", "Beam"),
    "zoom": ("Zoom", "Zoom", "Focus.Focus", "Angle", "Beam"),
    "focus": ("Focus1", "Focus1", "Focus.Focus", "None", "Beam"),
}
_NO_FEATURE = ("NoFeature", "NoFeature", "Control.Control", "None", "Base")
_FEATURES = {"Dimmer": "Dimmer", "Position": "PanTilt", "Focus": "Focus", "Control": "Control"}
_MODELS = {"Base": (0.3, 0.3, 0.15), "Yoke": (0.35, 0.12, 0.35), "Head": (0.25, 0.25, 0.4)}  # length, width, height, m
_LENS_RADIUS_M = 0.06


def gdtf_of(profile: Profile) -> bytes:
    """The archive: one fixture type with one mode, MODE."""
    return zip_octets({"description.xml": xml_octets(_document(profile))})


def type_name(profile: Profile) -> str:
    """Its name in the characters that the standard allows in one."""
    found = re.sub(r"[^A-Za-z0-9 #%()*+\-/:;=@_]+", " ", profile.name)
    return " ".join(found.split()) or "head"


def _document(profile: Profile) -> Element:
    root = Element("GDTF", DataVersion="1.2")
    name = type_name(profile)
    made = uuid.uuid5(NAMESPACE, repr(profile))
    kind = SubElement(
        root, "FixtureType", Name=name, ShortName=name[:30], LongName=plain(profile.name), Manufacturer=MAKER,
        Description="One mode, as the bridge drives it", FixtureTypeID=str(made).upper(), Thumbnail="", RefFT="",
        CanHaveChildren="No",
    )  # fmt: skip
    _attributes(SubElement(kind, "AttributeDefinitions"))
    SubElement(kind, "Wheels")
    SubElement(kind, "PhysicalDescriptions")
    models = SubElement(kind, "Models")
    for model, (length, width, height) in _MODELS.items():
        size = {"Length": str(length), "Width": str(width), "Height": str(height)}
        SubElement(models, "Model", {"Name": model, **size, "PrimitiveType": model, "File": ""})
    _geometries(SubElement(kind, "Geometries"), profile)
    mode = SubElement(SubElement(kind, "DMXModes"), "DMXMode", Name=MODE, Geometry="Base", Description="")
    _channels(SubElement(mode, "DMXChannels"), profile)
    SubElement(mode, "Relations")
    SubElement(mode, "FTMacros")
    return root


def _attributes(definitions: Element) -> None:
    groups = SubElement(definitions, "ActivationGroups")
    SubElement(groups, "ActivationGroup", Name="PanTilt")
    features = SubElement(definitions, "FeatureGroups")
    for group, feature in _FEATURES.items():
        SubElement(SubElement(features, "FeatureGroup", Name=group, Pretty=group), "Feature", Name=feature)
    attributes = SubElement(definitions, "Attributes")
    for name, pretty, feature, unit, _ in (*_ATTRIBUTES.values(), _NO_FEATURE):
        together = {"ActivationGroup": "PanTilt"} if name in ("Pan", "Tilt") else {}
        SubElement(
            attributes, "Attribute", {"Name": name, "Pretty": pretty, **together, "Feature": feature,
                                      "PhysicalUnit": unit},
        )  # fmt: skip


def _geometries(geometries: Element, profile: Profile) -> None:
    """The base at the origin; pan turns about z through axes_at's x and y, tilt about x at the whole of it."""
    x, y, z = profile.axes_at
    base = SubElement(geometries, "Geometry", Name="Base", Model="Base", Position=_moved(0, 0, 0))
    yoke = SubElement(base, "Axis", Name="Yoke", Model="Yoke", Position=_moved(x, y, 0))
    head = SubElement(yoke, "Axis", Name="Head", Model="Head", Position=_moved(0, 0, z))
    SubElement(
        head, "Beam", {"Name": "Beam", "Position": _moved(0, 0, 0), **_beam(profile),
                       "BeamRadius": str(_LENS_RADIUS_M), "BeamType": "Spot" if profile.focus else "Wash"},
    )  # fmt: skip


def _beam(profile: Profile) -> dict[str, str]:
    """Beam and field angle of the narrowest zoom as a Gaussian has them, and lumen by the candela of the widest."""
    if profile.zoom is None:
        return {}
    rows, of_field = sorted(profile.zoom.rows, key=lambda row: row[1]), TENTH ** (1 / GAUSSIAN)
    _, narrow, _ = rows[0]
    beam, field = (narrow / of_field, narrow) if profile.zoom.edge == "field" else (narrow, narrow * of_field)
    out = {"BeamAngle": number_text(beam), "FieldAngle": number_text(min(field, 180.0))}
    _, wide, candela = rows[-1]
    if candela is not None:
        out["LuminousFlux"] = number_text(round(candela / Flux(1.0).candela(wide, profile.zoom.edge), 1))
    return out


def _moved(x: float, y: float, z: float) -> str:
    """A place without a turn, as GDTF writes it: the fourth number of each row."""
    rows = np.eye(4)
    rows[:3, 3] = x, y, z
    return "".join("{" + ",".join(number_text(part) for part in row) + "}" for row in rows)


def _channels(channels: Element, profile: Profile) -> None:
    owned = {offset for offsets in profile.channels.values() for offset in offsets}
    ours = [(offsets, name) for name, offsets in profile.channels.items()]
    others = [((slot,), "") for slot in range(1, profile.footprint + 1) if slot not in owned]
    for offsets, name in sorted([*ours, *others]):
        if name:
            made = _channel(channels, offsets, _ATTRIBUTES[name], _ends(profile, name), _default(profile, name))
            if name == "dimmer":
                _dimmer_part(channels[-1][0], made, profile)
            if name == "zoom":
                _zoom_steps(made, profile)
        else:
            _channel(channels, offsets, _NO_FEATURE, {}, profile.fixed.get(offsets[0], 0))


def _channel(
    channels: Element, offsets: tuple[int, ...], kind: tuple[str, ...], ends: dict[str, str], default: int
) -> Element:
    """A channel with one function, which is returned."""
    attribute, *_, geometry = kind
    name = f"{attribute} 1"
    channel = SubElement(
        channels, "DMXChannel", DMXBreak="1", Offset=",".join(map(str, offsets)), Highlight="None", Geometry=geometry,
        InitialFunction=f"{geometry}_{attribute}.{attribute}.{name}",
    )  # fmt: skip
    logical = SubElement(
        channel, "LogicalChannel", Attribute=attribute, Snap="No", Master="Grand" if attribute == "Dimmer" else "None",
        MibFade="0", DMXChangeTimeLimit="0",
    )  # fmt: skip
    size = len(offsets)
    ends = ends or {"PhysicalFrom": "0.0", "PhysicalTo": "1.0"}
    return SubElement(
        logical, "ChannelFunction", {"Name": name, "Attribute": attribute, "OriginalAttribute": "",
                                     "DMXFrom": f"0/{size}", "Default": f"{default}/{size}", **ends},
    )  # fmt: skip


def _dimmer_part(logical: Element, dimmer: Element, profile: Profile) -> None:
    """A dimmer that is a part of its channel, with what lies below and above it as no feature."""
    (first, last), size = sorted(profile.dimmer_raw), len(profile.channels["dimmer"])
    dimmer.set("DMXFrom", f"{first}/{size}")
    dimmer.set("Default", f"{profile.dimmer_raw[0]}/{size}")
    if profile.dimmer_raw[0] > profile.dimmer_raw[1]:
        dimmer.attrib |= {"PhysicalFrom": "1.0", "PhysicalTo": "0.0"}
    for name, start in (("Below", 0), ("Above", last + 1)):
        if (name == "Below" and first > 0) or (name == "Above" and last < profile.full_scale("dimmer")):
            part = SubElement(logical, "ChannelFunction", {**dimmer.attrib, "Name": name, "Attribute": "NoFeature"})
            part.set("DMXFrom", f"{start}/{size}")


def _ends(profile: Profile, name: str) -> dict[str, str]:
    """Physical values at raw 0 and at full, and how fast an axis travels. Focus has no unit: 0 to 1."""
    if name == "pan":
        return _travel(profile.pan)
    if name == "tilt":
        return _travel(profile.tilt)
    if name != "zoom" or profile.zoom is None:
        return {}
    first, last = (_angle(profile.zoom, raw) for raw in (0, profile.full_scale("zoom")))
    return {"PhysicalFrom": number_text(first), "PhysicalTo": number_text(last)}


def _zoom_steps(function: Element, profile: Profile) -> None:
    """The rows of a zoom table between its ends, each as a set from its raw value to before the next one's."""
    if profile.zoom is None:
        return
    size, full = len(profile.channels["zoom"]), profile.full_scale("zoom")
    starts = sorted({0, *(round(row[0]) for row in profile.zoom.rows)} - {full})
    if len(starts) < 2:
        return
    for first, behind in pairwise([*starts, full + 1]):
        last = behind - 1
        ends = {"PhysicalFrom": number_text(_angle(profile.zoom, first)),
                "PhysicalTo": number_text(_angle(profile.zoom, last))}  # fmt: skip
        SubElement(function, "ChannelSet", {"Name": "", "DMXFrom": f"{first}/{size}", **ends})


def _angle(zoom: ZoomTable, raw: float) -> float:
    """Degrees at a raw value; before the first row and behind the last one as there."""
    return float(np.interp(raw, [row[0] for row in zoom.rows], [row[1] for row in zoom.rows]))


def _travel(axis: Axis) -> dict[str, str]:
    """RealFade: seconds for the whole travel, ramps too; RealAcceleration: from rest to full speed (from memory)."""
    span, ramp = abs(axis.to_deg - axis.from_deg), axis.speed / axis.acceleration
    reached = span >= axis.speed * ramp
    whole = span / axis.speed + ramp if reached else 2 * math.sqrt(span / axis.acceleration)
    return {
        "PhysicalFrom": number_text(axis.from_deg),
        "PhysicalTo": number_text(axis.to_deg),
        "RealFade": number_text(whole),
        "RealAcceleration": number_text(ramp),
    }


def _default(profile: Profile, name: str) -> int:
    """Axes rest in the middle of their travel; all else at 0."""
    return (profile.full_scale(name) + 1) // 2 if name in ("pan", "tilt") else 0
