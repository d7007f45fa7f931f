"""A show as a new MVR: what is in it, whose place it takes, and that it is the same every time."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np

from bridge.exchange.mvr_out import new_mvr
from bridge.exchange.placed import placed_heads
from bridge.exchange.writing import matrix_text, number_text
from bridge.rig.fixture import Pose
from tests.unit.exchange.made_show import harbour_hall, solved

ELSEWHERE = Pose((1.0, 2.0, 3.0), (0.0, 0.0, 0.6, 0.8))


def scene_of(octets: bytes) -> ElementTree.Element:
    return ElementTree.fromstring(zipfile.ZipFile(io.BytesIO(octets)).read("GeneralSceneDescription.xml"))


def uuids_of(octets: bytes) -> dict[str, str]:
    return {each.attrib["name"]: each.attrib["uuid"] for each in scene_of(octets).iter("Fixture")}


def test_a_pose_counts_where_it_is_trusted_or_accepted_else_the_plot() -> None:
    doubted = replace(ELSEWHERE, trusted=False)
    show = solved({"foh-1": ELSEWHERE, "foh-2": doubted, "foh-3": replace(doubted, accepted="the desk, 26 November")})
    placed, nowhere = placed_heads(show)
    assert {name: each.source for name, each in placed.items() if each.source == "solved"} == dict.fromkeys(
        ["foh-1", "foh-3"], "solved"
    )
    assert tuple(placed["foh-2"].at) == show.fixtures[1].at
    assert "not trusted" in placed["foh-2"].doubt
    assert "accepted by the desk" in placed["foh-3"].doubt
    assert nowhere == {}


def test_a_head_whose_place_nobody_knows_is_left_out_and_said() -> None:
    show = solved({"foh-2": replace(ELSEWHERE, trusted=False)}, foh_1={"at": None}, foh_2={"at": None})
    placed, nowhere = placed_heads(show)
    assert set(nowhere) == {"foh-1", "foh-2"}
    assert "not solved" in nowhere["foh-1"]
    assert "not trusted" in nowhere["foh-2"]
    assert set(uuids_of(new_mvr(show))) == set(placed)


def test_drawings_get_the_base_and_not_the_axes() -> None:
    (first, *_) = scene_of(new_mvr(solved({"foh-1": ELSEWHERE}))).iter("Matrix")
    turn = np.array([[0.28, -0.96, 0], [0.96, 0.28, 0], [0, 0, 1]])
    origin = np.array([1.0, 2.0, 3.0]) - turn @ [0.01, -0.02, -0.35]
    numbers = [float(part) for part in (first.text or "").strip("{}").replace("}{", ",").split(",")]
    assert np.allclose(numbers, [*turn.T.ravel(), *origin * 1000], atol=1e-9)


def test_the_same_show_gives_the_same_octets_and_ids_stay() -> None:
    before = new_mvr(solved({}))
    assert new_mvr(solved({})) == before
    assert uuids_of(new_mvr(solved({"foh-1": ELSEWHERE}))) == uuids_of(before)


def test_ids_that_a_drawing_gave_are_kept() -> None:
    known = "0BADCAFE-0000-4000-8000-00000000CAFE"
    found = uuids_of(new_mvr(solved({}), {known: "mid-2", "row 7": "mid-3"}))
    assert found["mid-2"] == known
    assert len(found["mid-3"]) == len(known), "what is no UUID is not written as one"


def test_two_profiles_of_one_name_are_two_files() -> None:
    other = replace(harbour_hall().fixtures[0].profile, footprint=30)
    octets = new_mvr(solved({}, foh_1={"profile": other}))
    names = zipfile.ZipFile(io.BytesIO(octets)).namelist()
    specs = [each.text for each in scene_of(octets).iter("GDTFSpec")]
    assert len(names) == len(set(names)) == 3
    assert specs[0] != specs[1]
    assert set(specs) == set(names[1:])


def test_names_that_no_xml_may_hold_and_all_that_it_must_escape() -> None:
    show = replace(solved({}, foh_1={"truss": "a<b>&\"'\u0007"}), name="Ha\u0000ll & <sons>")
    scene = scene_of(new_mvr(show))
    assert next(scene.iter("Layer")).attrib["name"] == "Hall & <sons>"
    assert next(scene.find("Scene/AUXData").iter("Position")).attrib["name"] == "a<b>&\"'"  # type: ignore[union-attr]


def test_numbers_keep_all_digits_and_never_an_exponent() -> None:
    assert [number_text(value) for value in (0.0, -0.0, 1, -2.5e-7, 1e16, 1e-17, 1 / 3)] == [
        "0.0", "0.0", "1.0", "-0.00000025", "10000000000000000.0", "0.0", "0.3333333333333333",
    ]  # fmt: skip
    assert matrix_text(np.eye(3), [1, 2, 3]) == "{1.0,0.0,0.0}{0.0,1.0,0.0}{0.0,0.0,1.0}{1.0,2.0,3.0}"
