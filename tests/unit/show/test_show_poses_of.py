"""Poses know what they are of: what `of` in poses.yaml says, and what is told when rig or marks have changed since."""

from __future__ import annotations

import pytest

from bridge.commands import findings
from bridge.daemon import summary
from bridge.show.emit import to_yaml
from bridge.show.poses_of import PosesOf, document_of, words

DATE = "2026-11-25T09:00:00+00:00"


@pytest.fixture
def solved(folder):
    """The folder of conftest.py, its poses signed as of the rig, marks, tapes and sightings that it holds."""
    show = folder.load()
    folder.files["poses.yaml"] += to_yaml({"of": document_of(show, show.poses, DATE)})
    return folder


def warnings(show):
    return [text for level, text in words(show) if level == "warning"]


def test_unchanged_poses_say_of_what_and_when_and_nothing_else(solved):
    assert list(words(solved.load())) == [("info", "poses of Test Hall, solved 2026-11-25 09:00 UTC")]


def test_no_poses_say_nothing_and_those_of_unknown_origin_say_so(folder):
    assert "does not say what it is of" in next(words(folder.load()))[1]
    del folder.files["poses.yaml"]
    (folder.path / "poses.yaml").unlink()
    assert list(words(folder.load())) == []


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("rig.yaml", "hang: {yaw: 0,", "hang: {yaw: 90,"),
        ("rig.yaml", "at: [-4.0,", "at: [-4.5,"),
        ("rig.yaml", "truss: foh", "truss: mid"),
        ("rig.yaml", "unit: A-1043", "unit: A-1044"),
        ("profiles/spot.yaml", "pan:  {from: -270", "pan:  {from: -265"),
        ("profiles/spot.yaml", "tilt: {from: -135, to: 135", "tilt: {from: 135, to: -135"),
    ],
)
def test_a_head_that_hangs_otherwise_is_named_with_what_to_do(solved, file, old, new):
    solved.edit(file, old, new)
    (text,) = warnings(solved.load())
    assert text.startswith("THE RIG HAS CHANGED since the poses were solved: foh-1 (")
    assert "Sight them again and solve" in text


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("stage.yaml", "B: [5, 1, 0]", "B: [5, 1.2, 0]"),
        ("stage.yaml", "C: {at: [5, 7, 0]", "C: {at: [5, 7, 0.6]"),
        ("stage.yaml", "D: {at: unknown, height: 0}", "D: {at: unknown, height: 0.6}"),
    ],
)
def test_a_mark_that_moved_is_named(solved, file, old, new):
    solved.edit(file, old, new)
    (text,) = warnings(solved.load())
    assert text.startswith(f"THE MARKS HAVE CHANGED since the poses were solved: {new[0]}: ")


def test_tapes_and_sightings_have_their_own_words(solved):
    solved.edit("stage.yaml", "metres: 10.02", "metres: 10.2")
    solved.edit("sightings.yaml", "pan: 3, tilt: 50", "pan: 3, tilt: 50.5")
    said = {text[:30]: level for level, text in words(solved.load())}
    assert said["THE TAPES OR THE DATUM HAVE CH"] == "warning"
    assert said["the sightings have changed sin"] == "info"


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("rig.yaml", "at: [-4.0, -12.0, 9.0]", "at: [-400 cm, -12, 9]"),
        ("rig.yaml", "address: 1\n", "address: 33\n"),
        ("rig.yaml", "sigma: 1.0}", "sigma: 2.0}"),
        ("rig.yaml", "rest: [0, 45]", "rest: [0, 40]"),
        ("profiles/spot.yaml", "speed: 180", "speed: 170"),
        ("stage.yaml", "sigma: 0.02}", "sigma: 0.03}"),
        ("stage.yaml", "between: [A, B]", "between: [B, A]"),
    ],
)
def test_what_moves_no_pose_is_no_change(solved, file, old, new):
    solved.edit(file, old, new)
    assert warnings(solved.load()) == []


def test_what_was_centred_on_a_mark_belongs_to_its_sighting(solved):
    solved.edit("sightings.yaml", "pan: 3, tilt: 50", "pan: 3, tilt: 50, sighted_by: axis")
    assert [text[:31] for _, text in words(solved.load())][1:] == ["the sightings have changed sinc"]


def test_a_new_order_of_the_sightings_is_no_change(solved):
    rows = solved.files["sightings.yaml"].splitlines()
    solved.files["sightings.yaml"] = "\n".join([*rows[:2], *rows[:1:-1]]) + "\n"
    assert len(list(words(solved.load()))) == 1


def test_poses_of_another_rig_are_told_but_a_copied_folder_is_no_other_rig(solved):
    solved.edit("rig.yaml", "name: Test Hall", "name: Harbour Hall")
    (text,) = warnings(solved.load())
    assert text.startswith("THE POSES ARE OF ANOTHER RIG: of Test Hall, and this is Harbour Hall")
    solved.edit("rig.yaml", "name: Harbour Hall\n", "")
    assert warnings(solved.load()) == []


def test_a_rig_that_is_called_as_its_folder_or_not_at_all_has_poses_that_are_read_again(folder):
    folder.edit("rig.yaml", "name: Test Hall\n", f"name: {folder.path.name}\n")
    show = folder.load()
    folder.files["poses.yaml"] += to_yaml({"of": document_of(show, show.poses, DATE)})
    assert list(words(folder.load())) == [("info", "poses of a rig without a name, solved 2026-11-25 09:00 UTC")]


def test_run_and_check_say_the_same(solved):
    solved.edit("rig.yaml", "unit: A-1043", "unit: A-1044")
    show = solved.load()
    told = list(words(show))
    assert len(told) == 2
    assert [row for row in summary.doubts(show) if row in told] == told
    found = [(f.level, f.what) for f in findings._poses(show)]
    assert found[:2] == [("note", told[0][1]), ("warning", told[1][1])]


def test_a_head_kept_from_before_stays_of_what_it_was_of(solved):
    """foh-1 was re-hung, and the next solve had sightings of foh-2 only: foh-1 is still of the hang before."""
    before = solved.load().poses_of
    solved.edit("rig.yaml", "at: [-4.0,", "at: [-4.5,")
    show = solved.load()
    now = document_of(show, {"foh-2": None}, "2026-11-26T09:00:00+00:00")
    assert now["date"] == "2026-11-26T09:00:00+00:00"
    assert now["rig"] == {"foh-1": before.rig["foh-1"], "foh-2": before.rig["foh-2"]}
    assert document_of(show, {"foh-1": None}, DATE)["rig"]["foh-1"] != before.rig["foh-1"]


def test_of_is_read_in_part_and_refused_with_its_line(folder):
    folder.files["poses.yaml"] += "of: {date: today, rig: {foh-1: aaaaaaaa}}\n"
    assert folder.load().poses_of == PosesOf("today", rig={"foh-1": "aaaaaaaa"})
    line = folder.edit("poses.yaml", "of: {date: today", "of: {dat: today")
    (problem,) = folder.problems()
    assert problem.startswith(f"poses.yaml:{line}: of: found unknown key 'dat', nearest is 'date'")
