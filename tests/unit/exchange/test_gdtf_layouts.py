"""Random layouts written as GDTF and read back, and held against pygdtf 1.4.5 where it is right.

It is not right on values: it does not scale `v/n` to the channel's bytes (facts/profiles.md). Its offsets are.
"""

from __future__ import annotations

import io
import random
from typing import Any

import pygdtf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.exchange.gdtf import open_gdtf, profile_of, read_gdtf
from bridge.show.emit import to_yaml
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse
from tests.unit.exchange.made_gdtf import Channel, Function, Mode, build_gdtf, description, packed

OURS = ("pan", "tilt", "dimmer", "zoom", "focus")
ATTRIBUTES = {"pan": "Pan", "tilt": "Tilt", "dimmer": "Dimmer", "zoom": "Zoom", "focus": "Focus1"}
GEOMETRY = {"pan": "Yoke", "tilt": "Head"}
degrees = st.tuples(st.integers(-720, 720), st.integers(-720, 720)).filter(lambda pair: abs(pair[0] - pair[1]) >= 20)
angles = st.tuples(st.integers(2, 179), st.integers(2, 179)).filter(lambda pair: pair[0] != pair[1])


@st.composite
def layouts(draw: st.DrawFn) -> dict[str, Any]:
    """Slots, the channels of ours and others on some of them in any order, ranges, and defaults of the others."""
    names = ["pan", "tilt", "dimmer", *(name for name in ("zoom", "focus") if draw(st.booleans()))]
    sizes = {name: draw(st.integers(1, 4)) for name in names}
    others = [draw(st.integers(1, 4)) for _ in range(draw(st.integers(0, 6)))]
    slots = list(range(1, sum(sizes.values()) + sum(others) + draw(st.integers(0, 5)) + 1))
    random.Random(draw(st.integers(0, 2**32))).shuffle(slots)
    cut = iter(slots)
    return {
        "channels": {name: [next(cut) for _ in range(size)] for name, size in sizes.items()},
        "others": [
            ([next(cut) for _ in range(size)], draw(st.binary(min_size=size, max_size=size))) for size in others
        ],
        "pan": draw(degrees),
        "tilt": draw(degrees),
        "zoom": draw(angles),
    }


def mode_of(layout: dict[str, Any]) -> Mode:
    channels = [
        Channel(
            ",".join(map(str, offsets)),
            [Function(ATTRIBUTES[name], physical=layout.get(name, (0, 1)))],
            GEOMETRY.get(name, "Beam"),
        )
        for name, offsets in layout["channels"].items()
    ]
    for number, (offsets, octets) in enumerate(layout["others"]):
        default = f"{int.from_bytes(octets, 'big')}/{len(octets)}"
        channels.append(Channel(",".join(map(str, offsets)), [Function(f"Gobo{number + 1}Pos", default=default)]))
    return Mode("A", random.Random(len(channels)).sample(channels, len(channels)))


@settings(max_examples=60, deadline=None)
@given(layouts())
def test_any_layout_comes_back_byte_for_byte(layout: dict[str, Any]) -> None:
    found = read_gdtf(build_gdtf([mode_of(layout)]), "a.gdtf")
    document = found.profiles[0].document
    assert document["channels"] == layout["channels"]
    used = [*layout["channels"].values(), *(offsets for offsets, _ in layout["others"])]
    assert document["footprint"] == max(max(offsets) for offsets in used)
    expected = {
        slot: octet for offsets, octets in layout["others"] for slot, octet in zip(offsets, octets, strict=True)
    }
    assert {slot: byte for slot, byte in document["fixed"].items() if slot in expected} == expected
    assert not {byte for slot, byte in document["fixed"].items() if slot not in expected} - {0}
    for axis in ("pan", "tilt"):
        assert (document[axis]["from"], document[axis]["to"]) == layout[axis]
    if "zoom" in layout["channels"]:
        full = 256 ** len(layout["channels"]["zoom"]) - 1
        assert [row[:2] for row in document["zoom"]["table"]] == [[0, layout["zoom"][0]], [full, layout["zoom"][1]]]
    node, problems = parse("version: 1\n" + to_yaml(document))
    assert problems == []
    assert read_profile(node).footprint == document["footprint"]


@settings(max_examples=15, deadline=None)
@given(layouts())
def test_pygdtf_sees_the_same_offsets(layout: dict[str, Any]) -> None:
    data = build_gdtf([mode_of(layout)])
    theirs = pygdtf.FixtureType(io.BytesIO(data)).dmx_modes[0].dmx_channels
    by_attribute = {str(channel.attribute): channel.offset for channel in theirs}
    ours = read_gdtf(data, "a.gdtf").profiles[0].document["channels"]
    assert {ATTRIBUTES[name]: offsets for name, offsets in ours.items()} == {
        attribute: offsets for attribute, offsets in by_attribute.items() if attribute in ATTRIBUTES.values()
    }


HOSTILE = st.sampled_from(
    [
        "",
        "None",
        "nan",
        "1e308",
        "-1",
        "0",
        "99999999999999999999",
        "1/1",
        "300/1",
        "1,2,3,4,5,6,7,8,9",
        "1,1",
        "\u0661",
        "A" * 300,
    ]
)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_hostile_attributes_never_raise_and_never_make_a_profile_that_a_show_refuses(data: st.DataObject) -> None:
    layout = data.draw(layouts())
    fixture = open_gdtf(build_gdtf([mode_of(layout)]), "a.gdtf")
    elements = [each for each in fixture.element.walk() if each.attributes]
    octets = fixture.data.decode()
    for _ in range(data.draw(st.integers(1, 6))):
        element = data.draw(st.sampled_from(elements))
        name = data.draw(st.sampled_from(sorted(element.attributes)))
        octets = octets.replace(f'{name}="{element.attributes[name]}"', f'{name}="{data.draw(HOSTILE)}"')
    broken = open_gdtf(packed(octets), "a.gdtf")
    for mode in broken.modes:
        taken = profile_of(broken, mode)
        assert (taken.profile is None) == bool(taken.skipped)
        if taken.profile is not None:
            node, problems = parse("version: 1\n" + to_yaml(taken.profile.document))
            assert problems == []
            read_profile(node)


@pytest.mark.parametrize(
    "tag", ["Geometry", "Axis", "Beam", "DMXChannel", "LogicalChannel", "ChannelFunction", "DMXChannels"]
)
def test_missing_elements_never_raise(tag: str) -> None:
    xml = (
        description([Mode("A", [*mode_of(SMALL).channels])])
        .replace(f"<{tag} ", "<Other ")
        .replace(f"<{tag}>", "<Other>")
    )
    xml = xml.replace(f"</{tag}>", "</Other>")
    read_gdtf(packed(xml), "a.gdtf")


SMALL = {"channels": {"pan": [1], "tilt": [2], "dimmer": [3]}, "others": [], "pan": (-270, 270), "tilt": (-90, 90)}
