"""Truth files and invented truths: what is refused, in which words, and what dice may do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.errors import InputError, ShowError
from bridge.geometry.stage import Datum, Mark
from bridge.rig.fixture import Hang, Mechanics, Pose
from bridge.venue.invent import Scatter, invent
from bridge.venue.simulation import Venue
from bridge.venue.truth import truth_from_poses
from bridge.venue.truth_file import load_truth, write_truth
from tests.unit.venue.rigs import show

GOOD = """version: 1
fixtures:
  foh-1: {position: [0, -5, 8], rotation: [0, 0, 0, 1], mechanics: {tilt_zero: 0.3}}
  foh-2: {position: [2, -5, 8 m], rotation: [0, 0, 0, 1], backlash_deg: 0.1}
marks: {A: [-5, 1, 0]}
"""


def _problems(tmp_path: Path, text: str) -> list[str]:
    file = tmp_path / "truth.yaml"
    file.write_text(text)
    with pytest.raises(ShowError) as caught:
        load_truth(file)
    return [line.removeprefix(f"{file}:") for line in caught.value.lines]


def test_a_truth_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "t.yaml").write_text(GOOD)
    truth = load_truth(tmp_path / "t.yaml")
    assert truth.fixtures["foh-1"].mechanics == Mechanics(tilt_zero=0.3)
    assert truth.fixtures["foh-2"].position == (2.0, -5.0, 8.0)
    assert truth.marks == {"A": (-5.0, 1.0, 0.0)}
    assert [t.backlash_deg for t in truth.ordered(show(2))] == [0.0, 0.1]


def test_what_is_written_reads_the_same(tmp_path: Path) -> None:
    truth = invent(show(5), 42)
    write_truth(truth, tmp_path / "t.yaml")
    back = load_truth(tmp_path / "t.yaml")
    assert (back.seed, back.marks) == (42, truth.marks)
    for name, head in truth.fixtures.items():
        assert back.fixtures[name].rotation == pytest.approx(head.rotation, abs=1e-8)
        assert replace(back.fixtures[name], rotation=head.rotation) == head


@pytest.mark.parametrize(
    ("wrong", "right", "line", "words"),
    [
        ("version: 2", "version: 1", 1, "version"),
        ("foh-1: {positoin: [0, -5, 8]", "foh-1: {position: [0, -5, 8]", 3, "nearest is 'position'"),
        ("tilt_zero: 300", "tilt_zero: 0.3", 3, "found 300"),
        ("[0, 0, 0, 0]", "[0, 0, 0, 1], m", 3, "length 1"),
        ("backlash_deg: .nan", "backlash_deg: 0.1", 4, "found .nan"),
        ("colour: [3, 3, 4]", "backlash_deg: 0.1", 4, "three offsets that differ"),
        ("colour: [3, 4]", "backlash_deg: 0.1", 4, "red, green and blue"),
        ("A: [-5, 1]", "A: [-5, 1, 0]", 5, "A"),
        ("fixtures: [", "fixtures:", 4, "YAML"),
    ],
)
def test_a_wrong_line_is_named(tmp_path: Path, wrong: str, right: str, line: int, words: str) -> None:
    assert right in GOOD
    text = GOOD.replace(right, wrong + (", m" if right.endswith(", m") else ""), 1)
    found = _problems(tmp_path, text)
    assert found[0].startswith(f"{line}:")
    assert words in found[0]


def test_all_problems_come_at_once(tmp_path: Path) -> None:
    text = GOOD.replace("tilt_zero: 0.3", "tilt_zero: x").replace("backlash_deg: 0.1", "backlash: 0.1")
    assert len(_problems(tmp_path, text)) == 2


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no\.yaml:1: found no such file"):
        load_truth(tmp_path / "no.yaml")


def test_a_truth_of_another_rig_is_refused() -> None:
    with pytest.raises(InputError, match=r"no truth for foh-3, foh-4.*another show") as caught:
        Venue(show(4), invent(show(2), 1))
    assert caught.value.exit_code == 2
    with pytest.raises(InputError, match=r"truth for foh-2, which the rig"):
        invent(show(2), 1).ordered(show(1))


def test_colour_is_kept_and_stays_inside_the_profile(tmp_path: Path) -> None:
    truth = invent(show(2), 1)
    heads = {name: replace(head, colour=(8, 9, 10)) for name, head in truth.fixtures.items()}
    write_truth(replace(truth, fixtures=heads), tmp_path / "t.yaml")
    assert {head.colour for head in load_truth(tmp_path / "t.yaml").ordered(show(2))} == {(8, 9, 10)}
    heads["foh-2"] = replace(heads["foh-2"], colour=(9, 10, 11))
    with pytest.raises(InputError, match=r"colour \[9, 10, 11\] of foh-2, whose profile has 10 slots"):
        Venue(show(2), replace(truth, fixtures=heads))


def test_invented_truths_repeat_and_scatter_as_told() -> None:
    rig = show(400)
    assert invent(rig, 7) == invent(rig, 7)
    truth = invent(rig, 7, Scatter(yaw_unknown_deg=0.0))
    off = np.array([np.subtract(truth.fixtures[f.name].position, f.at) for f in rig.fixtures])
    assert off.std(axis=0) == pytest.approx([0.2] * 3, rel=0.12)
    yaw, pitch, roll = Rotation.from_quat([t.rotation for t in truth.fixtures.values()]).as_euler("ZYX", True).T
    assert yaw.std() == pytest.approx(2.0, rel=0.12)
    assert [pitch.std(), roll.std()] == pytest.approx([1.0, 1.0], rel=0.12)
    blind = Rotation.from_quat([t.rotation for t in invent(rig, 7).fixtures.values()]).as_euler("ZYX", True)[:, 0]
    assert np.histogram(blind, 6, (-180, 180))[0].min() > 30, "any yaw at all"


@pytest.mark.parametrize(("hang", "up"), [(Hang(), (0, 0, 1)), (Hang(roll=180), (0, 0, -1)), (Hang(pitch=90), None)])
def test_the_nominal_hang_is_kept_but_for_yaw_and_level(hang: Hang, up: tuple[int, int, int] | None) -> None:
    rig = show(3)
    rig = replace(rig, fixtures=tuple(replace(f, hang=hang) for f in rig.fixtures))
    for head in invent(rig, 3).fixtures.values():
        base = Rotation.from_quat(head.rotation).apply([0, 0, 1])
        tipped = np.degrees(np.arccos(base @ up)) if up else abs(np.degrees(np.arcsin(base[2])))
        assert tipped < 5.0


def test_a_fixture_without_any_place_cannot_be_invented() -> None:
    rig = show(2)
    rig = replace(rig, fixtures=(rig.fixtures[0], replace(rig.fixtures[1], at=None)))
    with pytest.raises(InputError, match=r"foh-2.*add `at"):
        invent(rig, 1)


def test_unsurveyed_marks_get_places_that_fit_their_datum() -> None:
    rig = show(1)
    marks = {name: Mark(name, None, height=0.0) for name in "ABC"}
    rig = replace(rig, stage=replace(rig.stage, marks=marks, datum=Datum("A", "B")))
    places = invent(rig, 1).marks
    assert places["A"] == (0, 0, 0)
    assert places["B"][0] > 1
    assert places["B"][1:] == (0, 0)
    assert -6 < places["C"][0] < 6


def test_solved_poses_make_a_perfect_venue() -> None:
    rig = show(2)
    assert truth_from_poses(rig) is None
    poses = {f.name: Pose((1, 2, 3), (0, 0, 0, 1), mechanics=Mechanics(0.5)) for f in rig.fixtures}
    truth = truth_from_poses(replace(rig, poses=poses))
    assert truth is not None
    assert truth.fixtures["foh-1"].mechanics.tilt_zero == 0.5
    head = truth.fixtures["foh-1"]
    assert head.dead_time_s + head.smoothing_s == pytest.approx(0.1), "the profile's lag"
