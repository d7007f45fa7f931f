"""`tetherlight explain`: the list, the pages, the drawings and what is said of an unknown key."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from bridge.cli import main
from bridge.commands.drawings import PAN, TILT, hang_table, turn_table, way
from bridge.geometry.frames import beam_in_fixture, pan_tilt_of, rotation_from_hang
from bridge.show.meaning import explained, tables

KEYS = [f"{key.file} {key.path}" for key, _ in explained()]


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["explain", *words]) == 0
    return capsys.readouterr().out


def test_without_a_key_every_file_and_key_has_one_line_of_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys).splitlines()
    assert len([line for line in lines if line.startswith("  ")]) == len(KEYS)
    assert [line.partition(":")[0] for line in lines if re.match(r"[a-z/*]+\.yaml:", line)] == list(tables())
    assert max(map(len, lines)) <= 80
    assert "    hang " in "\n".join(lines)


@pytest.mark.parametrize("key", KEYS)
def test_every_page_fits_a_terminal_and_says_everything(capsys: pytest.CaptureFixture[str], key: str) -> None:
    page = said(capsys, key)
    assert page.startswith(f"{key.split()[0]}: {key.split()[1]}\n")
    assert re.search(r"^  default +\S", page, re.MULTILINE)
    assert re.search(rf"^  example +{re.escape(key.split('.')[-1].split()[-1])}: \S", page, re.MULTILINE)
    assert [line for line in page.splitlines() if len(line) > 80 or line != line.rstrip()] == []
    assert "\x1b" not in page
    assert "\a" not in page


def test_a_page_gives_unit_range_default_and_example(capsys: pytest.CaptureFixture[str]) -> None:
    page = said(capsys, "performance_polygon.fade_out")
    assert re.findall(r"^  (unit|allowed|default|example) +(.*)$", page, re.MULTILINE) == [
        ("unit", "s"),
        ("allowed", "a number from 0 to 60 s"),
        ("default", "0.2"),
        ("example", "fade_out: 0.2"),
    ]


@pytest.mark.parametrize(
    ("word", "first"),
    [
        ("hang", "rig.yaml: fixtures[].hang"),
        ("fixtures.hang.roll", "rig.yaml: fixtures[].hang.roll"),
        ("stage.marks", "stage.yaml: marks"),
        ("marks.NAME.sigma", "stage.yaml: marks.NAME.sigma"),
        ("tilt", "profiles/*.yaml: tilt"),
        ("rig.yaml:12: fixtures.foh-1.hang.yaw", "rig.yaml: fixtures[].hang.yaw"),
        ("tapes.1.between", "stage.yaml: tapes[].between"),
        ("marks.D", "stage.yaml: marks"),
        ("stage.yaml: targets", "stage.yaml: targets"),
        ("stage.yaml", "stage.yaml: the place"),
        ("profiles", "profiles/*.yaml: one mode of one fixture type"),
    ],
)
def test_a_key_is_found_in_any_of_its_forms(capsys: pytest.CaptureFixture[str], word: str, first: str) -> None:
    assert said(capsys, word).splitlines()[0] == first


def test_a_whole_path_is_one_page_and_a_name_all_of_that_name(capsys: pytest.CaptureFixture[str]) -> None:
    tilt = said(capsys, "tilt")
    assert tilt.count("  example ") == 1
    assert "See also: rig.fixtures.limits.tilt, profiles.channels.tilt" in tilt
    assert said(capsys, "sigma").count("  example ") == len([key for key in KEYS if key.endswith(".sigma")]) > 2


def test_an_unknown_key_names_the_nearest_and_exits_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "hnag"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("found unknown key 'hnag'; nearest: hang")
    assert main(["explain", "hnag", "--json"]) == 2
    assert "nearest: hang" in json.loads(capsys.readouterr().out)["errors"][0]


def test_json_is_for_scripts(capsys: pytest.CaptureFixture[str]) -> None:
    everything = json.loads(said(capsys, "--json"))["keys"]
    assert [f"{entry['file']} {entry['key']}" for entry in everything] == KEYS
    (lag,) = [one for one in json.loads(said(capsys, "profiles.lag", "--json"))["keys"] if one["key"] == "lag"]
    assert (lag["unit"], lag["default"], lag["required"], lag["allowed"]) == (
        "s",
        "0",
        False,
        ["a number from 0 to 5 s"],
    )
    assert {entry["file"] for entry in json.loads(said(capsys, "rig.yaml", "--json"))["keys"]} == {"rig.yaml"}


@pytest.mark.parametrize(
    ("key", "drawn"),
    [("hang", "standing"), ("pan", "Pan of a head"), ("tilt", "Tilt of a head"), ("faces", "face 1: tilt 0 or more")],
)
def test_what_words_explain_badly_is_drawn(capsys: pytest.CaptureFixture[str], key: str, drawn: str) -> None:
    assert drawn in said(capsys, key)
    assert drawn not in said(capsys, "source_name")


@pytest.mark.parametrize(("pan", "side"), [(90, "pan 90 <"), (-90, "> pan -90")])
def test_pan_is_drawn_as_it_turns(pan: int, side: str) -> None:
    """An arrow to the left of the drawing is the audience's left, -x."""
    x = beam_in_fixture(np.radians(pan), np.radians(90))[0]
    assert side in PAN
    assert bool(x < 0) is side.endswith("<")


@pytest.mark.parametrize(("tilt", "side"), [(-90, "tilt -90 <"), (90, "> tilt 90")])
def test_tilt_is_drawn_as_it_turns(tilt: int, side: str) -> None:
    """An arrow to the right of the section is upstage, +y."""
    y = beam_in_fixture(0.0, np.radians(tilt))[1]
    assert side in TILT
    assert bool(y < 0) is side.endswith("<")


def test_the_tables_of_directions_hold_the_check_values_of_the_conventions() -> None:
    turns = turn_table().splitlines()
    assert [
        line.split(maxsplit=2) for line in turns if line.split()[:2] in (["0", "90"], ["90", "90"], ["-90", "90"])
    ] == [
        ["0", "90", "upstage (+y)"],
        ["90", "90", "left (-x)"],
        ["-90", "90", "right (+x)"],
    ]
    assert re.search(r"\{roll: 180\} +standing +up \(\+z\) +downstage \(-y\)", hang_table())
    assert re.search(r"\{pitch: 90\} +on the right wall +left \(-x\)", hang_table())


def test_left_by_yaw_and_the_order_of_turns_as_drawn() -> None:
    assert way(rotation_from_hang(np.radians(90), 0, 0) @ beam_in_fixture(0, np.radians(90))) == "left (-x)"
    assert way(np.array([0.6, 0.8, 0.0])) == "(0.6, 0.8, 0)"


def test_the_two_faces_as_drawn_light_one_place() -> None:
    pan, tilt = np.radians((25.0, 50.0))
    assert np.allclose(beam_in_fixture(pan, tilt), beam_in_fixture(pan + np.pi, -tilt))
    assert pan_tilt_of(beam_in_fixture(pan + np.pi, -tilt))[1] > 0
