"""A file meets a show: what is added, what changes, what a hand has changed, what cannot be patched; comments stay."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.errors import FileRefused, InputError, ShowError
from bridge.exchange.found import Ask, Found, FoundFixture, FoundProfile
from bridge.exchange.meeting import NO_ANSWERS, Meeting, as_json, meet
from bridge.exchange.meeting_heads import names_for
from bridge.exchange.mvr import read_mvr
from bridge.exchange.mvr_out import new_mvr
from bridge.exchange.standing import standing
from bridge.exchange.taking import Taken, take
from bridge.exchange.texts import texts_of
from bridge.show.load import load

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
SPOT = FoundProfile(
    key="spot|wide",
    stem="works-spot-wide",
    source="works.gdtf",
    mode="wide",
    document={
        "name": "Harbour Works Spot, wide",
        "footprint": 10,
        "channels": {"pan": [1, 2], "tilt": [3, 4], "dimmer": [6]},
        "fixed": {5: 0, 7: 255, 8: 0, 9: 0, 10: 0},
        "pan": {"from": -270.0, "to": 270.0, "speed": 200.0},
        "tilt": {"from": 135.0, "to": -135.0},
    },
    why={"fixed.7": "shutter: open", "pan": "270 to the left first"},
    confirm=("pan", "tilt"),
)
HEADS = (
    FoundFixture(
        "Spot", id="a", number="101", profile=SPOT.key, universe=7, address=1, at=(1.0, 2.0, 7.0), truss="LX 1"
    ),
    FoundFixture("Spot", id="b", number="102", profile=SPOT.key, universe=7, address=11, hang=(0.0, 0.0, 180.0)),
)
WHOLE = Found(profiles=(SPOT,), fixtures=HEADS)


def shows(folder: Path, found: Found, answers: Mapping[str, str] = NO_ANSWERS) -> Meeting:
    """Meet, write and load: what an import does."""
    meeting = meet(found, standing(folder), answers)
    take(folder, Taken(meeting, texts_of(meeting, "works.mvr", folder.name)))
    return meeting


@pytest.fixture
def tour(tmp_path: Path) -> Path:
    folder = tmp_path / "tour"
    shutil.copytree(TOUR, folder)
    return folder


def test_heads_and_their_profile_come_into_a_show_and_it_loads(tour: Path) -> None:
    before = (tour / "rig.yaml").read_text()
    meeting = shows(tour, WHOLE)
    show = load(tour)
    one, other = show.fixtures[-2:]
    assert (one.name, one.universe, one.address, one.at, one.truss) == ("Spot-101", 7, 1, (1.0, 2.0, 7.0), "LX-1")
    assert (other.name, other.hang.roll, other.number) == ("Spot-102", 180.0, "102")
    assert (one.profile.tilt.from_deg, one.profile.fixed[7]) == (135.0, 255)
    assert (tour / "rig.yaml").read_text().startswith(before), "what stood there stands there, comments too"
    assert "# shutter: open" in (tour / "profiles" / "works-spot-wide.yaml").read_text()
    assert [change.path for change in meeting.changes] == ["", "Spot-101", "Spot-102"]


def test_a_second_import_of_the_same_file_changes_nothing(tour: Path) -> None:
    shows(tour, WHOLE)
    files = {path: path.read_bytes() for path in tour.rglob("*") if path.is_file()}
    meeting = shows(tour, WHOLE)
    assert (meeting.changes, meeting.questions) == ((), ())
    assert {path: path.read_bytes() for path in tour.rglob("*") if path.is_file()} == files


def test_a_changed_file_shows_what_changes_and_nothing_else_moves(tour: Path) -> None:
    shows(tour, WHOLE)
    before = (tour / "rig.yaml").read_text()
    moved = replace(HEADS[0], address=31, at=(1.0, 2.0, 7.5))
    meeting = shows(tour, replace(WHOLE, fixtures=(moved, HEADS[1])))
    assert [change.text for change in meeting.changes] == [
        "Spot-101.address: 1 -> 31",
        "Spot-101.at: [1.0, 2.0, 7.0] -> [1.0, 2.0, 7.5]",
    ]
    after = (tour / "rig.yaml").read_text().splitlines()
    assert sum(one != other for one, other in zip(before.splitlines(), after, strict=True)) == 2


def test_what_a_hand_has_changed_is_kept(tour: Path) -> None:
    shows(tour, WHOLE)
    rig, profile = tour / "rig.yaml", tour / "profiles" / "works-spot-wide.yaml"
    rig.write_text(rig.read_text().replace("[1.0, 2.0, 7.0]", "[1.0, 2.0, 6.8]   # measured"))
    profile.write_text(profile.read_text().replace("from: -270.0, to: 270.0", "from: 270.0, to: -270.0"))
    meeting = shows(tour, WHOLE)
    assert meeting.changes == ()
    assert "6.8" in " ".join(meeting.notes)
    assert "pan.from" in " ".join(meeting.notes)
    assert load(tour).fixtures[-2].at == (1.0, 2.0, 6.8)
    assert load(tour).fixtures[-2].profile.pan.from_deg == 270.0
    meeting = shows(tour, replace(WHOLE, fixtures=(replace(HEADS[0], at=(1.0, 2.0, 9.0)), HEADS[1])))
    assert meeting.changes == ()
    assert "kept: at [1.0, 2.0, 6.8] (the file: [1.0, 2.0, 9.0])" in meeting.questions[-1]


def test_a_renamed_head_is_the_same_head_and_a_deleted_one_stays_away(tour: Path) -> None:
    shows(tour, WHOLE)
    rig = tour / "rig.yaml"
    rig.write_text(rig.read_text().replace("name: Spot-101", "name: left"))
    meeting = shows(tour, WHOLE)
    assert not meeting.changes
    assert [head["name"] for head in meeting.heads] == ["left", "Spot-102"]
    text = rig.read_text()
    rig.write_text(text[: text.index("  - name: left")])
    meeting = shows(tour, WHOLE)
    assert not meeting.changes
    assert not meeting.heads
    assert [what for what, _ in meeting.skipped] == ["left", "Spot-102"]


def test_a_head_that_left_the_drawing_is_asked_about_and_stays(tour: Path) -> None:
    shows(tour, WHOLE)
    meeting = shows(tour, replace(WHOLE, fixtures=HEADS[:1]))
    assert "Spot-102" in " ".join(meeting.questions)
    assert load(tour).fixtures[-1].name == "Spot-102"


def test_slots_that_are_taken_are_said_and_nothing_overlaps(tour: Path) -> None:
    taken = load(tour).fixtures[0]
    on_top = replace(HEADS[0], universe=taken.universe, address=taken.address)
    past = replace(HEADS[1], address=510)
    meeting = shows(tour, replace(WHOLE, fixtures=(on_top, past)))
    assert [why.split(",")[0] for _, why in meeting.skipped] == [
        f"its slots {taken.universe}/{taken.address}-{taken.address + 9} overlap those of {taken.name}",
        "its 10 slots from 510 on reach past 512",
    ]
    load(tour)


def test_a_type_that_nobody_knows_is_asked_and_an_answer_takes_it(tour: Path) -> None:
    found = Found(fixtures=(FoundFixture("row 1", type="Beamer", universe=9, address=1),))
    meeting = meet(found, standing(tour))
    assert meeting.asks[0][:2] == ("profile", "Beamer")
    assert "spot-16bit" in meeting.asks[0].choices
    assert not meeting.heads
    meeting = shows(tour, found, {"Beamer": "spot-16bit"})
    assert meeting.asks == ()
    assert load(tour).fixtures[-1].profile.name == "generic spot, 16 bit"
    with pytest.raises(FileRefused, match="nearest is 'spot-16bit'"):
        meet(found, standing(tour), {"": "spot-16bits"})
    with pytest.raises(FileRefused, match="unknown type 'Beamr', nearest is 'Beamer'"):
        meet(found, standing(tour), {"Beamr": "spot-16bit"})
    assert meet(found, standing(tour), {"": "spot-16bit"}).heads


def test_types_are_known_by_file_by_name_and_built_in(tour: Path) -> None:
    shows(tour, Found(profiles=(SPOT,)))
    words = ["works spot wide", "Harbour Works Spot, wide", "spot-16bit", "profiles/works-spot-wide.yaml"]
    heads = tuple(FoundFixture(f"h{n}", type=word, universe=9, address=1 + 20 * n) for n, word in enumerate(words))
    meeting = meet(Found(fixtures=heads), standing(tour))
    works = "profiles/works-spot-wide.yaml"
    assert [head["profile"] for head in meeting.heads] == [works, works, "spot-16bit", works]


def test_a_profile_made_by_hand_is_kept_and_the_difference_asked(tour: Path) -> None:
    (tour / "profiles").mkdir(exist_ok=True)
    file = tour / "profiles" / "works-spot-wide.yaml"
    shows(tour, Found(profiles=(SPOT,)))
    (tour / "imported.yaml").unlink()
    file.write_text(file.read_text().replace("to: 270.0", "to: 265.0"))
    meeting = shows(tour, Found(profiles=(SPOT,)))
    assert not meeting.changes
    assert "pan.to 265.0 (the file: 270.0)" in meeting.questions[0]


def test_another_head_of_the_same_file_name_gets_a_file_of_its_own(tour: Path) -> None:
    other = replace(SPOT, key="x", document={**SPOT.document, "name": "Pier Spot", "footprint": 12})
    meeting = shows(tour, Found(profiles=(SPOT, other)))
    assert [here.file for here in meeting.profiles] == [
        "profiles/works-spot-wide.yaml",
        "profiles/works-spot-wide-2.yaml",
    ]
    assert not shows(tour, Found(profiles=(SPOT, other))).changes


def test_values_that_make_no_profile_are_left_out_and_so_are_their_heads(tour: Path) -> None:
    bad = replace(SPOT, document={**SPOT.document, "fixed": {1: 0}})
    meeting = shows(tour, replace(WHOLE, profiles=(bad,)))
    assert "byte of pan" in meeting.skipped[0].why
    assert not meeting.changes
    assert load(tour)


def test_a_file_into_a_folder_that_is_not_there_makes_a_show(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "hall"
    shows(folder, WHOLE)
    assert [head.name for head in load(folder).fixtures] == ["Spot-101", "Spot-102"]


def test_a_profile_alone_makes_no_rig(tmp_path: Path) -> None:
    shows(tmp_path / "hall", Found(profiles=(SPOT,)))
    assert sorted(path.name for path in (tmp_path / "hall").rglob("*.yaml")) == [
        "imported.yaml",
        "works-spot-wide.yaml",
    ]


def test_a_show_that_was_changed_meanwhile_is_not_written_to(tour: Path) -> None:
    meeting = meet(WHOLE, standing(tour))
    texts = texts_of(meeting, "works.mvr", "tour")
    with open(tour / "rig.yaml", "a") as file:
        file.write("# another hand\n")
    with pytest.raises(InputError, match="changed by somebody else"):
        take(tour, Taken(meeting, texts))
    assert not (tour / "imported.yaml").exists()


def test_a_show_with_problems_is_not_touched(tour: Path) -> None:
    (tour / "rig.yaml").write_text("version: 1\nfixtures: [\n")
    with pytest.raises(ShowError, match=r"rig\.yaml"):
        standing(tour)


def test_an_ask_of_the_file_is_passed_on(tour: Path) -> None:
    ask = Ask("mode", "works.gdtf", "Which mode?", ("a", "b"))
    assert meet(Found(asks=(ask,)), standing(tour)).asks == (ask,)


@pytest.mark.parametrize(
    ("rows", "names"),
    [
        ([("A", ""), ("B", "")], ["A", "B"]),
        ([("Spot", "1"), ("Spot", "2")], ["Spot-1", "Spot-2"]),
        ([("Spot", ""), ("Spot", ""), ("spot", "")], ["Spot", "Spot-2", "spot-3"]),
        ([("", "7"), ("", "")], ["head-7", "head"]),
        ([("Spot", "1"), ("Spot", "1")], ["Spot-1", "Spot-1-2"]),
        ([("Größe 1/2", ""), ("灯", "3")], ["Grosse-1-2", "head-3"]),
    ],
)
def test_names(rows: list[tuple[str, str]], names: list[str]) -> None:
    assert names_for([FoundFixture(name, number=number) for name, number in rows]) == names


def test_a_turn_that_the_file_did_not_say_before_is_taken(tour: Path) -> None:
    shows(tour, WHOLE)
    meeting = shows(tour, replace(WHOLE, fixtures=(replace(HEADS[0], hang=(10.0, 0.0, 0.0)), HEADS[1])))
    assert [change.text for change in meeting.changes] == ["Spot-101.hang.yaw: 0.0 -> 10.0"]
    assert load(tour).fixtures[-2].hang.yaw == 10.0


def test_a_drawing_that_we_gave_brings_no_second_profile(tour: Path, tmp_path: Path) -> None:
    (tour / "poses.yaml").unlink()
    drawing = tmp_path / "plot.mvr"
    drawing.write_bytes(new_mvr(load(tour)))
    meeting = shows(tour, read_mvr(drawing, "plot.mvr"))
    assert {change.path.partition(".")[2] for change in meeting.changes} <= {"number"}
    assert {here.file for here in meeting.profiles} == {str(head["profile"]) for head in standing(tour).heads}


def test_a_drawing_that_we_gave_of_an_imported_show_brings_no_second_profile(tour: Path, tmp_path: Path) -> None:
    (tour / "poses.yaml").unlink()
    shows(tour, WHOLE)
    other = SPOT.document | {"name": "Other Spot", "axes_at": [0, 0, -0.5]}
    twin = replace(SPOT, key="b", stem="other", document=other)
    shows(tour, Found((twin,), (FoundFixture("c", id="c", profile="b", universe=8, address=1, at=(0.0, 0.0, 5.0)),)))
    before = {str(head["name"]): head["profile"] for head in standing(tour).heads}
    assert before["c"] != before["Spot-101"]
    drawing = tmp_path / "plot.mvr"
    drawing.write_bytes(new_mvr(load(tour)))
    meeting = shows(tour, read_mvr(drawing, "plot.mvr"))
    assert not any("profile" in change.path for change in meeting.changes)
    assert {str(head["name"]): head["profile"] for head in standing(tour).heads} == before


def test_what_was_read_of_a_mode_that_cannot_be_used_is_told_and_never_written(tour: Path) -> None:
    meeting = meet(Found(unfit=(SPOT,)), standing(tour))
    assert texts_of(meeting, "works.gdtf", "tour") == {}
    (told,) = as_json(meeting, ())["profiles"]
    assert (told["file"], told["unfit"], told["pan"]["from"]) == (None, True, -270.0)


def test_a_head_is_told_with_its_turn_also_where_that_is_none(tour: Path) -> None:
    one, other = as_json(meet(WHOLE, standing(tour)), ())["fixtures"]
    assert one["hang"] == {"yaw": 0.0, "pitch": 0.0, "roll": 0.0}
    assert other["hang"]["roll"] == 180.0
