"""Geometry, copies of geometries, encodings and old ways of writing in a .gdtf: files of our own."""

from __future__ import annotations

import pytest

from bridge.exchange.gdtf import open_gdtf, profile_of, read_gdtf
from tests.unit.exchange.found_gdtf import found_in, made_of
from tests.unit.exchange.made_gdtf import (
    DIMMER,
    GEOMETRIES,
    PAN,
    PAN_TILT,
    TILT,
    UNTURNED,
    USUAL,
    Channel,
    Function,
    Mode,
    build_gdtf,
    description,
    packed,
)

MASTER = Channel(
    "12", [Function("Control1", name="Spot", default="0/1"), Function("Control1", "128/1", name="Flood")], "Base"
)


TURNED = "{-1,0,0,0}{0,-1,0,0}{0,0,1,-0.12}{0,0,0,1}"  # 180 degrees about z
FLIPPED = "{1,0,0,0}{0,-1,0,0}{0,0,-1,-0.12}{0,0,0,1}"  # 180 degrees about x


def test_a_base_turned_about_z_leaves_the_ranges_as_they_stand_where_no_drawing_gives_its_rotation() -> None:
    geometries = GEOMETRIES.replace("{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}{0,0,0,1}", TURNED)
    assert geometries != GEOMETRIES
    found = found_in(*USUAL, geometries=geometries)
    document = found.profiles[0].document
    assert (document["pan"]["from"], document["tilt"]["from"]) == (-270, -135)
    assert any("pan 0 is turned by 180 degrees" in note for note in found.notes)


def test_in_a_drawing_it_counts_by_the_other_face() -> None:
    """Rz(pan + 180) · Rx(tilt) aims as Rz(pan) · Rx(-tilt) does: conventions, two faces."""
    geometries = GEOMETRIES.replace("{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}{0,0,0,1}", TURNED)
    taken = profile_of(open_gdtf(build_gdtf([Mode("A", USUAL)], geometries=geometries), "a.gdtf"), "A")
    assert taken.profile is not None
    assert (taken.profile.document["pan"]["from"], taken.profile.document["tilt"]["from"]) == (-270, 135)


def test_a_pan_axis_that_looks_down_turns_the_other_way() -> None:
    """Rx(180) · Rz(pan) · Rx(tilt) · Rx(180) · (0, 0, -1) is Rz(-pan) · Rx(tilt) · (0, 0, -1), by hand."""
    geometries = GEOMETRIES.replace("{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}{0,0,0,1}", FLIPPED)
    geometries = geometries.replace("{1,0,0,0}{0,1,0,0}{0,0,1,-0.15}{0,0,0,1}", FLIPPED)
    found = found_in(*USUAL, geometries=geometries)
    document = found.profiles[0].document
    assert (document["pan"]["from"], document["tilt"]["from"]) == (270, -135)
    assert "by its geometry 270 to -270" in found.profiles[0].why["pan"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16-be", "iso-8859-1"])
def test_descriptions_in_several_encodings_are_read_whole(encoding: str) -> None:
    declared = encoding.removesuffix("-sig").removesuffix("-be").upper()
    xml = description([Mode("Größe", USUAL), Mode("Ähnlich", [*USUAL, MASTER])]).replace('"UTF-8"', f'"{declared}"')
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    found = read_gdtf(packed(mark + xml.encode(encoding)), "a.gdtf", "Ähnlich")
    assert found.profiles[0].document["fixed"] == {7: 32, 12: 0}
    assert "'Open', 32 to 63" in found.profiles[0].why["fixed.7"]


def test_zoom_in_functions_that_go_on_from_each_other_is_one_table() -> None:
    zoom = Channel("8", [Function("Zoom", physical=(50, 20)), Function("Zoom", "128/1", (19.5, 5))])
    _, profile = made_of(*PAN_TILT, DIMMER, zoom)
    assert profile.zoom is not None
    assert [row[:2] for row in profile.zoom.rows] == [(0, 50), (127, 20), (128, 19.5), (255, 5)]


def test_zoom_in_functions_that_do_not_is_asked() -> None:
    zoom = Channel("8", [Function("Zoom", physical=(50, 20)), Function("Zoom", "100/1", (60, 5), name="Wide")])
    found = found_in(*PAN_TILT, DIMMER, zoom)
    assert [row[:2] for row in found.profiles[0].document["zoom"]["table"]] == [[100, 60], [255, 5]]
    assert any(question.startswith("zoom: 2 functions") for question in found.questions)


ARM = f"""<Geometry Name="Base" Position="{UNTURNED}">
<GeometryReference Name="Left" Geometry="Arm" Position="{UNTURNED}"><Break DMXOffset="3" DMXBreak="1"/>
</GeometryReference><GeometryReference Name="Right" Geometry="Arm" Position="{UNTURNED}">
<Break DMXOffset="23" DMXBreak="1"/>
</GeometryReference></Geometry>
<Geometry Name="Arm" Position="{UNTURNED}"><Axis Name="Yoke" Position="{UNTURNED}">
<Axis Name="Head" Position="{UNTURNED}"><Beam Name="Beam" Position="{UNTURNED}"/></Axis></Axis></Geometry>"""


def test_of_two_arms_by_reference_the_first_is_taken_whole_with_its_own_masters() -> None:
    def when(low: str, high: str) -> dict[str, str]:
        return {"ModeMaster": "Arm_Control1", "ModeFrom": low, "ModeTo": high}

    zooms = [
        Function("Zoom", physical=(60, 20), more=when("128/1", "255/1")),
        Function("Zoom", physical=(40, 4), more=when("0/1", "127/1"), apart=True),
    ]
    channels = [
        Channel("1,2", [PAN], "Yoke", dmx_break="Overwrite"),
        Channel("3,4", [TILT], "Head", dmx_break="Overwrite"),
        Channel("5", [Function("Dimmer")], "Beam", dmx_break="Overwrite"),
        Channel("6", zooms, "Beam", dmx_break="Overwrite"),
        Channel("7", [Function("Control1", default="3/1")], "Arm", dmx_break="Overwrite"),
    ]
    found = found_in(*channels, geometries=ARM)
    document = found.profiles[0].document
    assert document["channels"] == {"pan": [3, 4], "tilt": [5, 6], "dimmer": [7], "zoom": [8]}
    assert [row[:2] for row in document["zoom"]["table"]] == [[0, 40], [255, 4]]
    assert (document["footprint"], document["fixed"][27], document["fixed"][9]) == (29, 0, 3)
    assert any("2 channels are pan (of Left/Yoke, Right/Yoke)" in question for question in found.questions)
    assert any("held dark" in question for question in found.questions)


def test_old_files_have_the_default_at_the_channel_and_newer_ones_at_the_initial_function() -> None:
    two = [
        Function("Gobo1Pos", default="9/1", name="Index"),
        Function("Gobo1PosRotate", "128/1", default="190/1", name="Turn"),
    ]
    initial = {"InitialFunction": "Beam_Gobo1Pos.Gobo1Pos.Turn"}
    for more, byte in (({}, 9), ({"Default": "77/1"}, 77), (initial, 190), ({"Default": "77/1", **initial}, 190)):
        assert found_in(*USUAL, Channel("12", two, more=more)).profiles[0].document["fixed"][12] == byte


def test_a_fine_byte_that_is_a_channel_of_its_own_is_asked() -> None:
    found = found_in(*USUAL, Channel("12", [Function("PanFine")], "Yoke"))
    assert any("write pan: [1, 2, 12] under channels" in question for question in found.questions)


def test_an_unused_last_value_is_no_question() -> None:
    found = found_in(Channel("1,2", [PAN, Function("NoFeature", "65535/2")], "Yoke"), PAN_TILT[1], DIMMER)
    assert not any("limits" in question for question in found.questions)
    assert any("drawn out to -270 to 270.008" in note for note in found.notes)


def test_a_curve_of_the_file_is_asked() -> None:
    dimmer = Channel("5", [Function("Dimmer", more={"DMXProfile": "Square"})])
    assert any("curve ('Square')" in question for question in found_in(*PAN_TILT, dimmer).questions)


def test_yokes_are_said_and_the_first_is_taken() -> None:
    two = GEOMETRIES.replace(
        "</Geometry>",
        f'<Axis Name="Yoke2" Position="{UNTURNED}"><Axis Name="Head2" Position="{UNTURNED}">'
        f'<Beam Name="Beam2" Position="{UNTURNED}"/></Axis></Axis></Geometry>',
    )
    second = [
        Channel("7", [PAN], "Yoke2"),
        Channel("8", [TILT], "Head2"),
        Channel("9", [Function("Dimmer")], "Beam2"),
        Channel("10", [Function("Zoom", physical=(9, 3))], "Beam2"),
    ]
    found = found_in(*second, *PAN_TILT, DIMMER, geometries=two)
    assert found.profiles[0].document["channels"] == {"pan": [7], "tilt": [8], "dimmer": [9], "zoom": [10]}
    assert {slot: found.profiles[0].document["fixed"][slot] for slot in (1, 2, 3, 4, 5)} == {
        1: 128,
        2: 0,
        3: 128,
        4: 0,
        5: 0,
    }
    assert any("2 channels are pan (of Yoke2, Yoke)" in question for question in found.questions)
    assert not any("axes in one fixture" in question for question in found.questions)  # asked once is enough
