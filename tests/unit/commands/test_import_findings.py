"""`check` on what an import left open: said once for each profile, and no more once it is answered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bridge.cli import main
from bridge.commands.findings import Finding
from bridge.commands.import_findings import import_findings
from bridge.show import load
from bridge.show.imported import IMPORTED, Imported, ImportedProfile, imported_text
from bridge.show.model import Show
from tests.unit.show.conftest import Folder

FILE = "profiles/spot.yaml"
ZOOM = {"table": [[0, 55.0], [65535, 5.0]], "edge": "beam"}
FOCUS = "focus: {table: [[3.0, 60000], [8.0, 31000], [20.0, 12000]]}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    found = Folder(tmp_path / "show")
    del found.files["poses.yaml"], found.files["sightings.yaml"]
    found.edit(FILE, FOCUS, "")
    return found


def told(folder: Folder, *confirm: str, change: Callable[[Show], Show] = lambda show: show, **given: Any) -> list[str]:
    """Texts of the notes, the show changed on the way."""
    path = folder.write()
    profile = ImportedProfile("spot.gdtf", "Mode 1", {"zoom": ZOOM, **given}, confirm)
    (path / IMPORTED).write_text(imported_text(Imported({FILE: profile, "profiles/gone.yaml": profile})))
    found = list(import_findings(change(load(path))))
    assert {(f.level, f.where) for f in found} <= {("note", FILE)}
    return [f.what for f in found]


def posed(**keys: Any) -> Callable[[Show], Show]:
    """foh-1 has a pose with these values."""

    def change(show: Show) -> Show:
        from bridge.rig.fixture import Pose

        return replace(show, poses={"foh-1": Pose((0.0, 0.0, 8.0), (0.0, 0.0, 0.0, 1.0), **keys)})

    return change


def test_signs_are_open_until_a_solve_is_trusted(folder: Folder) -> None:
    (text,) = told(folder, "pan", "tilt")
    assert text.startswith("which way pan and tilt turn is as spot.gdtf has it, and was seen on no head (foh-1): ")
    assert told(folder, "tilt")[0].startswith("which way tilt turns is ")
    two = {"A": 0.01, "B": 0.02}
    assert told(folder, "pan", "tilt", change=posed(trusted=True, residuals=two)) == []
    assert len(told(folder, "pan", change=posed(trusted=False, residuals=two))) == 1
    assert len(told(folder, "pan", change=posed(trusted=True))) == 1, "a pose by hand rests on no sighting"


def test_two_marks_alone_cannot_tell_a_mirrored_pan(folder: Folder) -> None:
    folder.edit("rig.yaml", "    at: [-4.0, -12.0, 9.0]\n    at_sigma: [0.3, 0.3, 0.1]\n", "")
    assert "on three marks" in told(folder, "pan")[0]
    assert len(told(folder, "pan", change=posed(trusted=True, residuals={"A": 0.0, "B": 0.0, "A/2": 0.0}))) == 1
    assert told(folder, "pan", change=posed(trusted=True, residuals={"A": 0.0, "B": 0.0, "C": 0.0})) == []


def test_focus_is_open_until_there_is_a_table(folder: Folder) -> None:
    (text,) = told(folder, "focus")
    assert text.startswith("no file says which focus value is sharp at which distance (foh-1): ")

    def taught(show: Show) -> Show:
        first = replace(show.fixtures[0], focus_table=((3.0, 60000.0), (8.0, 31000.0)))
        return replace(show, fixtures=(first, *show.fixtures[1:]))

    assert told(folder, "focus", change=taught) == []
    folder.edit(FILE, "dimmer: {curve", FOCUS + "dimmer: {curve")
    assert told(folder, "focus") == []


def test_zoom_is_open_while_its_table_is_as_it_was_given(folder: Folder) -> None:
    (text,) = told(folder, "zoom")
    assert text.startswith("the zoom's angles were measured on no head (foh-1): ")
    folder.edit(FILE, "[0, 55.0]", "[0, 52.0]")
    assert told(folder, "zoom") == []


def test_candela_count_only_where_light_is_reckoned_with(folder: Folder) -> None:
    def uses(**light: Any) -> Callable[[Show], Show]:
        return lambda show: replace(show, stage=replace(show.stage, **light))

    assert told(folder, "candela", change=uses(evenness=False, at_most_lux=None)) == []
    assert (
        "candela are not known, or the file's estimate (foh-1)"
        in told(folder, "candela", change=uses(evenness=True))[0]
    )
    assert (
        "candela are not known, or the file's estimate (foh-1)"
        in told(folder, "candela", change=uses(evenness=False, at_most_lux=800.0))[0]
    )
    folder.edit(FILE, "[[0, 55.0], [65535, 5.0]]", "[[0, 55.0, 4e4], [65535, 5.0, 2e6]]")
    assert told(folder, "candela", change=uses(evenness=True)) == []
    estimate = {"table": [[0, 55.0, 4e4], [65535, 5.0, 2e6]], "edge": "beam"}
    assert len(told(folder, "candela", change=uses(evenness=True), zoom=estimate)) == 1


def test_nothing_open_and_profiles_of_no_head_are_not_told(folder: Folder) -> None:
    assert told(folder) == []
    folder.edit("rig.yaml", f"profile: {FILE}", "profile: spot-16bit")
    assert told(folder, "pan", "tilt", "focus", "zoom") == []


def test_a_path_written_otherwise_is_the_same_file(folder: Folder) -> None:
    folder.edit("rig.yaml", f"profile: {FILE}", "profile: ./profiles/spot.yaml")
    assert len(told(folder, "pan")) == 1


def test_a_damaged_file_is_a_warning_and_stops_nothing(folder: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    path = folder.write()
    (path / IMPORTED).write_text("version: 1\nprofiles: [")
    (found,) = import_findings(load(path))
    assert isinstance(found, Finding)
    assert (found.level, found.where) == ("warning", IMPORTED)
    assert main(["check", str(path)]) == 0
    assert "! warning  imported.yaml: is damaged" in capsys.readouterr().out


def test_check_says_them(folder: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    told(folder, "pan", "tilt", "focus")
    assert main(["check", str(folder.path)]) == 0
    out = capsys.readouterr().out
    assert f"· note  {FILE}: which way pan and tilt turn is as spot.gdtf has it" in out
    assert f"· note  {FILE}: no file says which focus value" in out
