"""What `check` says before any sighting: heads by the plot alone, and which marks can serve whom."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.commands import check
from bridge.commands.marks import FLATTEST_DEG, mark_findings, served
from bridge.follow.engine import Engine
from bridge.geometry.stage import Floor, Mark
from bridge.rig.fixture import Fixture, Hang
from bridge.rig.rig import Rig
from bridge.show.model import Show
from bridge.show.plot import plot_poses
from bridge.wire.settings import LostInput, Network
from tests.conftest import flat_stage, spot_profile
from tests.unit.show.conftest import Folder

STANDING = Fixture("floor-1", spot_profile(), 1, 1, Hang(roll=180), at=(-7.0, 4.0, 0.3))
HANGING = Fixture("foh-1", spot_profile(), 1, 21, Hang(), at=(0.0, -8.0, 8.0))
BALCONY = Fixture("balcony-1", spot_profile(), 1, 41, Hang(), at=(0.0, -20.0, 3.0))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "show")


def rig_of(tmp_path, *fixtures, **stage):
    show = Show(tmp_path, "plot", fixtures, flat_stage(**stage), Network())
    rig = Rig.from_fixtures(fixtures, plot_poses(fixtures, show.poses))
    return show, Engine(rig, show.stage, LostInput(), {})


def told(tmp_path, *fixtures, **stage):
    return [(f.level, f.where, f.what) for f in mark_findings(*rig_of(tmp_path, *fixtures, **stage))]


def test_floor_standing_and_balcony_heads_are_listed_and_hanging_ones_are_not(tmp_path):
    ((level, where, text),) = told(tmp_path, STANDING, HANGING, BALCONY)
    assert (level, where) == ("warning", "stage.yaml")
    assert text.startswith("no mark on the floor can serve floor-1, balcony-1: ")
    assert "RAISED" in text


def test_raised_marks_serve_them(tmp_path):
    marks = {"A": Mark("A", (-6.0, 0.0, 0.0)), "R": Mark("R", (3.0, 2.0, 1.6)), "S": Mark("S", (3.0, 7.0, 1.6))}
    ((level, _, text),) = told(tmp_path, STANDING, HANGING, marks=marks)
    assert level == "warning", "two are too few for a head that stands"
    assert "at least 3 RAISED marks" in text
    marks["T"] = Mark("T", (-3.0, 7.0, 2.0))
    ((level, _, text),) = told(tmp_path, STANDING, HANGING, marks=marks)
    assert (level, text) == ("note", "no mark on the floor can serve floor-1: sight them on the raised marks R, S, T")
    by = served(*rig_of(tmp_path, STANDING, HANGING, marks=marks))
    assert (by["floor-1"].floor, by["foh-1"].floor, by["foh-1"].raised) == ([], ["A"], ["R", "S", "T"])


@pytest.mark.parametrize(("degrees", "serves"), [(FLATTEST_DEG - 0.2, False), (FLATTEST_DEG + 0.2, True)])
def test_what_is_too_flat_is_the_angle_at_the_mark(tmp_path, degrees, serves):
    """A head 10 m away in plan, at the height of the angle: tan by hand."""
    height = 10.0 * {9.8: 0.172724, 10.2: 0.179928}[round(degrees, 1)]
    head = replace(BALCONY, at=(0.0, -6.0, height))
    by = served(*rig_of(tmp_path, head, marks={"E": Mark("E", (0.0, 4.0, 0.0))}))
    assert (by["balcony-1"].floor == ["E"]) is serves


def test_a_mark_on_a_riser_is_a_floor_mark_there_and_a_raised_one_beside_it(tmp_path):
    floors = (Floor("riser", ((0.0, 4.0), (6.0, 4.0), (6.0, 8.0), (0.0, 8.0)), 0.6),)
    marks = {"C": Mark("C", (5.0, 7.0, 0.6)), "D": Mark("D", (-5.0, 7.0, 0.6))}
    by = served(*rig_of(tmp_path, HANGING, marks=marks, floors=floors))["foh-1"]
    assert (by.floor, by.raised) == (["C"], ["D"])


def test_one_mark_in_reach_is_too_few(tmp_path):
    head = replace(HANGING, tilt_limits=(-52.0, 52.0))  # lights what is less than 10.2 m away in plan
    marks = {"A": Mark("A", (0.0, 1.0, 0.0)), "B": Mark("B", (0.0, 7.0, 0.0))}
    ((level, where, text),) = told(tmp_path, head, marks=marks)
    assert (level, where) == ("warning", "foh-1")
    assert text.startswith("only mark A serves it, two are needed")


def test_a_mark_on_a_riser_with_z_0_is_seen_before_any_sighting(folder):
    line = folder.edit("stage.yaml", "C: {at: [5, 7, 0], sigma: 0.02}", "C: {at: [1, 7, 0], sigma: 0.02}")
    text = f"stage.yaml:{line}: marks.C: mark C lies on the riser (0.6 m) but has z 0; write z 0.6, or move it"
    assert text in folder.load().warnings
    folder.edit("stage.yaml", "[1, 7, 0]", "[1, 7, 60 cm]")
    assert folder.load().warnings == ()


def test_check_covers_heads_by_the_plot_and_marks_them_so(folder, capsys):
    del folder.files["poses.yaml"], folder.files["sightings.yaml"]
    folder.edit("rig.yaml", "limits: {pan: [-200, 200], tilt: [-110, 110]}", "limits: {pan: [-10, 10]}")
    path = folder.write()
    assert check.run(check_args(path, json=True)) == 0
    answer = json.loads(capsys.readouterr().out)
    assert set(answer["coverage"]) == {"foh-1"}, "foh-2 has no `at`"
    row = answer["coverage"]["foh-1"]
    assert row["from"] == "plot"
    assert 0 < row["lit"] < 1
    # from (-4, -12, 9) to what is lit at 1.3 m: nearest at (-4, 0), furthest at (6, 8)
    assert row["throw_m"] == pytest.approx([(12**2 + 7.7**2) ** 0.5, (10**2 + 20**2 + 7.7**2) ** 0.5], abs=0.02)
    words = [f["what"] for f in answer["findings"] if f["where"] == "foh-1"]
    assert any(text.startswith("by the plot, cannot reach ") for text in words)
    check.run(check_args(path, json=False))
    out = capsys.readouterr().out
    assert "the plot" in out
    assert "Yaw is not known before a solve." in out


def test_check_tells_a_solve_that_is_off_the_plot(folder, capsys):
    folder.edit("poses.yaml", "position: [-4.02, -11.98, 9.01]", "position: [-1.0, -11.98, 9.01]")
    assert check.run(check_args(folder.write(), json=True)) == 0
    answer = json.loads(capsys.readouterr().out)
    (text,) = [f["what"] for f in answer["findings"] if f["where"] == "foh-1" and "plot" in f["what"]]
    assert text.startswith("solved 3.00 m from its place in the plot (dx +3.00, dy +0.02, dz +0.01)")
    assert answer["coverage"]["foh-1"]["from"] == "pose"
    folder.edit("poses.yaml", "position: [-1.0,", "trusted: false\n    position: [-1.0,")
    check.run(check_args(folder.write(), json=True))
    assert "place in the plot" not in capsys.readouterr().out, "what is wrong with an untrusted pose, solve says"


def check_args(path, json):
    return argparse.Namespace(show=path, strict=False, json=json, live=None, state=None)
