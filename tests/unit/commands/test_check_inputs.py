"""What `check` says of tracking inputs and their frames: one test for each finding, and that sound ones have none."""

from __future__ import annotations

import json
import math
import socket
from dataclasses import replace
from pathlib import Path

import pytest

from bridge import cli
from bridge.commands.findings import Finding
from bridge.commands.input_findings import input_findings
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.geometry.stage import Mark, Source, Walk
from bridge.show import Show, load
from bridge.wire.settings import InputSettings

CONFIGS = Path(__file__).parents[3] / "configs"
MARKS = {
    name: Mark(name, at) for name, at in {"A": (0.0, 0.0, 0.0), "B": (4.0, 0.0, 0.0), "C": (0.0, 3.0, 0.0)}.items()
}
ON = tuple(Recorded(mark.name, "1/7", (mark.at[0], mark.at[1], 1.1)) for mark in MARKS.values() if mark.at)
SOLVED = InputFrame(recorded=ON, sigma=0.03)
HERE = Finding("note", "network.yaml", "inputs: heard from this machine alone, on its loopback: tags")
AIM_M = 0.1


@pytest.fixture(scope="module")
def show() -> Show:
    """The tour with a target that follows a point, every head good to 10 cm."""
    tour = load(CONFIGS / "harbour-hall-tour")
    poses = {name: replace(pose, aim_error_p95=AIM_M) for name, pose in tour.poses.items()}
    assert poses
    targets = (replace(tour.stage.targets[0], sources=(Source("tags", "1/7"),)), *tour.stage.targets[1:])
    stage = replace(tour.stage, targets=targets, marks=MARKS, accept=0.3)
    return with_input(replace(tour, stage=stage, poses=poses, frames={"tags": SOLVED}), InputSettings("otp"))


def with_input(show: Show, settings: InputSettings, **network: object) -> Show:
    return replace(show, network=replace(show.network, inputs={"tags": settings}, **network))  # type: ignore[arg-type]


def with_frame(show: Show, frame: InputFrame | None) -> Show:
    return replace(show, frames={} if frame is None else {"tags": frame})


def only(show: Show, level: str, where: str, *words: str) -> None:
    """Beside the note that a loopback is heard from this machine, and the one on the predicted aim."""
    (row,) = [row for row in input_findings(show) if row != HERE and "are predicted within" not in row.what]
    assert row[:2] == (level, where)
    assert [word for word in words if word not in row.what] == [], row.what


def test_a_sound_input_is_told_with_what_it_does_to_the_aim(show: Show) -> None:
    both = 100 * math.hypot(AIM_M, 0.03)
    words = f"by tags, beams are predicted within {both:.0f} cm (95 %): 10 cm of aim and 3 cm of frame"
    assert list(input_findings(show)) == [HERE, Finding("note", "target lead", words)]


def test_a_show_without_inputs_has_none(show: Show) -> None:
    targets = tuple(replace(target, sources=()) for target in show.stage.targets)
    plain = replace(show.network, inputs={})
    assert (
        list(input_findings(replace(show, network=plain, frames={}, stage=replace(show.stage, targets=targets)))) == []
    )


def test_an_input_that_nobody_follows(show: Show) -> None:
    targets = tuple(replace(target, sources=()) for target in show.stage.targets)
    only(replace(show, stage=replace(show.stage, targets=targets)), "note", "network.yaml", "no target follows", "tags")


def test_an_input_without_a_frame_says_what_to_do(show: Show) -> None:
    only(with_frame(show, None), "warning", "target lead", "has no frame", "/frame/tags/record", "/frame/tags/solve")


def test_a_frame_that_was_never_held_against_marks(show: Show) -> None:
    only(with_frame(show, replace(SOLVED, recorded=())), "warning", "frames.yaml", "tags: not solved from marks")
    few = with_frame(show, replace(SOLVED, recorded=ON[:2]))
    only(few, "note", "frames.yaml", "tags: solved from A, B alone", "third mark")


def test_a_frame_that_misses_its_marks(show: Show) -> None:
    off = with_frame(show, replace(SOLVED, recorded=(*ON[:2], Recorded("C", "1/7", (0.3, 3.4, 0.0)))))
    only(off, "warning", "frames.yaml", "off by 50 cm at mark C", "0.3 m")
    near = with_frame(show, replace(SOLVED, recorded=(*ON[:2], Recorded("C", "1/7", (0.2, 3.2, 0.0)))))
    assert len(list(input_findings(near))) == 2


def test_a_mark_that_only_the_solve_knows_counts_too(show: Show) -> None:
    marks = {**MARKS, "C": Mark("C", None)}
    moved = replace(show, stage=replace(show.stage, marks=marks), solved_marks={"C": (1.0, 3.0, 0.0)})
    only(moved, "warning", "frames.yaml", "off by 100 cm at mark C")


def test_a_frame_worse_than_what_is_accepted(show: Show) -> None:
    worse = with_frame(show, replace(SOLVED, sigma=0.31))
    only(worse, "warning", "frames.yaml", "sigma 0.31 m is more than `accept`", "0.3 m")


def test_a_frame_that_makes_a_good_aim_too_wide(show: Show) -> None:
    rows = list(input_findings(with_frame(show, replace(SOLVED, sigma=0.29))))
    words = "by tags, beams are predicted within 31 cm (95 %): 10 cm of aim and 29 cm of frame, more than `accept`"
    assert [row for row in rows if row != HERE] == [Finding("warning", "target lead", f"{words} (0.3 m)")]


def test_a_frame_of_shares_that_is_taken_for_metres(show: Show) -> None:
    sound = with_input(show, InputSettings("adm-osc", host="127.0.0.1", port=0))
    only(sound, "note", "frames.yaml", "tags: scale 1", "shares of a room")
    assert len(list(input_findings(with_frame(sound, replace(SOLVED, scale=2.0, recorded=()))))) == 3


@pytest.mark.parametrize("protocol", ["otp", "psn"])
def test_an_interface_that_is_not_there(show: Show, protocol: str) -> None:
    gone = with_input(show, InputSettings(protocol, "nosuch9"))
    rows = [row for row in input_findings(gone) if row.level == "error"]
    assert len(rows) == 1
    assert rows[0].what.startswith("inputs: tags: found 'nosuch9', which is no interface of this machine")


def test_an_address_that_is_not_ours(show: Show) -> None:
    osc = replace(show.network.osc, allow=("0.0.0.0/0",))
    gone = with_input(show, InputSettings("otp", "192.0.2.77"), osc=osc)  # TEST-NET-1, RFC 5737
    only(gone, "error", "network.yaml", "tags: no interface of this machine has the address 192.0.2.77")


def test_an_input_whose_senders_are_all_refused(show: Show) -> None:
    here = with_input(show, InputSettings("adm-osc", host="0.0.0.0", port=0))
    scaled = with_frame(here, replace(SOLVED, scale=1.01))
    only(scaled, "warning", "network.yaml", "tags is heard on 0.0.0.0", "`osc: allow`", "add its network")
    osc = replace(show.network.osc, allow=("127.0.0.0/8", "10.0.0.0/8"))
    assert len(list(input_findings(replace(scaled, network=replace(scaled.network, osc=osc))))) == 1


def test_a_port_that_another_has(show: Show) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        taken = InputSettings("adm-osc", host="127.0.0.1", port=other.getsockname()[1])
        only(
            with_frame(with_input(show, taken), replace(SOLVED, scale=1.01)),
            "warning",
            "network.yaml",
            "cannot be opened here",
        )


def test_heads_that_are_led_without_their_lag(show: Show) -> None:
    first, second, *others = show.fixtures
    late = replace(show, fixtures=(replace(first, lag=0.0), replace(second, lag=0.1), *others))
    only(late, "note", "rig.yaml", "led as if their light came at once", first.name)
    walk = Walk(predict=False)
    targets = tuple(replace(target, walk=walk) for target in late.stage.targets)
    assert len(list(input_findings(replace(late, stage=replace(late.stage, targets=targets))))) == 2


def test_check_says_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(CONFIGS / "every-key"), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["findings"]
    assert [row["level"] for row in rows if row["where"] == "frames.yaml"] == ["warning"]
    assert [row["what"] for row in rows if row["where"] == "target lead"] == [
        "by tags, beams are predicted within 6 cm (95 %): 5 cm of aim and 3 cm of frame"
    ]
