"""What an MVR file says of its heads: patch, names, trusses. DIN SPEC 15801 from memory; traps as files have them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.errors import FileRefused
from bridge.exchange.found import Found, FoundFixture
from bridge.exchange.mvr import read_mvr
from bridge.exchange.mvr_fields import patch_of
from tests.unit.exchange.made_gdtf import DIMMER, PAN_TILT, ZOOM
from tests.unit.exchange.made_mvr import SPOT, fixture, gdtf, group, layer, mvr, packed, uid, whole


def found_in(layers: str, aux: str = "") -> Found:
    return read_mvr(mvr(layers, aux=aux), "plot.mvr")


def only(inner: str, aux: str = "") -> FoundFixture:
    (head,) = found_in(layer(inner), aux).fixtures
    return head


def test_a_head_has_its_name_number_id_place_and_type_as_written() -> None:
    head = only(group(fixture(3, "FOH Spot"), "Left"))
    assert (head.name, head.number, head.id) == ("FOH Spot", "103", uid(3))
    assert head.where == "layer Front, group Left"
    assert (head.type, head.mode) == ("Harbour Works@Spot 300", "Standard")
    assert (head.universe, head.address) == (1, 41)


def test_its_profile_comes_from_the_file_inside_once_for_all() -> None:
    found = found_in(layer(fixture(1) + fixture(2)))
    (profile,) = found.profiles
    assert {head.profile for head in found.fixtures} == {profile.key}
    assert profile.mode == "Standard"
    assert profile.document["pan"]["from"] == -270
    assert not found.asks


@pytest.mark.parametrize(
    ("text", "patched"),
    [
        ("1", (1, 1)), ("512", (1, 512)), ("513", (2, 1)), ("535", (2, 23)), (" 535 ", (2, 23)), ("2.23", (2, 23)),
        ("2/23", (2, 23)), ("1.512", (1, 512)), ("60.10", (60, 10)), ("32767488", (63999, 512)),
        ("0", (0, 0)), ("", (0, 0)), ("-1", (0, 0)), ("0.0", (0, 0)),
        ("32767489", None), ("1.513", None), ("1.0", None), ("0.5", None), ("64000.1", None), ("one", None),
        ("1.2.3", None), ("-5", None), ("1e3", None), ("9" * 5000, None), ("٣", None),
    ],
)  # fmt: skip
def test_addresses_are_whole_numbers_or_universe_and_address(text: str, patched: tuple[int, int] | None) -> None:
    assert patch_of(text) == patched


def skipped(inner: str) -> str:
    found = found_in(layer(inner))
    assert found.fixtures == ()
    (only_one,) = found.skipped
    return f"{only_one.what}: {only_one.why}"


@pytest.mark.parametrize("address", ["", "0", "-1"])
def test_a_head_without_an_address_is_left_out_and_said(address: str) -> None:
    assert skipped(fixture(address=address)).startswith("Spot 1 (101), layer Front: not patched")


def test_an_address_that_is_none_is_said() -> None:
    assert "'A12' is neither a number from 1 nor universe.address" in skipped(fixture(address="A12"))


def test_a_head_that_leaves_its_universe_is_said() -> None:
    assert "its address 1.510 leaves 3 slots" in skipped(fixture(address="510"))


def test_two_heads_at_one_address_are_one_head_and_said() -> None:
    found = found_in(layer(fixture(1, address="1") + fixture(2, address="3") + fixture(3, address="513")))
    assert [head.name for head in found.fixtures] == ["Spot 1", "Spot 3"]
    assert "its address 1.3 is in use by 'Spot 1 (101)'" in found.skipped[0].why


def addresses(*breaks: tuple[str, str]) -> str:
    inner = "".join(f'<Address break="{number}">{text}</Address>' for number, text in breaks)
    return fixture(address="", inner=f"<Addresses>{inner}</Addresses>")


SECOND_BREAK = [replace(channel, dmx_break="2") for channel in PAN_TILT] + [replace(DIMMER, dmx_break="2"), ZOOM]


def two_breaks(xml: str) -> Found:
    spot = gdtf({"Standard": SECOND_BREAK})
    return read_mvr(mvr(layer(xml), {"Harbour Works@Spot 300.gdtf": spot}), "plot.mvr")


def test_of_several_breaks_the_first_is_taken_where_the_profile_is_of_the_first() -> None:
    head = only(addresses(("1", "600"), ("0", "5")))
    assert (head.universe, head.address) == (1, 5)


def test_of_several_breaks_that_of_pan_and_tilt_counts() -> None:
    (head,) = two_breaks(addresses(("0", "5"), ("1", "600"))).fixtures
    assert (head.universe, head.address) == (2, 88)


def test_the_break_of_pan_and_tilt_without_an_address_is_said() -> None:
    (left,) = two_breaks(addresses(("0", "5"))).skipped
    assert left.why == "pan and tilt are in break 1, its addresses are of breaks 0"


def test_breaks_counted_from_1_are_understood_and_noted() -> None:
    found = found_in(layer(addresses(("1", "5"))))
    assert found.fixtures[0].address == 5
    assert any("breaks are counted from 1" in note for note in found.notes)


def test_breaks_that_may_count_either_way_are_not_guessed() -> None:
    (left,) = two_breaks(addresses(("1", "5"), ("2", "600"))).skipped
    assert "from 0 or from 1 is not clear" in left.why


@pytest.mark.parametrize(
    "patch",
    [
        "<Address>25</Address>",
        '<Addresses><Address break="0" address="25"/></Addresses>',
        '<addresses><address Break="0">25</address></addresses>',
        "<Addresses><Address>25</Address></Addresses>",
        '<Addresses><Network geometry="eth"/><Address break="0"> 1.25\n</Address></Addresses>',
    ],
)
def test_addresses_are_found_where_files_put_them(patch: str) -> None:
    assert only(fixture(address="", inner=patch)).address == 25


def test_case_attributes_for_elements_prefixes_and_a_mark_of_bytes_do_no_harm() -> None:
    xml = (
        '<m:generalscenedescription xmlns:m="urn:x"><m:SCENE><m:layers><m:LAYER Name="Front"><m:fixture NAME="Odd" '
        f'UUID="{uid(5)}" gdtfspec="Harbour Works@Spot 300.gdtf" GDTFMode="Standard" fixtureid="7" '
        'Matrix="{1,0,0}{0,1,0}{0,0,1}{0,0,1000}"><m:Addresses><m:Address m:break="0">9</m:Address></m:Addresses>'
        "</m:fixture></m:LAYER></m:layers></m:SCENE></m:generalscenedescription>"
    )
    (head,) = read_mvr(whole(b"\xef\xbb\xbf" + xml.encode()), "plot.mvr").fixtures
    assert (head.name, head.number, head.address, head.at) == ("Odd", "7", 9, (0, 0, 0.58))


@pytest.mark.parametrize("order", ["utf-16", "utf-16-be", "utf-16-le"])
@pytest.mark.parametrize("padding", ["", "\0", "\0\0\0"])
def test_other_encodings_are_read(order: str, padding: str) -> None:
    scene = f"<GeneralSceneDescription><Layers>{layer(fixture(1, 'Bühne'))}</Layers></GeneralSceneDescription>"
    xml = f'<?xml version="1.0" encoding="UTF-16"?>{scene}{padding}'.encode(order)
    assert read_mvr(packed({"GeneralSceneDescription.xml": xml}), "plot.mvr").fixtures[0].name == "Bühne"


def test_levels_that_are_missing_are_missed_by_nobody() -> None:
    inner = f"<Layer name='A'><GroupObject name='B'>{fixture(1)}</GroupObject></Layer>"
    assert len(read_mvr(whole(f"<GeneralSceneDescription>{inner}</GeneralSceneDescription>"), "plot.mvr").fixtures) == 1


def test_a_fixture_may_bear_fixtures() -> None:
    rider = fixture(2, matrix="{1,0,0}{0,1,0}{0,0,1}{500,0,0}")
    found = found_in(
        layer(fixture(1, matrix="{1,0,0}{0,1,0}{0,0,1}{0,3000,0}", inner=f"<ChildList>{rider}</ChildList>"))
    )
    assert [head.at for head in found.fixtures] == [(0, 3, -0.42), (0.5, 3, -0.42)]


@pytest.mark.parametrize(
    ("ids", "number"),
    [
        ("<FixtureID>12A</FixtureID><FixtureIDNumeric>5</FixtureIDNumeric>", "12A"),
        ("<FixtureID>0</FixtureID><CustomId>7</CustomId>", "7"),
        ("<FixtureID/><CustomId>0</CustomId><FixtureIDNumeric>9</FixtureIDNumeric>", "9"),
        ("<FixtureIDNumeric>0</FixtureIDNumeric><UnitNumber>4</UnitNumber>", ""),
    ],
)
def test_the_number_is_the_first_that_is_one(ids: str, number: str) -> None:
    assert only(fixture(1).replace("<FixtureID>101</FixtureID>", ids)).number == number


def test_an_id_that_is_missing_or_taken_is_noted() -> None:
    twice = fixture(1) + fixture(1, address="100").replace("Spot 1", "Twin") + fixture(2).replace(uid(2), "")
    found = found_in(layer(twice))
    assert [head.id for head in found.fixtures] == [uid(1), "", ""]
    assert any("Twin (101): the same uuid as another" in note for note in found.notes)
    assert any("Spot 2 (102): no uuid" in note for note in found.notes)


def trusses(inner: str, aux: str = "") -> list[str]:
    return [head.truss for head in found_in(layer(inner), aux).fixtures]


def test_a_truss_is_the_nearest_that_bears() -> None:
    outer = group(fixture(1) + group(fixture(2), "Short 1", tag="Support"), "LX 1", tag="Truss")
    assert trusses(outer) == ["LX-1", "Short-1"]


def test_two_trusses_of_one_name_are_two() -> None:
    assert trusses(group(fixture(1), "LX", tag="Truss") + group(fixture(2), "LX", tag="Truss")) == ["LX", "LX-2"]
    named = ["lx", "LX-2", "LX", "LX", "lx-2"]
    wanted = ["lx", "LX-2", "LX-3", "LX-4", "lx-2-2"]
    assert trusses("".join(group(fixture(n), name, tag="Truss") for n, name in enumerate(named, 1))) == wanted


def test_trusses_that_bear_no_head_take_no_name() -> None:
    assert trusses(group("", "LX", tag="Truss") + group(fixture(2), "LX", tag="Truss")) == ["LX"]


def test_a_group_round_one_truss_or_its_pieces_is_that_truss() -> None:
    piece = group("", "3 m", tag="Truss")
    bearing = group(fixture(2), "3 m", tag="Truss")
    assert trusses(group(piece + bearing + fixture(1), "LX 1")) == ["LX-1", "LX-1"]
    assert trusses(group(piece + fixture(1), "")) == ["3-m"]


def test_a_group_round_several_trusses_is_none() -> None:
    both = group("", "LX 1", tag="Truss") + group("", "LX 2", tag="Truss")
    assert trusses(group(both + fixture(1), "Stage")) == [""]


def test_without_a_truss_the_hanging_position_names_it() -> None:
    aux = f'<Position uuid="{uid(70).upper()}" name="Bridge 2"/>'
    position = f"<Position>{uid(70)}</Position>"
    assert trusses(fixture(1, inner=position) + fixture(2, inner=position), aux) == ["Bridge-2", "Bridge-2"]
    assert trusses(fixture(1, inner=f"<Position>{uid(71)}</Position>"), aux) == [""]


def test_a_group_without_a_truss_is_a_note_only() -> None:
    found = found_in(layer(group(fixture(1) + fixture(2), "LX 1")))
    assert [head.truss for head in found.fixtures] == ["", ""]
    assert any(note.startswith("Spot 1 (101), Spot 2 (102): in a group, but on no truss") for note in found.notes)


@pytest.mark.parametrize(
    ("says", "pan", "tilt"),
    [
        ("<DMXInvertPan>true</DMXInvertPan>", (270, -270), (-135, 135)),
        ("<DMXInvertTilt>1</DMXInvertTilt>", (-270, 270), (135, -135)),
        ("<DMXInvertPan>True</DMXInvertPan><DMXInvertTilt>true</DMXInvertTilt>", (270, -270), (135, -135)),
        ("<DMXInvertPan>false</DMXInvertPan><DMXInvertTilt>0</DMXInvertTilt>", (-270, 270), (-135, 135)),
    ],
)
def test_inverted_axes_run_from_the_other_end(says: str, pan: tuple, tilt: tuple) -> None:
    found = found_in(layer(fixture(1, inner=says)))
    (profile,) = found.profiles
    assert (profile.document["pan"]["from"], profile.document["pan"]["to"]) == pan
    assert (profile.document["tilt"]["from"], profile.document["tilt"]["to"]) == tilt
    assert ("inverted" in profile.stem) == ((pan, tilt) != ((-270, 270), (-135, 135)))


def test_inverted_heads_have_a_profile_of_their_own() -> None:
    found = found_in(layer(fixture(1) + fixture(2, attributes='DMXInvertPan="true"') + fixture(3)))
    plain, turned = found.profiles
    assert turned.stem == f"{plain.stem}-pan-inverted"
    assert "inverts pan" in turned.why["pan"]
    assert [head.profile for head in found.fixtures] == [plain.key, turned.key, plain.key]
    assert plain.document["pan"]["from"] == -270


def test_a_switch_that_says_neither_is_a_question() -> None:
    found = found_in(layer(fixture(1, inner="<DMXInvertPan/>")))
    assert found.profiles[0].document["pan"]["from"] == -270
    assert any("DMXInvertPan says '', neither true nor false: taken as false" in each for each in found.questions)


def test_a_head_patched_to_anothers_address_is_said() -> None:
    (left,) = found_in(layer(fixture(1) + fixture(2, attributes=f'multipatch="{uid(1)}"'))).skipped
    assert left.why.startswith(f"moves along with another fixture (multipatch of {uid(1)})")


def test_what_is_neither_a_head_nor_of_concern() -> None:
    symbol = f'<Symdef uuid="{uid(80)}" name="Tower"><ChildList>{fixture(9)}</ChildList></Symdef>'
    others = '<Projector name="P"/><SceneObject name="Chair"/><VideoScreen name="V"/><Hologram name="?"/>'
    found = found_in(layer(others + fixture(1)), symbol)
    assert len(found.fixtures) == 1
    assert [each.what for each in found.skipped] == ["1 projectors", "1 fixtures in the definition of symbol 'Tower'"]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no ZIP archive"),
        (b"<GeneralSceneDescription/>", "no ZIP archive"),
        (
            packed({"readme.txt": "hello"}),
            "expected GeneralSceneDescription.xml in it, found 1 other files: is it an MVR",
        ),
        (gdtf(), "is it a GDTF file"),
        (whole("<GeneralSceneDescription>"), "not well-formed XML"),
        (whole("<Show/>"), "expected a scene"),
        (whole('<!DOCTYPE a [<!ENTITY b "c">]><GeneralSceneDescription/>'), "document type"),
        (packed({"../GeneralSceneDescription.xml": "<GeneralSceneDescription/>"}), "leads out"),
        (mvr("".join(f'<Fixture GDTFMode="{n}"/>' for n in range(401))), "found 401 types and modes of fixtures"),
        (mvr("<Fixture/>" * 10_001), "found 10001 fixtures, allowed are 10000"),
        (whole("<GeneralSceneDescription>" + "<a>" * 300 + "</a>" * 300 + "</GeneralSceneDescription>"), "nested"),
    ],
)
def test_what_is_no_mvr_is_refused_with_a_sentence(data: bytes, says: str) -> None:
    with pytest.raises(FileRefused, match=says):
        read_mvr(data, "plot.mvr")


def test_a_member_without_a_name_is_overlooked() -> None:
    """A damaged name begins with a zero, where zipfile ends it."""
    data = mvr(layer(fixture(1)), {SPOT: gdtf(), "picture.png": b"x"}).replace(b"picture.png", b"\0icture.png")
    assert len(read_mvr(data, "plot.mvr").fixtures) == 1


def test_groups_as_deep_as_documents_may_be() -> None:
    xml = fixture(1, matrix="{1,0,0}{0,1,0}{0,0,1}{1,0,0}")
    for number in range(94):
        xml = group(xml, f"G{number}", "{1,0,0}{0,1,0}{0,0,1}{1,0,0}")
    (head,) = found_in(layer(xml)).fixtures
    assert head.at == (0.095, 0, -0.42)
    assert head.where == "layer Front, group G93, ..., group G1, group G0"


def test_groups_in_groups_without_lists_between_go_twice_as_deep() -> None:
    xml = fixture(1)
    for _ in range(190):
        xml = f"<GroupObject><Matrix>{{1,0,0}}{{0,1,0}}{{0,0,1}}{{1,0,0}}</Matrix>{xml}</GroupObject>"
    (head,) = found_in(layer(xml)).fixtures
    assert head.at == (0.19, 0, -0.42)


def test_an_empty_scene_is_noted() -> None:
    assert found_in("").notes == ("no fixtures are in it",)
    assert read_mvr(whole("<GeneralSceneDescription/>"), "plot.mvr").notes == ("no fixtures are in it",)
