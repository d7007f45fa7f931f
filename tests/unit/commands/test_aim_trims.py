"""`aim` says what `run` would send: with the trims that are in force on this machine, and names them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bridge import cli
from bridge.daemon.state import StateFolder
from bridge.rig.fixture import Pose
from bridge.rig.rig import Rig
from bridge.show import load

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
STILL: dict[str, Any] = {"all": {}, "truss": {}, "fixture": {}}


def put(state: Path, **door: Any) -> None:
    """What a running daemon would have kept of this show."""
    folder = StateFolder(state, TOUR)
    kept = {"still": STILL, "armed": True, "dark": False, "out": [], **door}
    folder.write_lasting({"boot": "b", "boot_s": 1.0, "door": kept})
    folder.close()


def aim(capsys: pytest.CaptureFixture[str], state: Path, *words: str) -> tuple[str, str]:
    assert cli.main(["aim", str(TOUR), "--at", "1", "3", "1.3", "--state", str(state), *words]) == 0
    out, err = capsys.readouterr()
    return out, err


def lit_at(row: dict[str, float], pose: Pose, name: str, z: float) -> list[float]:
    """Where the beam axis meets the height z, metres (Heads.beam is checked against MuJoCo elsewhere)."""
    one = Rig.from_fixtures([f for f in load(TOUR).fixtures if f.name == name], {name: pose})
    start, direction = (
        v[0] for v in one.heads.beam(*([row[axis] * 3.141592653589793 / 180] for axis in ("pan", "tilt")))
    )
    return (start + (z - start[2]) / direction[2] * direction)[:2].tolist()


def test_what_is_trimmed_is_aimed_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show = load(TOUR)
    name, other = (fixture.name for fixture in show.fixtures[:2])
    put(tmp_path, trims={"heads": {name: [0.5, -0.25]}, "trusses": {}})
    answer = json.loads(aim(capsys, tmp_path, "--json")[0])
    assert answer["trims"] == {"fixture": {name: [0.5, -0.25]}, "truss": {}}
    for head, place in ((name, [1.5, 2.75]), (other, [1.0, 3.0])):
        assert lit_at(answer["fixtures"][head], show.poses[head], head, 1.3) == pytest.approx(place, abs=2e-3)
    assert f"Trims in force: {name} by x +0.50, y -0.25 m" in aim(capsys, tmp_path)[0]


def test_where_nothing_is_kept_nothing_is_trimmed_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, err = aim(capsys, tmp_path / "none")
    assert "Trims in force: none" in out
    assert err == ""
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("octets", ["{", '{"version": 1, "door": 5}'])
def test_kept_trims_that_cannot_be_read_are_said_and_do_no_harm(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], octets: str
) -> None:
    put(tmp_path)
    (path,) = tmp_path.glob("shows/*/lasting.json")
    path.write_text(octets)
    out, err = aim(capsys, tmp_path, "--json")
    assert json.loads(out)["trims"] == {"fixture": {}, "truss": {}}
    assert "without the trims that `run` keeps" in err
    assert str(path) in err
