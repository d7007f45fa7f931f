"""Files against each other: names that must exist, addresses and angles; every mistake is told once and at once."""

from __future__ import annotations

import pytest

RIG, STAGE, NET, SIGHT, POSES = "rig.yaml", "stage.yaml", "network.yaml", "sightings.yaml", "poses.yaml"
PROFILE = "profiles/spot.yaml"


def test_a_name_that_is_a_mark_and_a_fixture_is_no_tape_end(folder) -> None:
    folder.edit(STAGE, "  A: [-5", "  foh-1: [-5")
    assert any("which is a mark and a fixture" in text for text in folder.problems())


def test_a_channel_that_the_head_has_not(folder) -> None:
    folder.edit(RIG, "profile: spot-16bit", "profile: wash-8bit")
    folder.edit(SIGHT, "tilt: 50", "tilt: 50, focus: 3")
    problems = folder.problems()
    assert len(problems) == 1
    assert "sightings.yaml:5: sightings.foh-2 on D, focus: found 3" in problems[0]
    assert "has no such channel" in problems[0]


def test_everything_in_all_files_is_said_at_once_and_in_order(folder) -> None:
    lines = {
        RIG: folder.edit(RIG, "universe: 1", "universe: 0"),
        STAGE: folder.edit(STAGE, "margin: 0.15", "margin: -1"),
        NET: folder.edit(NET, "priority: 110", "priority: 300"),
        SIGHT: folder.edit(SIGHT, "mark: D", "mark: Q"),
        POSES: folder.edit(POSES, "faces: [1]", "faces: [7]"),
        PROFILE: folder.edit(PROFILE, "speed: 150", "speed: 0"),
    }
    second = folder.edit(RIG, "address: 101", "address: 900")
    problems = folder.problems()
    assert sorted(text.split(": ")[0] for text in problems) == sorted(
        [f"{file}:{line}" for file, line in lines.items()] + [f"{RIG}:{second}"]
    )


def test_one_mistake_is_one_message(folder) -> None:
    """A fixture that cannot be read is still known by name: no second message blames its sightings, poses or tapes."""
    folder.edit(RIG, "address: 1\n", "address: 1000\n")
    folder.edit(STAGE, "B: [5, 1, 0]", "B: [5, 1]")
    assert len(folder.problems()) == 2


def test_a_mistake_of_its_own_hides_no_other_of_the_same_thing(folder) -> None:
    """What stands beside it, in the same fixture, sighting or pose, is checked against the other files all the same."""
    folder.edit(RIG, "lag: 0.12", "lag: 120")
    folder.edit(RIG, "follows: lead", "follows: leda")
    folder.edit(RIG, "address: 101", "address: 9\n    hang: {yaw: 999}")
    folder.edit(SIGHT, "pan: -12.345, tilt: 61.002, zoom: 20000", "pan: -312.5, tilt: 61.002, zoom: -1")
    folder.edit(SIGHT, "pan: 167.6, tilt: -61.1", "pan: 167.6, tilt: 61.1, focus: -1")
    folder.edit(SIGHT, "fixture: foh-2, mark: D, pan: 3", "fixture: foh-3, mark: D, pan: all")
    folder.edit(POSES, "faces: [1]", "faces: [3]")
    folder.edit(POSES, "[65535, 5.2]", "[65536, 5.2]")
    expected = [
        "foh-1.lag: found 120", "foh-1.follows: found unknown target 'leda'", "foh-2.hang.yaw: found 999",
        "foh-2.address: found 9-28, which overlaps foh-1 at 1-16", "zoom: found -1", "pan: found -312.5",
        "focus: found -1", "found a second sighting of foh-1 on A", "pan: found 'all'", "unknown fixture 'foh-3'",
        "faces.1: found 3", "optics.zoom: found raw 65536",
    ]  # fmt: skip
    problems = folder.problems()
    assert [words for words in expected if not any(words in text for text in problems)] == []
    assert len(problems) == len(expected), problems


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        (RIG, "universe: 1\n    address: 101", "universe: 0\n    address: 1"),
        (RIG, "address: 101", "address: 900"),
        (
            RIG,
            "profile: spot-16bit\n    universe: 1\n    address: 101",
            "profile: spot-1\n    universe: 1\n    address: 5",
        ),
        (RIG, "follows: lead", "follows: the lead"),
        (RIG, "name: foh-2", "name: foh 2"),
        (SIGHT, "fixture: foh-1", "fixture: foh 1"),
        (SIGHT, "mark: A", "mark: a mark"),
        (SIGHT, "pan: -12.345", "pan: 99999"),
        (SIGHT, "tilt: -61.1", "tilt: down"),
        (POSES, "[[0, 54.0], [65535, 5.2]]", "[[0, 54.0], [65536, 0]]"),
    ],
)
def test_what_stands_in_for_a_mistake_is_blamed_for_nothing(folder, file: str, old: str, new: str) -> None:
    folder.edit(file, old, new)
    del folder.files[POSES if file != POSES else SIGHT]
    problems = [text for text in folder.problems() if not ("unknown fixture 'foh-2'" in text and new == "name: foh 2")]
    assert len(problems) == 1, problems


def test_an_angle_that_is_none_is_not_taken_for_zero(folder) -> None:
    folder.edit(PROFILE, "{from: -135, to: 135", "{from: 20, to: 155")
    folder.edit(RIG, "    limits: {pan: [-200, 200], tilt: [-110, 110]}\n", "")
    folder.edit(SIGHT, "tilt: 61.002", "tilt: up")
    folder.edit(SIGHT, "tilt: -61.1", "tilt: 60")
    problems = folder.problems()
    assert len(problems) == 1, problems
    assert "tilt: found 'up'" in problems[0]
