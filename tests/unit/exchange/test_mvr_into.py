"""Poses into a copy of somebody's MVR: the right place, and not an octet more than the matrices."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.errors import FileRefused
from bridge.exchange.gdtf import open_gdtf, profile_of, read_gdtf
from bridge.exchange.hang import rotation_of
from bridge.exchange.mvr import read_mvr
from bridge.exchange.mvr_into import into_mvr
from bridge.exchange.mvr_out import new_mvr, own_id
from bridge.rig.fixture import Pose
from bridge.rig.profile import Axis
from tests.unit.exchange import made_mvr
from tests.unit.exchange.made_gdtf import GEOMETRIES, Mode, build_gdtf
from tests.unit.exchange.made_show import AXES_AT, harbour_hall, poses, solved, turn_between_rad
from tests.unit.exchange.odd_mvr import Made, archive_of, documents, scene_xml, worlds

ELSEWHERE = Pose((1.0, 2.0, 3.0), (0.0, 0.0, 0.6, 0.8))
NUMBER = re.compile(r"\{-?[\d.]+,-?[\d.]+,-?[\d.]+\}" * 4)


def scene(*fixtures: str, above: str = "") -> bytes:
    """A plain archive with these fixtures in one layer."""
    text = "".join(fixtures)
    return archive_of(
        f"<GeneralSceneDescription><Scene><Layers><Layer name='Front'>{above}<ChildList>{text}</ChildList></Layer>"
        "</Layers></Scene></GeneralSceneDescription>".encode()
    )


def fixture(name: str = "", uuid: str = "", number: str = "", address: str = "", matrix: str = "") -> str:
    patch = f"<Addresses><Address break='0'>{address}</Address></Addresses>" if address else ""
    inner = matrix or "<Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,0}</Matrix>"
    return f"<Fixture name='{name}' uuid='{uuid}'>{inner}<FixtureID>{number}</FixtureID>{patch}</Fixture>"


@settings(deadline=None)
@given(documents('name="foh-1" uuid="0" title="a > b"|<FixtureID>x</FixtureID>'), poses())
def test_a_pose_goes_in_and_every_other_octet_stays(made: Made, pose: Pose) -> None:
    octets, report = into_mvr(solved({"foh-1": pose}), archive_of(made.data))
    data = scene_xml(octets)
    assert data.startswith(made.before)
    assert data.endswith(made.behind)
    middle = data[len(made.before) : len(data) - len(made.behind)].replace(b"\0", b"").decode("ascii")
    assert len(re.findall(NUMBER, middle)) == 1
    assert re.fullmatch(r"<Matrix[^{]*\{[^<]*</Matrix\s*>", middle), "only a matrix is there"
    world = worlds(data)["foh-1"]
    turn = Rotation.from_quat(pose.rotation).as_matrix()
    assert turn_between_rad(world[:3, :3], turn) < 1e-6
    assert np.linalg.norm(world[:3, 3] / 1000 + world[:3, :3] @ AXES_AT - pose.position) < 1e-6
    assert report.changed["foh-1"].by == "name"
    again, _ = into_mvr(solved({"foh-1": pose}), octets)
    assert again == octets, "twice is once"


def test_the_rest_of_the_archive_is_the_same_octets() -> None:
    old = scene(fixture("foh-1"))
    octets, _ = into_mvr(solved({"foh-1": ELSEWHERE}), old)
    first, behind = old.index(b"GeneralSceneDescription.xml") - 30, old.index(b"Head@one.gdtf") - 30
    directory = old.index(b"PK\1\2")
    assert octets[:first] == old[:first]
    assert old[behind:directory] in octets


def test_without_a_solved_head_of_the_file_the_copy_is_the_file() -> None:
    old = new_mvr(solved({}))
    doubted = replace(ELSEWHERE, trusted=False)
    octets, report = into_mvr(solved({"foh-1": doubted}), old)
    assert octets == old
    assert report.changed == {}
    assert "not trusted" in report.kept["foh-1"]
    assert "not solved" in report.kept["foh-2"]


def test_the_four_ways_to_find_a_head_in_their_order() -> None:
    show = solved(dict.fromkeys(["foh-1", "foh-2", "foh-3", "foh-4", "mid-1"], ELSEWHERE), foh_2={"number": "102"})
    ours = own_id(harbour_hall(), "fixture/mid-1")
    old = scene(
        fixture("foh-3", "{ABC}", number="102", address="25"),
        fixture("foh-1", "def", number="102"),
        fixture("foh-3", "ghi"),
        fixture("", "jkl", address="73"),
        fixture("foh-3x", ours.upper()),
    )
    octets, report = into_mvr(show, old, {"abc": "foh-1"})
    assert {name: (each.by, each.drawn) for name, each in report.changed.items()} == {
        "foh-1": ("id", "foh-3"),
        "foh-2": ("number", "foh-1"),
        "foh-3": ("name", "foh-3"),
        "foh-4": ("patch", ""),
        "mid-1": ("id", "foh-3x"),
    }
    assert len(re.findall(NUMBER, scene_xml(octets).decode())) == 5


def test_what_fits_twice_is_not_changed_and_said() -> None:
    show = solved({"foh-1": ELSEWHERE, "foh-2": ELSEWHERE}, foh_1={"number": "7"}, foh_2={"number": "8"})
    old = scene(fixture("foh-1", "a", "7"), fixture("", "b", "7"), fixture("x", "c", "9", address="25.1"))
    octets, report = into_mvr(show, old)
    assert octets == old
    assert "number fits 2" in report.kept["foh-1"]
    assert "no fixture of the file" in report.kept["foh-2"]


def test_a_copy_of_a_head_is_not_taken_for_it() -> None:
    old = scene(fixture("foh-1"), fixture("foh-1").replace("<Fixture ", "<Fixture multipatch='abc' "))
    octets, report = into_mvr(solved({"foh-1": ELSEWHERE}), old)
    assert set(report.changed) == {"foh-1"}
    assert scene_xml(octets).count(b"{0,0,0}") == 1


@pytest.mark.parametrize(
    ("above", "matrix", "why"),
    [
        ("<Matrix>{1,0,0}{0,1,0}{0,0,0}{0,0,0}</Matrix>", "", "flat"),
        ("<Matrix>{1e300,0,0}{0,1e300,0}{0,0,1e300}{1e300,0,0}</Matrix>", "", "flat"),
        ("<Matrix>{1,2,3}</Matrix>", "", "layer Front"),
    ],
)
def test_a_head_below_a_matrix_that_cannot_be_undone_is_not_changed(above: str, matrix: str, why: str) -> None:
    old = scene(fixture("foh-1"), above=above)
    octets, report = into_mvr(solved({"foh-1": ELSEWHERE}), old)
    assert octets == old
    assert why in report.kept["foh-1"]


def test_a_fixture_that_is_an_empty_tag_is_opened() -> None:
    octets, report = into_mvr(solved({"foh-1": ELSEWHERE}), scene("<Fixture uuid='/>'  name='foh-1' />"))
    assert b"<Fixture uuid='/>'  name='foh-1'><Matrix>{" in scene_xml(octets)
    assert report.changed["foh-1"].added


def test_a_prefix_is_kept_for_what_is_added() -> None:
    old = archive_of(
        b"<m:GeneralSceneDescription xmlns:m='x'><m:Layer><m:Fixture name='foh-1'></m:Fixture></m:Layer>"
        b"</m:GeneralSceneDescription>"
    )
    data = scene_xml(into_mvr(solved({"foh-1": ELSEWHERE}), old)[0])
    assert re.search(rb"<m:Fixture name='foh-1'><m:Matrix>[^<]*</m:Matrix></m:Fixture>", data)


REFUSED = {
    "no archive": (b"<GeneralSceneDescription/>", "no ZIP"),
    "no scene": (archive_of(b"<x/>", "other.xml"), "no MVR"),
    "broken": (archive_of(b"<GeneralSceneDescription><Scene>"), "well-formed"),
    "a DTD": (archive_of(b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>"), "DTD"),
    "empty": (b"", "no ZIP"),
}


@pytest.mark.parametrize(("old", "why"), REFUSED.values(), ids=REFUSED)
def test_files_that_are_no_mvr_are_refused_with_a_sentence(old: bytes, why: str) -> None:
    with pytest.raises(FileRefused, match=why):
        into_mvr(solved({"foh-1": ELSEWHERE}), old, what="old.mvr")


@settings(deadline=None)
@given(st.data())
def test_mutated_files_are_refused_or_written_never_a_traceback(data: st.DataObject) -> None:
    octets = bytearray(scene(fixture("foh-1", above_of(data)), fixture("foh-2", "b", "2", "25")))
    for _ in range(data.draw(st.integers(1, 6))):
        octets[data.draw(st.integers(0, len(octets) - 1))] = data.draw(st.integers(0, 255))
    try:
        into_mvr(solved({"foh-1": ELSEWHERE, "foh-2": ELSEWHERE}), bytes(octets), what="old.mvr")
    except FileRefused as refused:
        said = str(refused)
    else:
        said = "old.mvr"
    assert said.startswith("old.mvr")


def above_of(data: st.DataObject) -> str:
    return data.draw(st.sampled_from(["a", "{A}", ""]))


@settings(deadline=None)
@given(st.text(alphabet="<>/='\"! -[]CDATAMatrixFueuid{}0,1?&;\n", max_size=200))
def test_any_text_in_a_fixture_is_refused_or_written(text: str) -> None:
    old = scene(f"<Fixture name='foh-1'>{text}</Fixture>")
    try:
        octets, _ = into_mvr(solved({"foh-1": ELSEWHERE}), old, what="old.mvr")
    except FileRefused:
        return
    assert scene_xml(octets).startswith(scene_xml(old)[: scene_xml(old).index(b"<Fixture name='foh-1'")])


@settings(deadline=None, max_examples=40)
@given(poses())
def test_a_drawing_with_its_own_types_has_the_pose_again_whatever_our_profile_says_of_the_axes(pose: Pose) -> None:
    drawing = made_mvr.mvr(made_mvr.layer(made_mvr.group(made_mvr.fixture(1, "foh-1"))))
    octets, report = into_mvr(solved({"foh-1": pose}), drawing)
    assert list(report.changed) == ["foh-1"]
    (head,) = read_mvr(octets, "back.mvr").fixtures
    assert head.at is not None
    assert head.hang is not None
    assert np.abs(np.subtract(head.at, pose.position)).max() < 1e-6
    assert turn_between_rad(rotation_of(head.hang), Rotation.from_quat(pose.rotation).as_matrix()) < 1e-6


def test_a_pan_zero_that_a_file_alone_left_out_is_put_into_the_drawing() -> None:
    """The type's yoke is turned by a quarter: pan 0 of our profile is 90 degrees beside the drawing's."""
    turned = GEOMETRIES.replace("{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}", "{0,1,0,0}{-1,0,0,0}{0,0,1,-0.12}")
    file = build_gdtf([Mode("Standard", made_mvr.SPOT_CHANNELS)], geometries=turned)
    alone, drawn = read_gdtf(file, "a.gdtf").profiles[0], profile_of(open_gdtf(file, "a.gdtf"), "Standard").profile
    assert drawn is not None
    ours, theirs = (Axis(each.document["pan"]["from"], each.document["pan"]["to"]) for each in (alone, drawn))
    assert abs(theirs.from_deg - ours.from_deg) == 90.0
    profile = replace(harbour_hall().fixtures[0].profile, pan=ours)
    pose = Pose((1.0, 2.0, 8.0), (0.1, -0.2, 0.3, 0.9273618495495703))
    drawing = made_mvr.mvr(made_mvr.layer(made_mvr.fixture(1, "foh-1")), {made_mvr.SPOT: file})
    octets, _ = into_mvr(solved({"foh-1": pose}, foh_1={"profile": profile}), drawing)
    (head,) = read_mvr(octets, "back.mvr").fixtures
    assert head.hang is not None
    zero = Rotation.from_euler("z", theirs.from_deg - ours.from_deg, degrees=True).as_matrix()
    assert turn_between_rad(rotation_of(head.hang) @ zero, Rotation.from_quat(pose.rotation).as_matrix()) < 1e-6
