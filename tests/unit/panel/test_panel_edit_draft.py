"""What the editor would save, against the file: random hands in Node.js, their changes made in a text by Python."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from bridge.panel.stage_asks import plain_stage
from bridge.show.changes import same
from bridge.show.editing import edited
from bridge.show.spans import Layout

ROOT = Path(__file__).resolve().parents[3]
NODE = shutil.which("node")
SCRIPT = Path(__file__).with_name("edit_draft.mjs")
FIELDS = {
    "performance_polygon": ("corners", "height", "margin"),
    "marks": ("at", "sigma", "height"),
    "tapes": ("between", "metres", "sigma"),
    "more_areas": ("corners", "height", "on"),
    "no_light": ("corners", "height", "on"),
    "floors": ("corners", "height"),
    "datum": ("origin", "along_x"),
    "seat": ("at",),
}
TAPED = """# as a hand wrote it
version: 1
performance_polygon:
  corners:
    - [0, 0]   # front
    - [4 m, 0]
    - [4, 400 cm]
marks:
  A: [1, 1, 0]   # nail
  B: {at: [3, 1, "1' 2\\""], sigma: 2 cm}
  C: {at: unknown}
tapes:
  - {between: [A, B], metres: 2}   # steel
  - between: [B, C]
    metres: 250 cm
  - {between: [A, foh-1], metres: 9.5, sigma: 0.02}
"""


def items(text: str) -> list[list[Any]]:
    """[kind, name, values of its fields] of all that stands in a file."""
    stage, odd = plain_stage(Layout(text).root.plain())
    assert odd == []
    out: list[list[Any]] = []
    for kind, fields in FIELDS.items():
        found = stage[kind]
        if kind == "seat":
            out += [] if found is None else [[kind, "", found]]
        else:
            group = found if isinstance(found, list) else [] if found is None else [found]
            out += [[kind, item.get("name", ""), *(item[field] for field in fields)] for item in group]
    return out


@pytest.mark.skipif(NODE is None, reason="needs Node.js")
@pytest.mark.parametrize("name", ["every-key", "taped"])
def test_changes_of_random_hands_make_the_file_what_the_form_shows(name: str) -> None:
    text = TAPED if name == "taped" else (ROOT / "configs/every-key/stage.yaml").read_text()
    stage, _ = plain_stage(Layout(text).root.plain())
    asked = {"page": (ROOT / "bridge/panel/page").as_uri(), "stage": stage, "seed": 11, "count": 120}
    told = subprocess.run([str(NODE), str(SCRIPT)], input=json.dumps(asked), capture_output=True, text=True, timeout=60)
    assert told.returncode == 0, told.stderr
    drafts = json.loads(told.stdout)
    assert sum(len(draft["changes"]) for draft in drafts) > 200
    for draft in drafts:
        after = items(edited(text, draft["changes"]))
        key = lambda item: (item[0], item[1], str(item[2])) if item[0] == "tapes" else (item[0], item[1], "")  # noqa: E731
        expected, found = sorted(draft["items"], key=key), sorted(after, key=key)
        for one, other in zip(expected, found, strict=True):
            assert one[:2] == other[:2], draft["changes"]
            assert all(map(same, other[2:], one[2:])), (one, other, draft["changes"])
        assert (draft["undone"], draft["unsaved"]) == (True, 0)
