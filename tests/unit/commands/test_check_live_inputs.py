"""`check --live` of tracking inputs: who is heard, which followed point is not, and who must not be heard."""

from __future__ import annotations

import socket
from pathlib import Path

from bridge.commands.findings import Finding
from bridge.commands.listening import PointRow
from bridge.commands.live import listen
from bridge.commands.live_findings import as_data, live_findings
from bridge.commands.live_inputs import InputHeard, input_lines, input_live_findings
from bridge.show import load
from tests.made_inputs import Sender, a_free_port, show_with_inputs

ROW = PointRow("1/7", "Anna", (1.0, 2.0, 3.0), None, 60.0, 1.25, 9.0, "10.0.0.5", ("lead", "two"))


def told(*heard: InputHeard) -> list[Finding]:
    return list(input_live_findings(list(heard), 3.0))


def test_an_input_with_all_that_targets_follow_is_no_finding() -> None:
    assert told(InputHeard("tags", "at", (ROW,))) == []
    assert list(input_lines([InputHeard("tags", "at", (ROW,))])) == [
        'input tags: 1/7 "Anna" from 10.0.0.5, 60.0/s, jitter 1.2 ms, lead, two'
    ]


def test_a_point_that_a_target_follows_and_is_not_heard_is_a_warning() -> None:
    text = "not heard: 1/8 (two); heard: 1/7"
    assert told(InputHeard("tags", "at", (ROW,), ("1/8 (two)",))) == [Finding("warning", "input tags", text)]


def test_silence_is_a_warning_with_what_to_look_at() -> None:
    text = "nothing was heard in 3 s at 239.159.1.1:5568: is it on?; is the cable in?"
    silent = InputHeard("tags", "239.159.1.1:5568", (), ("1/7 (lead)",), (), ("is it on?", "is the cable in?"))
    assert told(silent) == [Finding("warning", "input tags", text)]
    assert list(input_lines([silent])) == ["input tags: nothing"]


def test_a_sender_that_is_not_allowed_is_a_warning() -> None:
    (one,) = told(InputHeard("tags", "at", (ROW,), strangers=("10.0.0.9",)))
    assert (one.level, "10.0.0.9 sends and is not in `osc: allow`" in one.what) == ("warning", True)


def test_an_input_that_could_not_be_listened_to_is_a_note() -> None:
    assert told(InputHeard("sound", "", deaf="another program holds this port")) == [
        Finding("note", "input sound", "was not listened to: another program holds this port")
    ]


def test_all_inputs_are_heard_beside_the_universes_and_a_port_that_the_bridge_holds(tmp_path: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bridge:
        bridge.bind(("127.0.0.1", 0))
        folder = show_with_inputs(tmp_path / "show", bridge.getsockname()[1])
        stage = folder / "stage.yaml"
        stage.write_text(
            stage.read_text().replace(
                "{input: tags, point: 1/7}", "[{input: tags, point: 1/7}, {input: stage, point: 4}]"
            )
        )
        show = load(folder)
        with Sender(a_free_port()):
            found = listen(show, 2.0, tmp_path / "state")
    _, heard, us = found
    tags, tracked, sound = heard.inputs
    assert [(row.point, row.targets) for row in tags.points] == [("1/7", ("lead",))]
    assert 30.0 < tags.points[0].rate_hz < 51.0
    assert [(row.point, row.name) for row in tracked.points] == [("3", "Anna")]
    assert "another program holds this port" in sound.deaf
    inputs = [finding for finding in live_findings(show, heard, us) if finding.where.startswith("input ")]
    assert [(finding.level, finding.where) for finding in inputs] == [
        ("warning", "input stage"),
        ("note", "input sound"),
    ]
    assert inputs[0].what == "not heard: 4 (lead); heard: 3"
    assert [one["name"] for one in as_data(show, heard, us)["inputs"]] == ["tags", "stage", "sound"]
