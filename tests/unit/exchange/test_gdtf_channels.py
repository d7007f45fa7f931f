"""Bytes, ranges and mode masters of a .gdtf, each trap of facts/profiles.md by a file of our own."""

from __future__ import annotations

import io

import pygdtf
import pytest

from bridge.exchange.gdtf import open_gdtf, profile_of, read_gdtf
from bridge.show.emit import to_yaml
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse
from tests.unit.exchange.found_gdtf import found_in, made_of
from tests.unit.exchange.made_gdtf import (
    DIMMER,
    GEOMETRIES,
    PAN,
    PAN_TILT,
    SHUTTER,
    TILT,
    UNTURNED,
    USUAL,
    ZOOM,
    Channel,
    Function,
    Mode,
    Set,
    build_gdtf,
)


def test_a_usual_head_is_a_profile_that_a_show_takes() -> None:
    found, profile = made_of(*USUAL)
    assert profile.channels == {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6), "zoom": (8, 9), "focus": (10, 11)}
    assert (profile.pan.from_deg, profile.pan.to_deg) == (-270, 270)
    assert (profile.tilt.from_deg, profile.tilt.to_deg) == (-135, 135)
    assert profile.footprint == 11
    assert profile.fixed == {7: 32}
    assert profile.name == "Harbour Works Spot 12, A"
    assert {"pan", "tilt", "focus"} <= set(found.confirm)
    assert "'Open', 32 to 63" in found.why["fixed.7"]


def test_bytes_lie_anywhere_in_any_order_with_8_to_32_bits() -> None:
    _, profile = made_of(
        Channel("9,2,30,4", [PAN], "Yoke"), Channel("8", [TILT], "Head"), Channel("1,20,3", [Function("Dimmer")])
    )
    assert profile.channels == {"pan": (9, 2, 30, 4), "tilt": (8,), "dimmer": (1, 20, 3)}
    assert profile.footprint == 30
    assert set(profile.fixed) == set(range(1, 31)) - {9, 2, 30, 4, 8, 1, 20, 3}


def test_reversed_and_uneven_ranges_are_kept_as_they_stand() -> None:
    pan = Function("Pan", physical=(540, 0))
    tilt = Function("Tilt", physical=("133,5", -110.25))
    _, profile = made_of(Channel("1,2", [pan], "Yoke"), Channel("3,4", [tilt], "Head"), DIMMER)
    assert (profile.pan.from_deg, profile.pan.to_deg) == (540, 0)
    assert (profile.tilt.from_deg, profile.tilt.to_deg) == (133.5, -110.25)


@pytest.mark.parametrize(
    "physical", [(0, 1), (1, 0), (0, 0), (-1, 1), (270, 270), (-4.7, 4.7), (-5000, 5000), ("x", 1)]
)
def test_a_range_that_is_none_makes_no_profile(physical: tuple[float, float]) -> None:
    found = found_in(Channel("1,2", [Function("Pan", physical=physical)], "Yoke"), PAN_TILT[1], DIMMER)
    assert found.profiles == ()
    assert found.skipped[0].why.startswith("pan:")
    assert "aim wrongly" in found.skipped[0].why


def test_a_function_of_a_part_of_the_channel_is_drawn_out_so_that_degrees_stay_right() -> None:
    endless = Function("PanRotate", "49152/2", (-100, 100))
    found = found_in(Channel("1,2", [PAN, endless], "Yoke"), PAN_TILT[1], DIMMER)
    pan = found.profiles[0].document["pan"]
    per_raw = (pan["to"] - pan["from"]) / 65535  # degrees; the range must lie on the function's own line
    assert pan["from"] == -270
    assert pan["from"] + per_raw * 49151 == pytest.approx(270, abs=1e-6)
    assert any("limits of [-270, 270] for pan" in question for question in found.questions)


def test_a_range_in_two_functions_that_go_on_from_each_other_is_one() -> None:
    halves = [Function("Pan", physical=(-270, 0)), Function("Pan", "32768/2", (270 / 32768, 270))]
    found = found_in(Channel("1,2", halves, "Yoke"), PAN_TILT[1], DIMMER)
    assert found.profiles[0].document["pan"]["from"] == -270
    assert found.profiles[0].document["pan"]["to"] == pytest.approx(270)
    assert not any("do not go on" in question for question in found.questions)


MASTER = Channel(
    "12", [Function("Control1", name="Spot", default="0/1"), Function("Control1", "128/1", name="Flood")], "Base"
)


def two_zooms(default: str = "0/1") -> Channel:
    def when(low: str, high: str) -> dict[str, str]:
        return {"ModeMaster": "Base_Control1", "ModeFrom": low, "ModeTo": high}

    return Channel(
        "8,9",
        [
            Function("Zoom", physical=(60, 20), name="Flood", more=when("128/1", "255/1")),
            Function("Zoom", physical=(40, 4), name="Spot", more=when("0/1", "127/1"), apart=True),
        ],
    )


def test_of_two_zooms_by_mode_master_the_one_that_is_active_counts() -> None:
    found, profile = made_of(*PAN_TILT, DIMMER, SHUTTER, two_zooms(), MASTER)
    assert profile.zoom is not None
    assert [row[:2] for row in profile.zoom.rows] == [(0, 40), (65535, 4)]
    assert profile.fixed[12] == 0
    assert "one of 2 functions by mode master" in found.why["zoom"]
    flood = Channel("12", [Function("Control1", default="200/1")], "Base")
    _, profile = made_of(*PAN_TILT, DIMMER, SHUTTER, two_zooms(), flood)
    assert profile.zoom is not None
    assert [row[:2] for row in profile.zoom.rows] == [(0, 60), (65535, 20)]
    assert profile.fixed[12] == 200


def test_a_master_is_held_where_pan_is_an_angle() -> None:
    def when(low: str, high: str) -> dict[str, str]:
        return {"ModeMaster": "Base_PanMode.PanMode.Endless", "ModeFrom": low, "ModeTo": high}

    pan = Channel(
        "1,2",
        [
            Function("PanRotate", physical=(-50, 50), more=when("0/1", "99/1")),
            Function("Pan", physical=(-270, 270), more=when("100/1", "200/1"), apart=True),
        ],
        "Yoke",
    )
    mode = Channel("7", [Function("PanMode", name="Endless")], "Base")
    found, profile = made_of(pan, PAN_TILT[1], DIMMER, mode)
    assert (profile.pan.from_deg, profile.pan.to_deg) == (-270, 270)
    assert 100 <= profile.fixed[7] <= 200
    assert "so that pan is" in found.why["fixed.7"]


def test_masters_that_go_in_a_circle_or_nowhere_are_no_trouble() -> None:
    one = Function("Control1", more={"ModeMaster": "Base_Control2", "ModeFrom": "5/1", "ModeTo": "9/1"})
    other = Function("Control2", more={"ModeMaster": "Base_Control1", "ModeFrom": "5/1", "ModeTo": "9/1"})
    lost = Function("Gobo1", more={"ModeMaster": "Base_Nowhere", "ModeFrom": "5/1", "ModeTo": "9/1"})
    found = found_in(
        *USUAL, Channel("12", [one], "Base"), Channel("13", [other], "Base"), Channel("14", [lost], "Base")
    )
    assert found.profiles[0].document["fixed"].keys() == {7, 12, 13, 14}
    assert any("'Base_Nowhere' is not in this mode" in note for note in found.notes)


PIXELS = f"""<Geometry Name="Base" Position="{UNTURNED}"><Axis Name="Yoke" Position="{UNTURNED}">
<Axis Name="Head" Position="{UNTURNED}">
<GeometryReference Name="P1" Geometry="Pixel" Position="{UNTURNED}"><Break DMXOffset="1" DMXBreak="1"/>
<Break DMXOffset="10" DMXBreak="1"/></GeometryReference>
<GeometryReference Name="P2" Geometry="Pixel" Position="{UNTURNED}">
<Break DMXOffset="13" DMXBreak="1"/></GeometryReference>
</Axis></Axis></Geometry>
<Beam Name="Pixel" Position="{UNTURNED}" BeamAngle="20" FieldAngle="25"/>"""


@pytest.mark.parametrize("dmx_break", ["Overwrite", "1"])
def test_channels_of_a_geometry_that_is_referred_to_are_there_once_for_each(dmx_break: str) -> None:
    colours = [
        Channel(str(n), [Function(f"ColorAdd_{c}")], "Pixel", "255/1", dmx_break) for n, c in enumerate("RGB", 1)
    ]
    dimmer = Channel("5", [Function("Dimmer")], "Head")
    geometries = PIXELS if dmx_break == "Overwrite" else PIXELS.replace('<Break DMXOffset="1" DMXBreak="1"/>', "")
    _, profile = made_of(*PAN_TILT, dimmer, *colours, geometries=geometries)
    assert profile.footprint == 15
    assert profile.fixed == {6: 0, 7: 0, 8: 0, 9: 0, **dict.fromkeys(range(10, 16), 255)}


def test_pygdtf_lays_the_copies_at_the_same_slots() -> None:
    """pygdtf 1.4.5 as the reference; its footprint counts slots that are used, ours reaches to the highest."""
    pixel = Channel("1,2", [Function("Dimmer")], "Pixel", "255/1", "Overwrite")
    data = build_gdtf([Mode("A", [*PAN_TILT, Channel("5", [Function("Dimmer")], "Head"), pixel])], geometries=PIXELS)
    theirs = pygdtf.FixtureType(io.BytesIO(data)).dmx_modes[0].dmx_channels
    offsets = sorted(tuple(channel.offset) for channel in theirs if str(channel.attribute) == "Dimmer")
    assert offsets == [(5,), (10, 11), (13, 14)]
    found = read_gdtf(data, "a.gdtf")
    assert found.profiles[0].document["channels"]["dimmer"] == [5]
    assert {n for n, byte in found.profiles[0].document["fixed"].items() if byte == 255} == {10, 11, 13, 14}


def test_other_breaks_are_said_and_footprint_is_that_of_pan_and_tilt() -> None:
    fixture = open_gdtf(build_gdtf([Mode("A", [*USUAL, Channel("40", [Function("Gobo1")], dmx_break="2")])]), "a.gdtf")
    taken = profile_of(fixture, "A")
    assert taken.profile is not None
    assert taken.profile.document["footprint"] == 11
    assert (taken.dmx_break, taken.more_breaks) == (1, ((2, 40),))
    assert any("DMX break 2 (40 slots)" in question for question in taken.questions)


def test_two_channels_on_one_slot_are_said() -> None:
    found = found_in(
        *USUAL, Channel("2", [Function("Gobo1", default="9/1")]), Channel("7", [Function("Iris", default="9/1")])
    )
    assert any("slot 2 is a byte of pan" in question for question in found.questions)
    assert any("slot 7 is of two channels" in question for question in found.questions)
    assert found.profiles[0].document["fixed"] == {7: 32}


def test_a_dimmer_that_shares_its_channel_with_a_strobe_is_driven_in_its_own_part_and_asked() -> None:
    both = [Function("Dimmer"), Function("Shutter1Strobe", "128/1", name="Strobe")]
    found = found_in(*PAN_TILT, Channel("5", both))
    assert found.profiles[0].document["dimmer"] == {"curve": "linear", "from": 0, "to": 127}
    assert any("shares its channel with other things (Strobe)" in question for question in found.questions)
    made = read_profile(parse(to_yaml({"version": 1, **found.profiles[0].document}))[0])
    assert made.dimmer_raw == (0, 127)


def test_a_mode_without_a_dimmer_is_refused_and_what_was_read_is_told() -> None:
    found = found_in(*PAN_TILT, Channel("5", [Function("ColorAdd_R")]))
    assert found.profiles == ()
    assert "no dimmer" in found.skipped[0].why
    assert found.unfit[0].document["channels"] == {"pan": [1, 2], "tilt": [3, 4]}


def test_a_dimmer_between_closed_and_open_is_driven_in_its_own_part() -> None:
    parts = [
        Function("Shutter1", name="Closed"),
        Function("Dimmer", "8/1"),
        Function("Shutter1", "248/1", name="Open", apart=True),
    ]
    found = found_in(*PAN_TILT, Channel("5", parts))
    assert found.profiles[0].document["channels"]["dimmer"] == [5]
    assert found.profiles[0].document["dimmer"] == {"curve": "linear", "from": 8, "to": 247}
    assert not any("shares its channel" in question for question in found.questions)


def test_what_is_not_dark_below_a_dimmer_is_asked() -> None:
    for attribute in ("NoFeature", "Shutter1"):
        for name, able in (("Closed", True), ("Blackout", True), ("Strobe", False), ("Blackout pulse", False)):
            parts = [Function(attribute, name=name), Function("Dimmer", "1/1", apart=True)]
            found = found_in(*PAN_TILT, Channel("5", parts))
            assert found.profiles[0].document["dimmer"]["from"] == 1
            assert any("shares its channel" in question for question in found.questions) != able


def test_a_second_dimmer_of_the_same_part_is_asked() -> None:
    """It may be the fine byte, and then level 0 is not dark."""
    found = found_in(*PAN_TILT, DIMMER, Channel("9", [Function("Dimmer")], DIMMER.geometry))
    assert found.profiles[0].document["fixed"][9] == 255
    assert any("(slot 9), is held full" in question for question in found.questions)


def test_a_dimmer_the_other_way_round_is_driven_so_and_asked() -> None:
    found = found_in(*PAN_TILT, Channel("5", [Function("Dimmer", physical=(1, 0))]))
    assert found.profiles[0].document["dimmer"] == {"curve": "linear", "from": 255, "to": 0}
    assert any("whoever sends 0 lights the head" in question for question in found.questions)


def test_the_dimmer_of_the_whole_head_is_moved_and_those_in_line_are_full() -> None:
    _, profile = made_of(
        *PAN_TILT, Channel("5", [Function("Dimmer")], "Beam"), Channel("6,7", [Function("Dimmer")], "Head")
    )
    assert profile.channels["dimmer"] == (6, 7)
    assert profile.fixed == {5: 255}


def test_lights_beside_the_beam_stay_dark() -> None:
    ring = GEOMETRIES.replace("</Axis>\n </Axis>", f'<Beam Name="Ring" Position="{UNTURNED}"/></Axis></Axis>')
    dimmers = [Channel("5", [Function("Dimmer")], "Beam"), Channel("6", [Function("Dimmer")], "Ring", "255/1")]
    found = found_in(*PAN_TILT, *dimmers, geometries=ring)
    assert found.profiles[0].document["fixed"] == {6: 0}
    assert any("held dark" in question for question in found.questions)


def test_zoom_without_angles_is_asked_and_has_no_table() -> None:
    found = found_in(*PAN_TILT, DIMMER, Channel("8", [Function("Zoom")]))
    assert "zoom" not in found.profiles[0].document
    assert found.profiles[0].document["channels"]["zoom"] == [8]
    assert any(question.startswith("zoom:") for question in found.questions)


def test_zoom_of_a_part_of_its_channel_has_its_rows_at_the_ends_of_that_part() -> None:
    zoom = Channel("8", [Function("NoFeature"), Function("Zoom", "10/1", (40, 5)), Function("Control1", "250/1")])
    _, profile = made_of(*PAN_TILT, DIMMER, zoom)
    assert profile.zoom is not None
    assert [row[:2] for row in profile.zoom.rows] == [(10, 40), (249, 5)]


def test_old_files_with_coarse_and_fine_are_read() -> None:
    xml = build_gdtf([Mode("A", [Channel("1,2", [PAN], "Yoke"), PAN_TILT[1], DIMMER, ZOOM])])
    fixture = open_gdtf(xml, "a.gdtf")
    for channel in fixture.element.below("DMXModes", "DMXMode", "DMXChannels", "DMXChannel"):
        coarse, _, fine = channel.attributes.pop("Offset").partition(",")
        channel.attributes |= {"Coarse": coarse, "Fine": fine or "None", "Ultra": "None", "Uber": "None"}
    taken = profile_of(fixture, "A")
    assert taken.profile is not None
    assert taken.profile.document["channels"]["zoom"] == [8, 9]


def test_a_set_is_found_whatever_its_bytes() -> None:
    shutter = Channel(
        "7,8", [Function("Shutter1", sets=(Set("Closed", "0/1"), Set("Open", "32/1s"), Set("x", "64/1")))]
    )
    _, profile = made_of(*PAN_TILT, DIMMER, shutter)
    raw = profile.fixed[7] * 256 + profile.fixed[8]
    assert 32 * 256 <= raw < 64 * 257
