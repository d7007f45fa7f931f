"""Saving stage.yaml: onto the file that was read, with a show that loads, all or nothing, every problem as data."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from bridge.errors import InputError
from bridge.show import load, stage_edit
from bridge.show.field_problems import field_problem
from bridge.show.stage_edit import StageChanged, StageRefused, read_stage_file, save_stage
from bridge.show.store import atomic_write, previous_of
from tests.unit.show import test_show_refusals
from tests.unit.show.killed import die_at

STAGE = """# Test Hall, measured in May
version: 1
performance_polygon:
  corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]   # the white line
  height: [-50 cm, 4.0]
  margin: 0.15
marks:
  A: [-5, 1, 0]
  B: {at: [5, 1, 10' 6"], sigma: 0.01}   # on the wall
  D: {at: unknown}     # nobody has been there
  E: {at: unknown, height: 0}
datum: {origin: D, along_x: E}
tapes:
  # steel tape
  - {between: [A, B], metres: 10.02}
  - {between: [E, foh-1], metres: 15 m}  # laser
targets: {lead: {}}
"""


@pytest.fixture
def show(folder) -> Path:
    folder.files["stage.yaml"] = STAGE
    del folder.files["poses.yaml"]
    return folder.write()


def do(word: str, path: str, value: Any = None) -> dict[str, Any]:
    return {"do": word, "path": path, "to" if word == "rename" else "value": value}


def save(show: Path, *changes: dict[str, Any]) -> str:
    """Saves, and gives what stands there then. The digests must fit each other."""
    digest = save_stage(show, changes, read_stage_file(show).digest)
    assert digest == read_stage_file(show).digest
    return (show / "stage.yaml").read_bytes().decode()


def refused(show: Path, *changes: dict[str, Any]) -> list[tuple[str, str]]:
    """(path, text) of the problems; nothing may have changed on the disk."""
    before = {path: path.read_bytes() for path in show.rglob("*") if path.is_file()}
    with pytest.raises(StageRefused) as caught:
        save_stage(show, changes, read_stage_file(show).digest)
    assert before == {path: path.read_bytes() for path in show.rglob("*") if path.is_file()}
    json.dumps([problem.plain() for problem in caught.value.problems])
    assert {problem.file for problem in caught.value.problems} <= {"stage.yaml", "sightings.yaml", "rig.yaml"}
    return [(problem.path, problem.text) for problem in caught.value.problems]


def test_what_a_page_edits_in_one_go(show: Path) -> None:
    after = save(
        show,
        do("set", "marks.A.at", [-5, 1.25, 0]),
        do("add", "marks.F", {"at": [0, 4, "40 cm"], "sigma": 0.005}),
        do("set", "performance_polygon.corners", [[-6, 0], [6, 0], [6.5, 4], [6, 8], [-6, 8]]),
        do("set", "performance_polygon.height", [-0.5, 3.5]),
        do("add", "floors.riser", {"corners": [[-2, 5], [2, 5], [2, 8]], "height": "60 cm"}),
        do("add", "no_light.rows", {"corners": [[-8, -8], [8, -8], [8, -4]], "height": [0, 2], "on": True}),
        do("add", "tapes.A/F", {"metres": 6.02, "sigma": 0.01}),
        do("set", "tapes.foh-1/E.metres", "14.9 m"),
        do("set", "seat", [0, -18, 2.4]),
    )
    assert (
        after
        == """# Test Hall, measured in May
version: 1
performance_polygon:
  corners: [[-6, 0], [6, 0], [6.5, 4], [6, 8], [-6, 8]]   # the white line
  height: [-50 cm, 3.5]
  margin: 0.15
marks:
  A: [-5, 1.25, 0]
  B: {at: [5, 1, 10' 6"], sigma: 0.01}   # on the wall
  D: {at: unknown}     # nobody has been there
  E: {at: unknown, height: 0}
  F: {at: [0, 4, 40 cm], sigma: 0.005}
datum: {origin: D, along_x: E}
tapes:
  # steel tape
  - {between: [A, B], metres: 10.02}
  - {between: [E, foh-1], metres: 14.9 m}  # laser
  - {between: [A, F], metres: 6.02, sigma: 0.01}
targets: {lead: {}}
floors:
  - {name: riser, corners: [[-2, 5], [2, 5], [2, 8]], height: 60 cm}
no_light:
  - {name: rows, corners: [[-8, -8], [8, -8], [8, -4]], height: [0, 2], on: true}
seat: [0, -18, 2.4]
"""
    )
    stage = load(show).stage
    assert stage.marks["F"].at == (0, 4, 0.4)
    assert stage.seat == (0, -18, 2.4)
    assert previous_of(show / "stage.yaml").read_text() == STAGE


STEERED = """targets:
  lead: {height: 1.3, source: [{input: tags, point: 1/7}, {input: tags, point: 1/8}], motion: {noise: 2 cm}}  # two tags
  second:
    source: {input: tags, point: 1/9, z: tag}   # on the hat
    motion: {predict: off, fastest: 4}
"""


@pytest.fixture
def steered(folder) -> Path:
    """With targets that points of a tracking input steer."""
    folder.files["stage.yaml"] = STAGE.replace("targets: {lead: {}}\n", STEERED)
    folder.files["network.yaml"] += "inputs: {tags: {protocol: otp}}\n"
    folder.files["frames.yaml"] = "version: 1\nframes: {tags: {turn: 3}}\n"
    del folder.files["poses.yaml"]
    return folder.write()


def test_what_steers_a_target_stays_when_something_else_is_edited(steered: Path) -> None:
    after = save(steered, do("set", "marks.A.at", [-5, 1.25, 0]), do("set", "targets.lead.height", 1.4))
    assert STEERED.replace("1.3", "1.4") in after


def test_what_steers_a_target_and_how_it_moves_can_be_edited(steered: Path) -> None:
    after = save(
        steered,
        do("set", "targets.second.source.point", "1/10"),
        do("set", "targets.second.motion.predict", True),
        do("set", "targets.lead.source", "osc"),
        do("set", "targets.lead.motion.noise", "auto"),
    )
    assert "  lead: {height: 1.3, source: osc, motion: {noise: auto}}  # two tags\n" in after
    assert '    source: {input: tags, point: "1/10", z: tag}   # on the hat\n' in after
    assert "    motion: {predict: on, fastest: 4}\n" in after


def test_a_point_that_cannot_steer_is_refused_at_its_place(steered: Path) -> None:
    [(path, text)] = refused(steered, do("set", "targets.second.source.point", "1/7"))
    assert path == "targets.second.source.point"
    assert "which steers lead already" in text
    [(path, text)] = refused(steered, do("set", "targets.lead.source", [{"input": "tag", "point": 4}]))
    assert path == "targets.lead.source.1.input"
    assert "nearest is 'tags'" in text


def test_bytes_that_are_no_ones_business_stay(show: Path) -> None:
    data = b"\xef\xbb\xbf" + STAGE.rstrip().replace("\n", "\r\n").replace("white", "weiße").encode()
    (show / "stage.yaml").write_bytes(data)
    save(show, do("set", "performance_polygon.margin", 0.2))
    assert (show / "stage.yaml").read_bytes() == data.replace(b"0.15", b"0.2")


def test_nothing_changed_is_nothing_written(show: Path) -> None:
    assert (
        save(show, do("set", "performance_polygon.height", [-0.5, 4]), do("set", "marks.B.at", [5, 1, 3.2004])) == STAGE
    )
    assert not previous_of(show / "stage.yaml").exists()


def test_somebody_else_was_faster(show: Path) -> None:
    digest = read_stage_file(show).digest
    other = STAGE.replace("0.15", "0.16")
    (show / "stage.yaml").write_text(other)
    with pytest.raises(StageChanged, match="changed by somebody else") as caught:
        save_stage(show, [do("set", "performance_polygon.margin", 0.2)], digest)
    assert (show / "stage.yaml").read_text() == other
    assert caught.value.digest == read_stage_file(show).digest != digest


def test_somebody_else_was_faster_while_the_show_was_loaded(show: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(*args: Any, **keys: Any) -> Any:
        (show / "stage.yaml").write_text(STAGE.replace("0.15", "0.16"))
        return load(*args, **keys)

    digest = read_stage_file(show).digest
    monkeypatch.setattr(stage_edit, "load", slow)
    with pytest.raises(StageChanged):
        save_stage(show, [do("set", "performance_polygon.margin", 0.2)], digest)
    assert "margin: 0.16" in (show / "stage.yaml").read_text()


def test_every_problem_beside_its_field_at_once(show: Path) -> None:
    found = dict(
        refused(
            show,
            do("set", "performance_polygon.margin", -1),
            do("set", "marks.B.at", [1, "two", 0]),
            do("set", "tapes.A/B.metres", 0),
            do("add", "floors.riser", {"corners": [[0, 0], [1, 1], [0, 1], [1, 0]], "height": 1}),
            do("remove", "more_areas.thrust"),
            do("set", "seat", [0, 1]),
        )
    )
    assert set(found) == {
        "performance_polygon.margin",
        "marks.B.at.2",
        "tapes.A/B.metres",
        "floors.riser.corners",
        "more_areas.thrust",
        "seat",
    }
    assert "crosses or touches itself" in found["floors.riser.corners"]


def test_a_problem_has_line_found_and_allowed(show: Path) -> None:
    with pytest.raises(StageRefused) as caught:
        save_stage(show, [do("set", "tapes.A/B.metres", 0)], read_stage_file(show).digest)
    (problem,) = caught.value.problems
    assert (problem.line, problem.path, problem.found) == (15, "tapes.A/B.metres", "0")
    assert problem.allowed == "a length above 0 and up to 1000 m"
    assert caught.value.lines == [f"stage.yaml:15: tapes.A/B.metres: {problem.text}"]


def test_a_mark_is_renamed_wherever_it_stands(show: Path) -> None:
    after = save(show, do("rename", "marks.E", "east"), do("rename", "marks.B", "wall"))
    assert after == STAGE.replace("E: {at", "east: {at").replace("B: {at", "wall: {at").replace(
        "along_x: E", "along_x: east"
    ).replace("[E, foh-1]", "[east, foh-1]").replace("[A, B]", "[A, wall]")


@pytest.mark.parametrize("word", ["rename", "remove"])
def test_a_mark_with_sightings_keeps_its_name_and_stays(show: Path, word: str) -> None:
    ((path, text),) = refused(
        show, do(word, "marks.A", "Z"), *([] if word == "rename" else [do("remove", "tapes.A/B")])
    )
    assert path == "marks.A"
    assert "sightings by foh-1" in text
    assert "/sight/HEAD/forget" in text


def test_a_mark_that_is_named_elsewhere_is_not_removed_alone(show: Path) -> None:
    ((path, text),) = refused(show, do("remove", "marks.E"))
    assert path == "marks.E"
    assert "datum.along_x, tapes.E/foh-1" in text
    after = save(show, do("remove", "marks.E"), do("remove", "datum"), do("remove", "tapes.E/foh-1"))
    assert after == "".join(
        line for line in STAGE.splitlines(keepends=True) if not line.startswith(("  E:", "datum", "  - {between: [E"))
    )


@pytest.mark.parametrize(
    "changes",
    [
        [("rename", "marks.A", "Z"), ("add", "marks.A", [0, 4, 0])],
        [("remove", "tapes.A/B", None), ("remove", "marks.A", None), ("rename", "marks.B", "A")],
        [("remove", "tapes.A/B", None), ("set", "marks", {"D": {"at": "unknown"}, "E": {"at": "unknown"}})],
    ],
)
def test_another_mark_under_an_old_name_does_not_take_its_sightings(show: Path, changes: list[Any]) -> None:
    ((path, text),) = refused(show, *(do(*change) for change in changes))
    assert path == "marks.A"
    assert "sightings by foh-1" in text


def test_a_problem_of_another_file_is_said_too(show: Path) -> None:
    (show / "rig.yaml").write_text((show / "rig.yaml").read_text().replace("spot-16bit", "spot-17bit"))
    ((path, text),) = refused(show, do("set", "performance_polygon.margin", 0.2))
    assert path == "fixtures.foh-2.profile"
    assert "unknown profile" in text


@pytest.mark.parametrize("data", [b"version: [", b"\xff", b"", b"a: 1\na: 2\n", None])
def test_a_file_that_cannot_be_read_is_said(show: Path, data: bytes | None) -> None:
    (show / "stage.yaml").unlink()
    if data is not None:
        (show / "stage.yaml").write_bytes(data)
    for call in (lambda: read_stage_file(show), lambda: save_stage(show, [], "x")):
        with pytest.raises((StageRefused, StageChanged)) as caught:
            call()
        assert caught.value.lines[0].startswith("stage.yaml")


def test_a_folder_that_cannot_be_written_is_said(show: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        save(show, do("set", "performance_polygon.margin", 0.2))
    assert (show / "stage.yaml").read_text() == STAGE


@pytest.mark.parametrize("step", range(1, 10))
def test_killed_before_each_system_call_of_a_save(show: Path, step: int) -> None:
    """As the store's own test: 9 is more than one write makes."""
    path = show / "stage.yaml"
    atomic_write(path, STAGE.replace("May", "June"))
    atomic_write(path, STAGE)
    digest = read_stage_file(show).digest
    child = os.fork()
    if child == 0:
        die_at(step)
        save_stage(show, [do("rename", "marks.E", "east")], digest)
        os._exit(7)
    _, status = os.waitpid(child, 0)
    finished = os.waitstatus_to_exitcode(status) == 7
    new = STAGE.replace("E: {", "east: {").replace("x: E", "x: east").replace("[E,", "[east,")
    assert path.read_text() in ((new,) if finished else (STAGE, new))
    assert finished == (step > 6), "the number of steps changed: look at this test again"
    assert load(show).stage.tapes
    save(show, do("set", "performance_polygon.margin", 0.3))
    assert not list(show.glob(".*.tmp"))


def test_what_is_refused_anywhere_has_a_path_and_both_halves(new_folder) -> None:
    """Over every refusal that has a test: nearly all have a place, and what was found and is allowed."""
    lines = []
    for row in test_show_refusals.REASONS:
        folder = new_folder()
        folder.edit(*row[1:4])
        lines += folder.problems()
    problems = [field_problem(line) for line in lines]
    assert all(problem.file and problem.text for problem in problems)
    assert all(str(problem.line) in line for problem, line in zip(problems, lines, strict=True))
    whole = [problem for problem in problems if problem.path and problem.found and problem.allowed]
    assert len(whole) > 0.85 * len(problems) > 85
