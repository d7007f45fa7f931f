"""A show folder as texts and back: what a capture carries."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.errors import InputError, ShowError
from bridge.show import load, texts
from bridge.show.texts import load_texts

CONFIGS = sorted((Path(__file__).resolve().parents[3] / "configs").iterdir())


@pytest.mark.parametrize("folder", CONFIGS, ids=lambda folder: folder.name)
def test_a_show_comes_back_from_its_texts_but_for_its_folder(folder: Path) -> None:
    show = load(folder)
    again = load_texts(json.loads(json.dumps(texts.texts(folder))))
    assert replace(again, path=show.path, sightings=()) == replace(show, sightings=())


def test_the_texts_are_the_yaml_files_of_the_folder_but_for_sightings_and_older_versions(tmp_path: Path) -> None:
    names = ["rig.yaml", "stage.yml", "profiles/a.yaml", "deep/er/b.yaml"]
    left_out = ["sightings.yaml", "poses.previous.yaml", "notes.txt", "captures/a.pcapng"]
    for name in names + left_out:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"# {name} é\n", "utf-8")
    assert texts.texts(tmp_path) == {name: f"# {name} é\n" for name in sorted(names)}


def test_what_is_too_much_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(texts, "MOST_FILES", 3)
    monkeypatch.setattr(texts, "MOST_BYTES", 10)
    (tmp_path / "a.yaml").write_text("x" * 11)
    for name in "bcdef":
        (tmp_path / f"{name}.yaml").write_text("x" * 10)
    assert list(texts.texts(tmp_path)) == ["b.yaml", "c.yaml", "d.yaml"]


def test_octets_that_are_no_text_do_not_stop_a_capture(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes(b"a: \xff")
    (tmp_path / "b.yaml").write_bytes(b"\xef\xbb\xbfb: 1")
    assert texts.texts(tmp_path) == {"a.yaml": "a: \ufffd", "b.yaml": "b: 1"}


@pytest.mark.parametrize("name", ["../rig.yaml", "/etc/rig.yaml", "", ".", "a/../../rig.yaml", "a/.."])
def test_a_name_that_leaves_the_folder_or_is_none_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="allowed are files inside a show folder"):
        load_texts({name: "version: 1\n"})


@pytest.mark.parametrize("text", [None, 7, ["a"]])
def test_what_is_no_text_is_refused(text: object) -> None:
    with pytest.raises(InputError, match=r"rig\.yaml"):
        load_texts({"rig.yaml": text})  # type: ignore[dict-item]


@pytest.mark.parametrize(
    "files",
    [{"rig\0.yaml": ""}, {"x" * 300 + ".yaml": ""}, {"a": "", "a/b.yaml": ""}, {"a.yaml": "\ud800"}],
    ids=["nul", "long", "file and folder", "surrogate"],
)
def test_what_no_file_can_be_is_refused_with_words(files: dict[str, str]) -> None:
    with pytest.raises(InputError, match="of a show cannot be written"):
        load_texts(files)


def test_texts_that_are_no_show_are_refused_as_a_folder_would_be() -> None:
    with pytest.raises(ShowError, match=r"stage\.yaml"):
        load_texts({"rig.yaml": "version: 1\n"})
