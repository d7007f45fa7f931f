"""`import` at the prompt: what it says where it takes nothing over, and of a show that is broken already."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.cli import main
from bridge.errors import InputError
from bridge.show.store import atomic_write
from tests.unit.exchange.made_gdtf import USUAL, Mode, build_gdtf

LIST = "Name,Type,Address\na,spot-16bit,1/1\n"
STRANGE = "Name,Type,Address\na,Deep Sea 9000,1/1\n"


@pytest.fixture
def taken(tmp_path: Path) -> tuple[str, str]:
    (tmp_path / "list.csv").write_text(LIST)
    words = (str(tmp_path / "show"), str(tmp_path / "list.csv"))
    assert main(["import", *words]) == 0
    return words


def test_nothing_to_change_is_no_promise_where_heads_are_left_out(
    taken: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["import", *taken]) == 0
    assert "Nothing to change: the show has all of it." in capsys.readouterr().out
    strange = tmp_path / "strange.csv"
    strange.write_text(STRANGE)
    assert main(["import", str(tmp_path / "none"), str(strange)]) == 0
    said = capsys.readouterr().out
    assert "Nothing is taken over from this file as it stands.\n" in said
    assert "has all of it" not in said
    assert not (tmp_path / "none").exists()


def test_a_show_that_does_not_load_is_said_also_where_nothing_changes(
    taken: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    rig = Path(taken[0]) / "rig.yaml"
    rig.write_text(rig.read_text() + "    univers: 1\n")
    capsys.readouterr()
    assert main(["import", *taken, "--dry-run", "--json"]) == 2
    errors = json.loads(capsys.readouterr().out)["errors"]
    assert errors[0].startswith("the show does not load as it stands")
    assert "unknown key 'univers'" in errors[1]


def test_a_disk_that_fills_half_way_says_what_is_written_and_the_next_import_ends_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "list.csv").write_text(LIST)
    words = ("import", str(tmp_path / "show"), str(tmp_path / "list.csv"))

    def full(path: Path, text: str) -> None:
        if path.name == "imported.yaml":
            raise InputError(f"{path}: cannot be written: No space left on device")
        atomic_write(path, text)

    with monkeypatch.context() as patch:
        patch.setattr("bridge.exchange.taking.atomic_write", full)
        assert main(words) == 2
    said = capsys.readouterr().err
    assert "Already written: stage.yaml, network.yaml, rig.yaml. Import again" in said
    assert main(words) == 0
    assert (tmp_path / "show" / "imported.yaml").exists()


def test_a_question_with_choices_is_told_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "spot.gdtf").write_bytes(build_gdtf([Mode("Short", USUAL), Mode("Long", USUAL)]))
    assert main(["import", str(tmp_path / "show"), str(tmp_path / "spot.gdtf")]) == 0
    assert capsys.readouterr().out.count("hich mode is the head set to?") == 1


def test_sightings_that_no_new_profile_could_have_made_are_said_with_what_to_do(
    taken: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show, file = Path(taken[0]), Path(taken[1])
    sightings = "version: 1\nsightings:\n  - {fixture: a, mark: A, pan: 10.0, tilt: 20.0, zoom: 60000}\n"
    (show / "sightings.yaml").write_text(sightings)
    file.write_text(LIST.replace("spot-16bit", "wash-8bit"))
    rig = (show / "rig.yaml").read_text()
    capsys.readouterr()
    assert main(["import", *taken]) == 2
    said = capsys.readouterr().err
    assert "sightings.yaml:3: " in said
    assert "take the named lines out of sightings.yaml, import again" in said
    assert (show / "rig.yaml").read_text() == rig
    (show / "sightings.yaml").unlink()
    assert main(["import", *taken]) == 0
    assert (show / "rig.yaml").read_text() == rig.replace("spot-16bit", "wash-8bit")


@pytest.mark.parametrize("text", ["- 1\n", "hello\n", "5\n", "[]\n"])
@pytest.mark.parametrize("file", ["rig.yaml", "stage.yaml", "profiles/Harbour-Works-Spot-12.yaml"])
def test_files_that_are_no_mappings_are_said_and_left(
    file: str, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "spot.gdtf").write_bytes(build_gdtf([Mode("Standard", USUAL)]))
    (tmp_path / "list.csv").write_text(LIST)
    show = tmp_path / "show"
    assert main(["import", str(show), str(tmp_path / "list.csv")]) == 0
    assert main(["import", str(show), str(tmp_path / "spot.gdtf")]) == 0
    assert (show / file).exists()
    (show / file).write_text(text)
    capsys.readouterr()
    for given in ("list.csv", "spot.gdtf"):
        assert main(["import", str(show), str(tmp_path / given)]) == 2
        assert f"{file}:1: found " in capsys.readouterr().err
    assert (show / file).read_text() == text


def test_a_profile_without_its_footprint_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "spot.gdtf").write_bytes(build_gdtf([Mode("Standard", USUAL)]))
    (tmp_path / "list.csv").write_text(LIST)
    show = tmp_path / "show"
    assert main(["import", str(show), str(tmp_path / "list.csv")]) == 0
    assert main(["import", str(show), str(tmp_path / "spot.gdtf")]) == 0
    profile = show / "profiles" / "Harbour-Works-Spot-12.yaml"
    profile.write_text(profile.read_text().replace("footprint: ", "footprint: about "))
    capsys.readouterr()
    assert main(["import", str(show), str(tmp_path / "spot.gdtf")]) == 0
    assert "footprint" in capsys.readouterr().out


def test_a_mode_that_is_not_there_is_bad_usage_and_its_question_names_those_that_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "spot.gdtf"
    file.write_bytes(build_gdtf([Mode("Basic", USUAL), Mode("Extended", USUAL)]))
    words = ["import", str(tmp_path / "show"), str(file), "--json"]
    assert main(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["profiles"], found["asks"][0]["choices"]) == ([], ["Basic", "Extended"])
    assert main([*words, "--mode", "Extnded"]) == 2
    (error,) = json.loads(capsys.readouterr().out)["errors"]
    assert "is it 'Extended'?" in error
    assert not (tmp_path / "show").exists()
