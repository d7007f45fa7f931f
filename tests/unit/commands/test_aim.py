"""What `aim` says of heads whose beam nobody can know, and that it is JSON whatever the rig."""

from __future__ import annotations

import json

import numpy as np
import pytest

from bridge.commands.aim import _print_table, describe, settle
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput
from tests.conftest import build_rig

PLACE = (0.5, 3.0, 1.3)


@pytest.fixture(scope="module")
def answers():
    """The same rig with all poses, and without that of mid-2."""
    made = build_rig(seed=3)
    out = []
    for poses in (made.poses, {name: pose for name, pose in made.poses.items() if name != "mid-2"}):
        rig = Rig.from_fixtures(made.fixtures, poses)
        out.append(describe(rig, settle(Engine(rig, made.stage, LostInput(), {}), PLACE)))
    return out


def test_an_unsolved_head_has_no_angles_but_what_would_be_sent(answers):
    full, answer = answers
    head = answer["fixtures"]["mid-2"]
    assert [head[key] for key in ("pan", "tilt", "face", "distance")] == [None] * 4
    assert head["state"] == "unsolved"
    assert head["level"] == 0.0
    assert head["raw"]["dimmer"] == 0
    assert len(head["slots"]) == 16
    assert all(isinstance(value, int) for value in head["slots"].values())
    first = full["fixtures"]["mid-2"]["slots"]
    assert set(first) == set(head["slots"])


def test_the_others_are_as_if_it_were_solved(answers):
    full, answer = answers
    others = {name: row for name, row in answer["fixtures"].items() if name != "mid-2"}
    assert others == {name: row for name, row in full["fixtures"].items() if name != "mid-2"}
    assert all(row["distance"] > 1 and np.isfinite(row["pan"]) for row in others.values())


def test_it_is_strict_json_and_the_table_shows_a_dash(answers, capsys):
    text = json.dumps(answers[1], allow_nan=False)
    assert json.loads(text) == answers[1]
    _print_table(answers[1], list(PLACE))
    (line,) = [line for line in capsys.readouterr().out.splitlines() if "mid-2" in line]
    assert [cell.strip() for cell in line.split("\u2502")[2:7]] == ["unsolved", "-", "-", "-", "-"]
