"""`check` on evenness and the ceiling: what cannot be kept, for whom, and groups of one."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from bridge import cli

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
PLAIN = """version: 1
name: plain spot
footprint: 10
channels: {pan: [1, 2], tilt: [3, 4], dimmer: [5, 6], zoom: [7, 8]}
pan: {from: -270, to: 270}
tilt: {from: -135, to: 135}
zoom: {table: [[0, 55.0], [65535, 5.0]]}
"""


def findings(tmp_path: Path, capsys: pytest.CaptureFixture[str], light: str, plain: str, group: str = "") -> list[str]:
    """Of the tour, with this `light:`; the head `plain` has a profile without candela, and a group of evenness."""
    show = tmp_path / "show"
    shutil.copytree(TOUR, show)
    stage, rig = show / "stage.yaml", (show / "rig.yaml").read_text().splitlines(keepends=True)
    stage.write_text(stage.read_text().replace("light: {evenness: off}", f"light: {light}"))
    at = next(n for n, line in enumerate(rig) if line.strip() == f"- name: {plain}")
    assert "profile:" in rig[at + 1]
    rig[at + 1] = "    profile: profiles/plain.yaml\n" + (f"    evenness: {group}\n" if group else "")
    (show / "rig.yaml").write_text("".join(rig))
    (show / "profiles").mkdir(exist_ok=True)
    (show / "profiles" / "plain.yaml").write_text(PLAIN)
    assert cli.main(["check", str(show), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["findings"]
    words = ("evenness", "ceiling")
    return [f"{r['level']}: {r['where']}: {r['what']}" for r in rows if any(word in r["what"] for word in words)]


def test_it_names_the_heads_for_which_the_ceiling_cannot_be_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (line,) = findings(tmp_path, capsys, "{at_most: 800}", "foh-2")
    assert line == (
        "warning: profile plain spot: no candela in the zoom table: the ceiling of 800 lux CANNOT BE KEPT for foh-2: "
        "they count as nothing"
    )


def test_it_names_the_heads_that_evenness_leaves_out_and_groups_of_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert findings(tmp_path, capsys, "{evenness: on}", "foh-2", group="kye") == [
        "warning: profile plain spot: no candela in the zoom table: left out of evenness are foh-2",
        "note: foh-2: alone in its group of evenness, kye; a slip of the pen?",
    ]


def test_without_evenness_and_ceiling_there_is_nothing_to_say(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert findings(tmp_path, capsys, "{evenness: off}", "foh-2", group="kye") == []
