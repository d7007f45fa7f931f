"""Which mode of a .gdtf is meant, and files that are none. DIN SPEC 15800 from memory."""

from __future__ import annotations

import pytest

from bridge.errors import FileRefused
from bridge.exchange.gdtf import open_gdtf, profile_of, read_gdtf
from tests.unit.exchange.made_gdtf import (
    DIMMER,
    PAN_TILT,
    USUAL,
    Channel,
    Function,
    Mode,
    build_gdtf,
    description,
    packed,
)

STUB = Mode("Stub", [Channel("1", [Function("Dimmer")])])
THREE = [Mode("Basic 8 bit", USUAL), Mode("Größe / 16", USUAL), STUB]


def test_modes_are_listed_in_the_order_of_the_file() -> None:
    assert open_gdtf(build_gdtf(THREE), "a.gdtf").modes == ("Basic 8 bit", "Größe / 16", "Stub")


def test_the_only_mode_is_taken() -> None:
    found = read_gdtf(build_gdtf(), "a.gdtf")
    assert [profile.mode for profile in found.profiles] == ["Standard"]
    assert found.profiles[0].key == "a.gdtf|Standard"
    assert found.profiles[0].stem == "Harbour-Works-Spot-12"


def test_the_only_mode_that_can_follow_is_taken_and_said() -> None:
    found = read_gdtf(build_gdtf([STUB, Mode("Full", USUAL)]), "a.gdtf")
    assert found.profiles[0].mode == "Full"
    assert "the only one of 2" in found.notes[0]
    assert found.profiles[0].stem == "Harbour-Works-Spot-12-Full"


def test_several_modes_are_a_question_with_their_names_and_slots() -> None:
    found = read_gdtf(build_gdtf(THREE), "a.gdtf")
    assert found.profiles == ()
    (ask,) = found.asks
    assert (ask.key, ask.choices) == ("mode", ("Basic 8 bit", "Größe / 16"))
    assert "'Basic 8 bit' (11 slots)" in ask.text
    assert found.questions == (ask.text,)


@pytest.mark.parametrize("wanted", ["Größe / 16", "größe/16", " GRÖSSE / 16"[1:].replace("SS", "ß")])
def test_a_wanted_mode_is_found_without_regard_to_case_and_blanks(wanted: str) -> None:
    assert read_gdtf(build_gdtf(THREE), "a.gdtf", wanted).profiles[0].mode == "Größe / 16"


def test_a_wrong_mode_is_a_question_with_the_nearest_name() -> None:
    found = read_gdtf(build_gdtf(THREE), "a.gdtf", "Basic 16 bit")
    assert "is it 'Basic 8 bit'?" in found.asks[0].text
    assert found.profiles == ()


def test_two_modes_alike_but_for_case_are_asked() -> None:
    modes = [Mode("Basic", USUAL), Mode("BASIC", USUAL)]
    assert read_gdtf(build_gdtf(modes), "a.gdtf", "basic").asks
    assert read_gdtf(build_gdtf(modes), "a.gdtf", "BASIC").profiles[0].mode == "BASIC"


@pytest.mark.parametrize("member", ["description.xml", "Description.XML", "Spot 12/description.xml"])
def test_the_description_is_found_in_any_case_and_one_folder_down(member: str) -> None:
    assert read_gdtf(build_gdtf(member=member), "a.gdtf").profiles


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no ZIP archive"),
        (b"<GDTF/>", "no ZIP archive"),
        (packed("x", "other.xml"), "no 'description.xml'"),
        (packed("<GDTF>"), "not well-formed"),
        (packed("<MVR/>"), "found 'MVR'"),
        (packed("<!DOCTYPE GDTF [<!ENTITY a 'b'>]><GDTF/>"), "DTD"),
    ],
)
def test_what_is_no_gdtf_file_is_refused_with_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(FileRefused, match=said):
        read_gdtf(data, "a.gdtf")


def test_a_file_without_modes_is_a_stub_and_said() -> None:
    found = read_gdtf(packed(description([])), "a.gdtf")
    assert "no DMX mode" in found.skipped[0].why


def test_a_mode_that_is_not_there_is_skipped_with_those_that_are() -> None:
    taken = profile_of(open_gdtf(build_gdtf(THREE), "a.gdtf"), "Large")
    assert taken.profile is None
    assert "'Basic 8 bit'" in taken.skipped[0].why


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ([DIMMER], "no pan channel"),
        ([PAN_TILT[0], DIMMER], "no tilt channel"),
        (PAN_TILT, "no dimmer channel"),
        ([*PAN_TILT, Channel("None", [Function("Dimmer")])], "the dimmer is virtual"),
        ([*PAN_TILT, Channel("1", [Function("Dimmer")], dmx_break="2")], "the dimmer is in DMX break 2"),
        ([PAN_TILT[0], Channel("1", PAN_TILT[1].functions, "Head", dmx_break="2"), DIMMER], "tilt in break 2"),
        ([*PAN_TILT, Channel("4", [Function("Dimmer")])], "tilt and dimmer are both at offset 4"),
        ([Channel("600", PAN_TILT[0].functions, "Yoke"), PAN_TILT[1], DIMMER], "beyond a universe"),
        ([Channel("1,1", PAN_TILT[0].functions, "Yoke"), PAN_TILT[1], DIMMER], "offsets '1,1'"),
        ([Channel("0", PAN_TILT[0].functions, "Yoke"), PAN_TILT[1], DIMMER], "offsets '0'"),
        ([Channel("-3", PAN_TILT[0].functions, "Yoke"), PAN_TILT[1], DIMMER], "offsets '-3'"),
        ([Channel("None", PAN_TILT[0].functions, "Yoke"), PAN_TILT[1], DIMMER], "pan channel is virtual"),
    ],
)
def test_a_mode_that_cannot_follow_says_why(channels: list[Channel], said: str) -> None:
    found = read_gdtf(build_gdtf([Mode("A", channels)]), "a.gdtf")
    assert found.profiles == ()
    assert said in found.skipped[0].why


def test_inverted_axes_turn_the_other_way_and_are_another_profile() -> None:
    fixture = open_gdtf(build_gdtf(), "a.gdtf")
    plain, turned = profile_of(fixture, "Standard").profile, profile_of(fixture, "Standard", True, False).profile
    assert plain is not None
    assert turned is not None
    assert (plain.document["pan"]["from"], turned.document["pan"]["from"]) == (-270.0, 270.0)
    assert plain.document["tilt"] == turned.document["tilt"]
    assert plain.key != turned.key
    assert plain.stem != turned.stem
