"""A person's yes to a pose that is not trusted, and the way back to the poses before: on disk, in use, or refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bridge.daemon import summary
from bridge.daemon.focus import Focus
from bridge.daemon.other_poses import OtherPoses
from bridge.daemon.reloading import trusted_or_in_use
from bridge.daemon.worker import Worker
from bridge.door.door import Door, make
from bridge.door.events import Event, NewPoses, Start
from bridge.door.inbox import Refusal
from bridge.errors import Refused
from bridge.show import load
from tests.unit.door.stand_ins import CID, PERIOD, octets_of, say

RIG = """\
version: 1
name: Two heads
fixtures:
  - {name: a, profile: spot-16bit, universe: 1, address: 1}
  - {name: b, profile: spot-16bit, universe: 1, address: 101}
"""
STAGE = """\
version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0]}
marks: {A: [-5, 1, 0], B: [5, 1, 0]}
"""
BEFORE = """\
version: 1
# by hand
fixtures:
  a: {position: [-3, -6, 8], rotation: [0, 0, 0, 1]}
  b: {position: [3, -6, 8], rotation: [0, 0, 0, 1]}
"""
AFTER = """\
version: 1
trusted: off
fixtures:
  a: {position: [-3.5, -6, 8], rotation: [0, 0, 0, 1]}
  b: {position: [3.5, -6, 8], rotation: [0, 0, 0, 1], trusted: on}
"""
ANN = "Ann@10.0.0.7"


class Desk:
    """A door that aims with BEFORE, while a solve has written AFTER; its loop is a list of jobs."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name, text in (("rig", RIG), ("stage", STAGE), ("poses", BEFORE)):
            (folder / f"{name}.yaml").write_text(text)
        self.door = Door(make(load(folder)), CID)
        self.door.apply(Start(0.0, armed=False))
        self.put("poses", AFTER)
        self.put("poses.previous", BEFORE)
        self.events: list[tuple[Any, ...]] = []
        self.refusals: list[Refusal] = []
        self.jobs: list[Callable[[], None]] = []
        self.worker, self.now_s = Worker(), 100.0
        tell = lambda *event: self.events.append(event)  # noqa: E731
        self.focus = Focus(self.door, self.worker, tell, self.jobs.append, self.apply, lambda: self.now_s)
        self.others = OtherPoses(self.door, self.focus, self.worker, tell, self.jobs.append, self.refusals.append)
        self.applied: list[Event] = []

    def put(self, name: str, text: str) -> None:
        (self.folder / f"{name}.yaml").write_text(text)

    def text(self, name: str = "poses") -> str:
        return (self.folder / f"{name}.yaml").read_text()

    def apply(self, event: Event) -> None:
        self.applied.append(event)
        self.door.apply(event)

    def settle(self) -> None:
        """Until neither the worker nor the loop has anything left."""
        for _ in range(4):
            self.worker.stop()
            while self.jobs:
                self.jobs.pop(0)()
            self.worker._thread = type(self.worker._thread)(target=self.worker._run, daemon=True)
            self.worker._thread.start()

    def at(self, name: str) -> float:
        return self.door.poses[name].position[0]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_an_accepted_pose_is_noted_with_who_said_so_and_taken(desk: Desk) -> None:
    desk.others.accept("a", ANN, 1.0)
    assert desk.applied == [], "files are for the worker, the door for the loop"
    desk.settle()
    (event,) = desk.applied
    assert isinstance(event, NewPoses)
    assert set(event.poses) == {"a"}
    assert (desk.at("a"), desk.at("b")) == (-3.5, 3.0), "and only that head's"
    assert desk.events == [("/feed/accepted", "a", ANN)]
    poses = load(desk.folder).poses
    assert (poses["a"].accepted, poses["a"].trusted, poses["b"].accepted) == (ANN, False, "")
    assert desk.text("poses.previous") == BEFORE, "a note makes no version before"
    assert desk.refusals == []


def test_after_a_start_or_a_reload_it_is_used_and_said_as_accepted_not_as_a_danger(desk: Desk) -> None:
    doubts = {text: level for level, text in summary.doubts(load(desk.folder))}
    assert any("NOT TRUSTED, beams may be off: a (" in text for text in doubts)
    desk.others.accept("a", ANN, 1.0)
    desk.settle()
    show = load(desk.folder)
    doubts = {text: level for level, text in summary.doubts(show)}
    assert not any("NOT TRUSTED" in text for text in doubts)
    assert doubts[f"poses that the solve does not trust are used, accepted: a by {ANN}"] == "info"
    assert trusted_or_in_use(show, {"a": show.poses["b"]})["a"] is show.poses["a"]
    from_state = Door(make(load(desk.folder)), CID)
    from_state.restore(desk.door.state())
    assert from_state.poses["a"] == show.poses["a"]


def test_two_heads_accepted_at_once_are_both_taken(desk: Desk) -> None:
    """The second is prepared while the first has not come to the door: neither may be lost for it."""
    desk.put("poses", AFTER.replace(", trusted: on", ""))
    desk.others.accept("a", ANN, 1.0)
    desk.others.accept("b", "Bob@10.0.0.7", 1.0)
    desk.settle()
    assert (desk.at("a"), desk.at("b")) == (-3.5, 3.5)
    assert {name: pose.accepted for name, pose in load(desk.folder).poses.items()} == {"a": ANN, "b": "Bob@10.0.0.7"}


def test_the_file_from_before_comes_back_whole_and_again_goes_forward(desk: Desk) -> None:
    desk.focus.take(load(desk.folder), load(desk.folder).poses, lambda: None)
    desk.settle()
    assert (desk.at("a"), desk.at("b")) == (-3.5, 3.5)
    desk.others.back(ANN, 1.0)
    desk.settle()
    assert (desk.text(), desk.text("poses.previous")) == (BEFORE, AFTER), "comments and all"
    assert (desk.at("a"), desk.at("b")) == (-3.0, 3.0)
    assert desk.events == [("/feed/back", ANN, "2 poses taken")]
    desk.others.back(ANN, 2.0)
    desk.settle()
    assert (desk.text(), desk.text("poses.previous")) == (AFTER, BEFORE)
    assert (desk.at("a"), desk.at("b")) == (-3.0, 3.5), "what is not trusted there is not taken"
    assert desk.events[-1] == ("/feed/back", ANN, "1 poses taken, 1 not taken: they are not trusted (a)")


def test_what_was_accepted_before_is_taken_on_the_way_back(desk: Desk) -> None:
    desk.put("poses.previous", BEFORE.replace("1]}\n  b", f"1], trusted: off, accepted: {ANN}}}\n  b"))
    desk.focus.take(load(desk.folder), load(desk.folder).poses, lambda: None)
    desk.others.back(ANN, 1.0)
    desk.settle()
    assert (desk.at("a"), desk.door.poses["a"].accepted) == (-3.0, ANN)


def test_neither_moves_a_lit_beam_by_a_jump(desk: Desk) -> None:
    say(desk.door, 0.0, "/arm", 1)
    say(desk.door, 0.0, "/target/lead/position", 0.0, 4.0)
    for step in range(200):
        say(desk.door, step * PERIOD, "/target/lead/alive")
        desk.door.tick(step * PERIOD)
    desk.now_s = 200 * PERIOD
    stood = before = desk.door.engine.frame
    assert before is not None
    assert before.level.min() == 1.0
    desk.others.accept("a", ANN, desk.now_s)
    desk.settle()
    lit_steps = []
    for step in range(200, 400):
        say(desk.door, step * PERIOD, "/target/lead/alive")
        octets_of(desk.door.tick(step * PERIOD))
        frame = desk.door.engine.frame
        assert frame is not None
        if frame.level[0] > 0 and before.level[0] > 0:
            lit_steps.append(abs(frame.pan_rad[0] - before.pan_rad[0]))
        before = frame
    assert stood is not None
    assert before is not None
    assert abs(before.pan_rad[0] - stood.pan_rad[0]) > 0.03, "it went there"
    assert max(lit_steps) < 0.01, "rad from one lit frame to the next"
    assert before.level[0] == 1.0, "and lights there"


def refusal(desk: Desk) -> tuple[str, str, str, str]:
    desk.settle()
    (one,) = desk.refusals
    assert desk.applied == desk.events == []
    return one.sender, one.address, one.reason, one.text


def test_a_head_without_a_pose_there_cannot_be_accepted(desk: Desk) -> None:
    desk.put("poses", AFTER.replace("  a:", "  gone:"))
    desk.others.accept("a", ANN, 1.0)
    sender, address, reason, text = refusal(desk)
    assert (sender, address, reason) == (ANN, "/sight/a/accept", "no-pose")
    assert "poses.yaml holds no pose of a" in text


def test_a_trusted_pose_needs_nobodys_yes(desk: Desk) -> None:
    desk.others.accept("b", ANN, 1.0)
    assert refusal(desk)[2] == "trusted"
    assert desk.text() == AFTER


def test_an_unknown_head_is_refused_at_once(desk: Desk) -> None:
    with pytest.raises(Refused, match="no fixture c"):
        desk.others.accept("c", ANN, 1.0)


def test_while_a_solve_runs_both_wait(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk.worker, "do", lambda job: None)
    desk.focus.solve()
    for ask in (lambda: desk.others.accept("a", ANN, 1.0), lambda: desk.others.back(ANN, 1.0)):
        with pytest.raises(Refused, match="a solve is running") as caught:
            ask()
        assert caught.value.reason == "busy"


def test_where_there_is_nothing_before_there_is_no_way_back(desk: Desk) -> None:
    (desk.folder / "poses.previous.yaml").unlink()
    desk.others.back(ANN, 1.0)
    assert refusal(desk)[1:3] == ("/sight/back", "nothing-before")
    assert desk.text() == AFTER


@pytest.mark.parametrize(
    ("text", "reason", "words"),
    [
        ("version: 1\nfixtures: [", "files", "poses.previous.yaml:"),
        (BEFORE.replace("[0, 0, 0, 1]", "[0, 0, 0, 2]"), "files", "poses.previous.yaml:4"),
        (BEFORE + "of: {name: Elsewhere}\n", "other-rig", "of the rig 'Elsewhere', and this is 'Two heads'"),
        (BEFORE.replace("  a:", "  x:").replace("  b:", "  y:"), "other-rig", "no pose of any head of this rig"),
    ],
    ids=["no YAML", "no unit quaternion", "another rig's name", "other heads"],
)
def test_a_version_before_that_is_none_of_ours_is_left_where_it_is(
    desk: Desk, text: str, reason: str, words: str
) -> None:
    desk.put("poses.previous", text)
    desk.others.back(ANN, 1.0)
    _, address, found, said = refusal(desk)
    assert (address, found) == ("/sight/back", reason)
    assert words in said
    assert (desk.text(), desk.text("poses.previous")) == (AFTER, text)


def test_a_poses_file_that_cannot_be_read_is_not_written_to(desk: Desk) -> None:
    broken = AFTER + "tlit: 1\n"
    desk.put("poses", broken)
    desk.others.accept("a", ANN, 1.0)
    assert "poses.yaml:6" in refusal(desk)[3]
    assert desk.text() == broken


def test_an_accepted_pose_does_not_keep_a_walk_from_verifying_the_others(desk: Desk) -> None:
    from bridge.daemon import records

    desk.others.accept("a", ANN, 1.0)
    desk.settle()
    assert records.confirm_walk(desk.folder, "A", 0.0, ["a", "b"]) == "all poses verified"
    assert desk.text("poses.previous") == BEFORE


def test_poses_in_a_state_file_say_who_accepted_them(desk: Desk) -> None:
    from bridge.door.poses import from_json, to_json

    pose = replace(desk.door.poses["a"], trusted=False, accepted=ANN)
    assert from_json(to_json({"a": pose}))["a"] == pose
    with pytest.raises(ValueError, match="accepted"):
        from_json({"a": to_json({"a": pose})["a"] | {"accepted": 7}})
