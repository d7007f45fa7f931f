"""Sightings and check walks on disk: kept with what people wrote by hand, refused where something cannot be read."""

import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.daemon import focus, records
from bridge.daemon.focus import Focus
from bridge.daemon.logs import LOG
from bridge.daemon.solve_process import SolveAnswer, sentences
from bridge.daemon.worker import Worker
from bridge.door.door import Door
from bridge.door.events import Event, NewPoses
from bridge.door.poses import from_json, to_json
from bridge.errors import Refused, ShowError
from bridge.rig.fixture import Mechanics, OwnTables, Pose
from bridge.show.folder import read_tree
from bridge.show.poses import read_poses
from bridge.solve.measurements import Sighting
from tests.unit.door.stand_ins import say, small_door, small_show

POSES = """\
version: 1
fixtures:
  foh-1: {position: [0, 0, 9], rotation: [0, 0, 0, 1], verified: false}
  "no":  {position: [1, 0, 9], rotation: [0, 0, 0, 1], verified: false%s}
"""


class Desk:
    """A focus session at a real door, whose loop is a list, run by `finish`, and whose clock is a number."""

    def __init__(self, folder: Path) -> None:
        self.door: Door = small_door(replace(small_show(), path=folder))
        say(self.door, 0.0, "/arm", 1)
        say(self.door, 0.0, "/sight/foh-1/point", 10.12345, 50.0)
        self.worker, self.now_s = Worker(), 100.0
        self.door.tick(3.0)
        self.events: list[tuple[Any, ...]] = []
        self.applied: list[Event] = []
        self.jobs: list[Callable[[], None]] = []
        self.focus = Focus(
            self.door,
            self.worker,
            lambda *event: self.events.append(event),
            self.jobs.append,
            self.applied.append,
            lambda: self.now_s,
        )

    def walk(self, mark: str) -> None:
        """Hold `/walk MARK` until now, for the last four seconds."""
        for step in range(-40, 1):
            say(self.door, self.now_s + step / 10, "/walk", mark)
            self.door.tick(self.now_s + step / 10)

    def finish(self) -> list[tuple[Any, ...]]:
        self.worker.stop()
        while self.jobs:
            self.jobs.pop(0)()
        return self.events


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    return Desk(tmp_path)


def test_a_recorded_sighting_is_on_disk_before_it_is_acknowledged(desk: Desk, tmp_path: Path) -> None:
    desk.focus.record("foh-1", "A")
    assert desk.events == []
    events = desk.finish()
    assert [event[:3] for event in events] == [("/feed/sighting", "foh-1", "A")]
    (kept,), frame = records.sightings_on_disk(tmp_path), desk.door.engine.frame
    assert frame is not None
    assert (kept.fixture, kept.mark, kept.pan, kept.tilt) == ("foh-1", "A", 10.1235, 50)
    assert (kept.zoom, kept.focus) == (65535, None), "the zoom in force; no hand has set the focus"
    assert frame.zoom_raw[0] == 65535


def test_only_a_focus_that_a_hand_has_set_in_this_session_is_kept(desk: Desk, tmp_path: Path) -> None:
    def kept() -> tuple[int | None, int | None]:
        desk.focus.record("foh-1", "A")
        recorded = threading.Event()
        desk.worker.do(recorded.set)
        assert recorded.wait(10.0)
        (sighting,) = records.sightings_on_disk(tmp_path)
        return sighting.zoom, sighting.focus

    say(desk.door, 5.0, "/sight/foh-1/zoom", 0.5)
    assert kept() == (32768, None)
    say(desk.door, 5.0, "/sight/foh-1/focus", 0.25)
    assert kept() == (32768, 16384)
    say(desk.door, 5.0, "/sight/foh-1/nudge", 1.0, -1.0)
    assert kept() == (32768, 16384)
    say(desk.door, 6.0, "/sight/foh-1/done")
    say(desk.door, 6.0, "/sight/foh-1/point", 10.0, 50.0)
    assert kept() == (65535, None)
    desk.finish()


def test_a_new_sighting_replaces_the_one_of_its_face_only_and_keeps_what_was_written_by_hand(
    desk: Desk, tmp_path: Path
) -> None:
    (tmp_path / "sightings.yaml").write_text(
        "version: 1\nsightings:\n"
        "- {fixture: foh-1, mark: A, pan: 1, tilt: 40}\n"
        "- {fixture: foh-1, mark: A, pan: 181, tilt: -40}\n"
        "- {fixture: foh-2, mark: B, pan: 2, tilt: 30}\n"
    )
    desk.focus.record("foh-1", "A")
    desk.finish()
    kept = [(s.fixture, s.mark, s.pan) for s in records.sightings_on_disk(tmp_path)]
    assert sorted(kept) == [("foh-1", "A", 10.1235), ("foh-1", "A", 181.0), ("foh-2", "B", 2.0)]


def test_forgetting_drops_both_faces_and_says_when_there_is_none(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "sightings.yaml").write_text(
        "version: 1\nsightings:\n- {fixture: foh-1, mark: A, pan: 1, tilt: 40}\n"
        "- {fixture: foh-1, mark: A, pan: 1, tilt: -40}\n"
    )
    desk.focus.forget("foh-1", "A")
    desk.focus.forget("foh-1", "B")
    events = desk.finish()
    assert events[0] == ("/feed/forgotten", "foh-1", "A")
    assert "there is no sighting of foh-1 at B" in events[1][1]
    assert records.sightings_on_disk(tmp_path) == []


def test_a_file_that_cannot_be_read_is_never_overwritten(desk: Desk, tmp_path: Path) -> None:
    broken = "version: 1\nsightings:\n- {fixture: foh-1, mark: A, pan: 1, tlit: 40}\n"
    (tmp_path / "sightings.yaml").write_text(broken)
    desk.focus.record("foh-1", "A")
    ((address, words),) = desk.finish()
    assert address == "/feed/notice"
    assert "sightings.yaml:3" in words
    assert (tmp_path / "sightings.yaml").read_text() == broken


def test_unknown_names_are_refused_with_the_nearest(desk: Desk) -> None:
    with pytest.raises(Refused, match="known: foh-1"):
        desk.focus.record("foh1", "A")
    with pytest.raises(Refused, match="did you mean foh-1"):
        desk.focus.forget("FOH-1", "A")
    with pytest.raises(Refused, match="did you mean B"):
        desk.focus.record("foh-1", "b")
    with pytest.raises(Refused, match="no mark"):
        desk.focus.confirm_walk("Z", 0.0)


@pytest.mark.parametrize(("more", "verified"), [("", True), (", trusted: false", False), (", trusted: off", False)])
def test_a_confirmed_walk_is_noted_and_verifies_only_trusted_poses(tmp_path: Path, more: str, verified: bool) -> None:
    (tmp_path / "poses.yaml").write_text(POSES % more)
    words = records.confirm_walk(tmp_path, "A", 86400.0, ["foh-1", "no"])
    assert ("all poses verified" in words) is verified
    text = (tmp_path / "poses.yaml").read_text()
    assert "1970-01-02T00:00:00+00:00" in text
    poses, problems = read_poses(read_tree(tmp_path / "poses.yaml")[0])
    assert problems == []
    assert {entry.name: entry.pose.verified for entry in poses.entries} == {"foh-1": verified, "no": verified}


def test_a_walk_cannot_be_confirmed_without_poses(desk: Desk) -> None:
    desk.walk("A")
    desk.focus.confirm_walk("A", 0.0)
    ((address, words),) = desk.finish()
    assert (address, "solve first" in words) == ("/feed/notice", True)


def test_a_head_that_was_not_lit_on_the_mark_is_not_verified(desk: Desk, tmp_path: Path) -> None:
    """foh-1 is aimed by hand, so the walk does not take it along; the others are lit; "no" is not in the rig."""
    (tmp_path / "poses.yaml").write_text(POSES.replace('"no":', "foh-2:") % "")
    desk.walk("A")
    desk.focus.confirm_walk("A", 0.0)
    assert desk.finish()[-1] == ("/feed/confirmed", "A", "verified, but not foh-1: not lit on it")
    fixtures = read_tree(tmp_path / "poses.yaml")[0].plain()["fixtures"]
    assert {name: pose["verified"] for name, pose in fixtures.items()} == {"foh-1": False, "foh-2": True}


@pytest.mark.parametrize("why", [("/still", 1), ("/dark", 1), ("/arm", 0), ("/level", 0.0)])
def test_a_walk_that_lit_nobody_cannot_be_confirmed(desk: Desk, why: tuple[str, float]) -> None:
    say(desk.door, 95.0, *why)
    desk.walk("A")
    with pytest.raises(Refused, match="no head was lit on A"):
        desk.focus.confirm_walk("A", 0.0)


def test_a_walk_of_a_moment_lights_nobody_and_what_the_walk_before_lit_does_not_count(desk: Desk) -> None:
    desk.walk("A")
    assert desk.door.engine.crew.hand.seen[1:].all()
    say(desk.door, desk.now_s + 0.1, "/walk", "B")
    desk.door.tick(desk.now_s + 0.15)
    with pytest.raises(Refused, match="no head was lit on B"):
        desk.focus.confirm_walk("B", 0.0)


def test_nothing_is_recorded_of_a_head_that_is_still(desk: Desk, tmp_path: Path) -> None:
    say(desk.door, 5.0, "/fixture/foh-1/still", 1)
    with pytest.raises(Refused, match="no beam was on A"):
        desk.focus.record("foh-1", "A")
    assert not (tmp_path / "sightings.yaml").exists()


def test_what_nobody_has_walked_cannot_be_confirmed(desk: Desk, tmp_path: Path) -> None:
    def refused(mark: str) -> str:
        with pytest.raises(Refused) as caught:
            desk.focus.confirm_walk(mark, 0.0)
        return caught.value.reason

    (tmp_path / "poses.yaml").write_text(POSES % "")
    assert refused("A") == "no-walk"
    desk.walk("A")
    assert refused("B") == "no-walk"
    desk.now_s += 61.0
    assert refused("A") == "no-walk", "too long ago"
    desk.walk("A")
    desk.focus._take(
        SolveAnswer(SimpleNamespace(poses={"foh-1": Pose((0, 0, 9), (0, 0, 0, 1))}, solved_marks={}, fixtures=()))
    )  # type: ignore[arg-type]
    desk.now_s += 1.0
    desk.jobs.pop(0)()
    assert refused("A") == "no-walk", "by the poses before"
    desk.now_s += 1.0
    desk.walk("A")
    desk.focus._solving = True
    assert refused("A") == "busy"
    desk.focus._solving = False
    desk.focus.confirm_walk("A", 0.0)
    assert [event[0] for event in desk.finish()][-1] == "/feed/confirmed"


def test_trusted_poses_are_taken_and_the_others_are_said(desk: Desk) -> None:
    good, bad = Pose((0, 0, 9), (0, 0, 0, 1)), Pose((0, 0, 9), (0, 0, 0, 1), trusted=False)
    solved = SimpleNamespace(poses={"foh-1": good, "foh-2": bad}, solved_marks={"D": (1.0, 2.0, 0.0)}, fixtures=())
    answer = SolveAnswer(solved, ("foh-2 at A is 61 cm off",), ("sight mark C as well",))  # type: ignore[arg-type]
    desk.focus._take(answer)
    assert desk.applied == [], "taken in the loop only"
    desk.jobs.pop(0)()
    (event,) = desk.applied
    assert isinstance(event, NewPoses)
    assert (event.at_s, event.poses, event.marks) == (100.0, {"foh-1": good}, {"D": (1.0, 2.0, 0.0)})
    assert event.prepared.engine is desk.door.engine
    assert desk.events == [
        ("/feed/solve", "note", "foh-2 at A is 61 cm off"),
        ("/feed/solve", "note", "sight mark C as well"),
        ("/feed/solve", "untrusted", "1 poses taken, 1 not taken: they are not trusted"),
    ]
    desk.finish()


def test_what_was_learned_of_trusted_heads_acts_at_once(desk: Desk) -> None:
    names, table = desk.door.engine.rig.names[:3], ((3.0, 59000.0), (20.0, 11000.0))
    poses = {name: Pose((0, 0, 9), (0, 0, 0, 1), trusted=name != names[1]) for name in names[:2]}
    use = desk.door.engine.rig.fixtures
    fixtures = tuple(replace(f, focus_table=table) if f.name in names else f for f in use)
    solved = SimpleNamespace(poses=poses, solved_marks={}, fixtures=fixtures)
    desk.focus._take(SolveAnswer(solved))  # type: ignore[arg-type]
    desk.jobs.pop(0)()
    (event,) = desk.applied
    assert event.optics == {names[0]: OwnTables(None, table)}
    assert event.prepared.reach.rig.fixtures[0].focus_table == table
    assert event.prepared.reach.rig.fixtures[1].focus_table is None
    desk.finish()


def test_one_solve_at_a_time(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk.worker, "do", lambda job: None)  # the solve itself is not the claim here
    desk.focus.solve()
    assert desk.focus.solving
    with pytest.raises(Refused, match="running"):
        desk.focus.solve()
    desk.focus._take(SolveAnswer(None))
    desk.jobs.pop(0)()
    assert desk.events[-1][:2] == ("/feed/solve", "failed")
    desk.focus.solve()


def test_what_looks_wrong_is_told_once_and_not_again_as_advice() -> None:
    answer = {"suspects": [{"text": "h1 at A is 30 cm off"}], "advice": ["h1 at A is 30 cm off", "sight B"]}
    assert sentences(answer) == (("h1 at A is 30 cm off",), ("sight B",))
    assert sentences({}) == ((), ())


def test_a_solve_that_meets_a_fault_ends_and_says_so(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(focus, "run_solve", lambda path: 1 / 0)
    monkeypatch.setattr(desk.worker, "do", lambda job: None)
    desk.focus.solve()
    desk.focus._solve_and_report()
    desk.jobs.pop(0)()
    assert not desk.focus.solving
    assert desk.applied == []
    assert ("/feed/solve", "failed", "0 poses taken") in desk.events


def test_a_confirmation_that_is_held_writes_one_entry_for_as_long_as_it_is_held(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "poses.yaml").write_text(POSES % "")
    desk.walk("A")
    desk.focus.confirm_walk("A", 0.0)
    for step in range(1, 300):
        desk.now_s = 100.0 + step / 10
        with pytest.raises(Refused, match="once is enough"):
            desk.focus.confirm_walk("A", step / 10)
    desk.walk("B")
    desk.focus.confirm_walk("B", 40.0)
    desk.finish()
    checked = read_tree(tmp_path / "poses.yaml")[0].value["checked"].value
    assert [entry.value["mark"].value for entry in checked] == ["A", "B"]


def test_the_same_mark_is_confirmed_again_later_and_at_once_where_the_first_was_not_written(
    desk: Desk, tmp_path: Path
) -> None:
    written = threading.Event()
    desk.walk("A")
    desk.focus.confirm_walk("A", 0.0)  # there is no poses.yaml
    desk.worker.do(written.set)
    assert written.wait(10.0)
    while desk.jobs:
        desk.jobs.pop(0)()
    (tmp_path / "poses.yaml").write_text(POSES % "")
    desk.now_s += 1.0
    desk.focus.confirm_walk("A", 1.0)
    desk.now_s += 11.0
    desk.focus.confirm_walk("A", 12.0)
    assert [event[0] for event in desk.finish()] == ["/feed/notice", "/feed/confirmed", "/feed/confirmed"]


def test_forgetting_what_is_not_there_is_one_line_a_second(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    LOG.propagate = True
    for step in range(30):
        desk.now_s = 100.0 + step / 10
        written = threading.Event()
        desk.focus.forget("foh-1", "A")
        desk.worker.do(written.set)
        assert written.wait(10.0)
        while desk.jobs:
            desk.jobs.pop(0)()
    lines = [record.message for record in caplog.records if "there is no sighting of foh-1 at A" in record.message]
    assert len(lines) == 3
    assert "and 9 more" in lines[-1]
    assert {record.levelname for record in caplog.records} == {"WARNING"}
    assert len(desk.events) == 30, "who asked hears it every time"
    desk.finish()


def test_problems_name_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "sightings.yaml").write_text("version: 1\nsightings: [1]\n")
    with pytest.raises(ShowError, match=r"sightings\.yaml:2: "):
        records.sightings_on_disk(tmp_path)


def test_poses_in_use_come_back_as_they_were() -> None:
    pose = Pose((1, 2, 3), (0, 0, 0, 1), (1,), Mechanics(tilt_zero=0.1), aim_error_p95=0.05, position_sigma=(1, 2, 3))
    assert from_json(json.loads(json.dumps(to_json({"a": pose})))) == {"a": pose}


@pytest.mark.parametrize("data", [[], {"a": 1}, {"a": {}}, {"a": {"position": [1], "rotation": [], "mechanics": {}}}])
def test_poses_in_use_that_are_damaged_raise_what_is_caught(data: Any) -> None:
    with pytest.raises((KeyError, TypeError, ValueError, AttributeError)):
        from_json(data)


def test_keys_tell_faces_apart() -> None:
    assert focus._key(Sighting("f", "A", 0, 0.0)) != focus._key(Sighting("f", "A", 0, -0.1))
