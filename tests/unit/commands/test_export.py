"""`tetherlight export`: what it writes, what it says of each head, and that a refusal writes nothing."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

import bridge
from bridge.cli import main
from bridge.exchange.mvr import read_mvr
from bridge.exchange.mvr_out import new_mvr
from bridge.geometry.frames import rotation_from_hang, rotation_from_quaternion
from bridge.rig.fixture import Pose
from bridge.show import load
from bridge.show.imported import Imported, ImportedFixture, imported_text
from tests.unit.exchange.made_show import fixtures_by_pymvr, poses, solved, turn_between_rad
from tests.unit.exchange.odd_mvr import archive_of, scene_xml, worlds

POSES = """\
version: 1
fixtures:
  foh-1: {position: [1, 2, 3], rotation: [0, 0, 0.6, 0.8], mechanics: {tilt_zero: 0.4}}
  foh-2: {position: [1, 2, 3], rotation: [0, 0, 0.6, 0.8], trusted: false}
"""
THEIRS = (
    "<GeneralSceneDescription><Scene><Layers><Layer name='Front'><ChildList>"
    "<Fixture name='Spot' uuid='0BADCAFE'><FixtureID>7</FixtureID></Fixture>"
    "<Fixture name='foh-2' uuid='b'><Matrix>{1,0,0}{0,1,0}{0,0,1}{5,6,7}</Matrix></Fixture>"
    "</ChildList></Layer></Layers></Scene></GeneralSceneDescription>"
)


@pytest.fixture
def show(tmp_path: Path) -> Path:
    folder = tmp_path / "show"
    shutil.copytree(Path(bridge.__file__).parent / "demo_show", folder)
    (folder / "poses.yaml").write_text(POSES)
    return folder


def said(capsys: pytest.CaptureFixture[str]) -> dict:
    return json.loads(capsys.readouterr().out)


def test_a_new_mvr_says_from_where_each_place_is(show: Path, tmp_path: Path, capsys) -> None:
    rig = show / "rig.yaml"
    rig.write_text(rig.read_text().replace("    at: [2, -12, 9]\n    at_sigma: [0.3, 0.3, 0.1]\n", ""))
    file = tmp_path / "out.mvr"
    assert main(["export", str(show), str(file), "--json"]) == 0
    answer = said(capsys)
    assert (answer["file"], answer["previous"]) == (str(file), None)
    rows = answer["fixtures"]
    assert rows["foh-1"] == {"place": "solved", "why": ""}
    assert rows["foh-2"]["place"] == "plot"
    assert "not trusted" in rows["foh-2"]["why"]
    assert rows["foh-3"]["place"] is None
    assert "0.40 degrees" in answer["notes"][0]
    found = fixtures_by_pymvr(file.read_bytes())
    assert set(found) == {name for name, row in rows.items() if row["place"]}
    assert found["foh-1"].matrix.matrix[3][:3] == [1000, 2000, 3000]
    assert found["foh-2"].matrix.matrix[3][:3] == [-2000, -12000, 9000]


def test_the_words_count_what_was_written_and_name_the_file_before(show: Path, tmp_path: Path, capsys) -> None:
    file = tmp_path / "out.mvr"
    file.write_bytes(b"older")
    assert main(["export", str(show), str(file)]) == 0
    out = capsys.readouterr().out
    assert f"{file} written: 1 solved, 11 by the plot alone" in out
    assert f"kept as {tmp_path / 'out.previous.mvr'}" in out
    assert (tmp_path / "out.previous.mvr").read_bytes() == b"older"


def test_into_finds_heads_by_the_id_that_an_import_kept(show: Path, tmp_path: Path, capsys) -> None:
    (show / "imported.yaml").write_text(imported_text(Imported({}, {"foh-1": ImportedFixture("0badcafe")})))
    old, file = tmp_path / "old.mvr", tmp_path / "new.mvr"
    old.write_bytes(archive_of(THEIRS.encode()))
    before = old.read_bytes()
    assert main(["export", str(show), str(file), "--into", str(old), "--json"]) == 0
    rows = said(capsys)["fixtures"]
    assert rows["foh-1"] == {
        "place": "solved",
        "why": "it had no Matrix: one was added",
        "by": "id",
        "drawn": "Spot",
        "where": "layer Front",
        "moved": pytest.approx(14**0.5),
    }
    assert rows["foh-2"]["place"] == "as it was"
    assert old.read_bytes() == before
    world = worlds(scene_xml(file.read_bytes()))
    assert np.allclose(world["Spot"][:3, 3], [1000, 2000, 3000])
    assert np.allclose(world["foh-2"][:3, 3], [5, 6, 7])


def test_into_the_file_itself_keeps_the_one_before(show: Path, tmp_path: Path, capsys) -> None:
    old = tmp_path / "old.mvr"
    old.write_bytes(archive_of(THEIRS.replace("'Spot'", "'foh-1'").encode()))
    before = old.read_bytes()
    assert main(["export", str(show), str(old), "--into", str(old)]) == 0
    out = capsys.readouterr().out
    assert "foh-1   solved; found by its name as 'foh-1' (layer Front); 3.742 m from its place there: LOOK" in out
    assert old.read_bytes() != before
    assert (tmp_path / "old.previous.mvr").read_bytes() == before


def test_a_table_has_untrusted_poses_too_and_says_so(show: Path, tmp_path: Path, capsys) -> None:
    file = tmp_path / "rig.csv"
    assert main(["export", str(show), str(file), "--json"]) == 0
    rows = said(capsys)["fixtures"]
    assert (rows["foh-1"]["place"], rows["foh-2"]["place"], rows["foh-3"]["place"]) == ("solved", "solved", "plot")
    assert "not trusted" in rows["foh-2"]["why"]
    assert file.read_bytes().count(b"\r\n") == 13


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["out.txt"], "allowed is a name that ends in .mvr or .csv"),
        (["out.csv", "--into", "old.mvr"], "is to be a CSV"),
        (["out.mvr", "--into", "missing.mvr"], "cannot be read"),
        (["out.mvr", "--into", "bad.mvr"], "no ZIP archive"),
        (["no/such/folder/out.mvr"], "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(
    show: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys, words: list[str], why: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.mvr").write_bytes(b"no archive")
    before = sorted(tmp_path.rglob("*"))
    assert main(["export", str(show), *words, "--json"]) == 2
    (error,) = said(capsys)["errors"]
    assert why in error
    assert sorted(tmp_path.rglob("*")) == before


def test_a_show_without_any_place_gives_no_empty_mvr(show: Path, tmp_path: Path, capsys) -> None:
    rig, poses = show / "rig.yaml", show / "poses.yaml"
    lines = [line for line in rig.read_text().splitlines() if not line.strip().startswith(("at:", "at_sigma:"))]
    rig.write_text("\n".join(lines))
    poses.unlink()
    assert main(["export", str(show), str(tmp_path / "out.mvr")]) == 2
    assert "no head has a place" in capsys.readouterr().err
    assert not (tmp_path / "out.mvr").exists()


def test_our_own_import_reads_back_what_was_written(show: Path, tmp_path: Path) -> None:
    file = tmp_path / "out.mvr"
    assert main(["export", str(show), str(file)]) == 0
    found = read_mvr(file, "out.mvr")
    assert (found.skipped, found.asks) == ((), ())
    (profile,) = found.profiles
    heads = {head.name: head for head in found.fixtures}
    for number, fixture in enumerate(load(show).fixtures, 1):
        head = heads[fixture.name]
        assert (head.universe, head.address, head.truss) == (fixture.universe, fixture.address, fixture.truss)
        assert (head.number, head.profile) == (str(number), profile.key)
        if fixture.name == "foh-1":
            assert head.at == pytest.approx((1, 2, 3))
            assert head.hang == pytest.approx((2 * np.degrees(np.arctan2(0.6, 0.8)), 0, 0))
        else:
            assert (head.at, head.hang) == (fixture.at, (fixture.hang.yaw, 0, 0))


@settings(deadline=None, max_examples=50)
@given(poses())
def test_any_pose_comes_back_by_our_own_import_to_a_micrometre_and_a_microradian(pose: Pose) -> None:
    heads = {head.name: head for head in read_mvr(new_mvr(solved({"mid-3": pose})), "out.mvr").fixtures}
    at, hang = heads["mid-3"].at, heads["mid-3"].hang
    assert np.linalg.norm(np.subtract(at, pose.position)) < 1e-6
    assert turn_between_rad(rotation_from_hang(*np.radians(hang)), rotation_from_quaternion(pose.rotation)) < 1e-6
