"""Sightings and check walks on disk: kept with what people wrote by hand, refused where something cannot be read."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.daemon import records, session
from bridge.daemon.poses_in_use import from_json, to_json
from bridge.daemon.session import Session, Solved
from bridge.daemon.worker import Worker
from bridge.errors import Refused, ShowError
from bridge.rig.fixture import Mechanics, Pose
from bridge.solve.measurements import Sighting

POSES = """\
version: 1
fixtures:
  foh-1: {position: [0, 0, 9], rotation: [0, 0, 0, 1], verified: false}
  "no":  {position: [1, 0, 9], rotation: [0, 0, 0, 1], verified: false%s}
"""


class Heads:
    """Where heads point, and which poses they were given."""

    def __init__(self) -> None:
        self.angles = (10.12345, 50.0, 20000, None)
        self.taken: dict[str, Pose] = {}

    def pointing(self, name: str) -> tuple[float, float, int | None, int | None]:
        return self.angles

    def prepare_poses(self, poses: dict[str, Pose], marks: dict[str, tuple[float, float, float]]) -> Callable[[], None]:
        def take() -> None:
            self.taken.update(poses)
            self.marks = marks

        return take


class Desk:
    """A session whose loop is a list, run by `finish`."""

    def __init__(self, folder: Path) -> None:
        fixtures = [SimpleNamespace(name="foh-1"), SimpleNamespace(name="foh-2")]
        show = SimpleNamespace(path=folder, fixtures=fixtures, stage=SimpleNamespace(marks={"A": 0, "B": 0}), poses={})
        self.heads, self.worker = Heads(), Worker()
        self.events: list[tuple[Any, ...]] = []
        self.kept: list[Any] = []
        self.jobs: list[Callable[[], None]] = []
        self.session = Session(
            show, self.heads, self.worker, lambda *event: self.events.append(event), self.jobs.append, self.kept.append
        )  # type: ignore[arg-type]

    def finish(self) -> list[tuple[Any, ...]]:
        self.worker.stop()
        while self.jobs:
            self.jobs.pop(0)()
        return self.events


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    return Desk(tmp_path)


def test_a_recorded_sighting_is_on_disk_before_it_is_acknowledged(desk: Desk, tmp_path: Path) -> None:
    desk.session.record("foh-1", "A")
    assert desk.events == []
    events = desk.finish()
    assert [event[:3] for event in events] == [("/feed/sighting", "foh-1", "A")]
    (kept,) = records.sightings_on_disk(tmp_path)
    assert (kept.fixture, kept.mark, kept.pan, kept.tilt, kept.zoom, kept.focus) == (
        "foh-1",
        "A",
        10.1235,
        50,
        20000,
        None,
    )


def test_a_new_sighting_replaces_the_one_of_its_face_only_and_keeps_what_was_written_by_hand(
    desk: Desk, tmp_path: Path
) -> None:
    (tmp_path / "sightings.yaml").write_text(
        "version: 1\nsightings:\n"
        "- {fixture: foh-1, mark: A, pan: 1, tilt: 40}\n"
        "- {fixture: foh-1, mark: A, pan: 181, tilt: -40}\n"
        "- {fixture: foh-2, mark: B, pan: 2, tilt: 30}\n"
    )
    desk.session.record("foh-1", "A")
    desk.finish()
    kept = [(s.fixture, s.mark, s.pan) for s in records.sightings_on_disk(tmp_path)]
    assert sorted(kept) == [("foh-1", "A", 10.1235), ("foh-1", "A", 181.0), ("foh-2", "B", 2.0)]


def test_forgetting_drops_both_faces_and_says_when_there_is_none(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "sightings.yaml").write_text(
        "version: 1\nsightings:\n- {fixture: foh-1, mark: A, pan: 1, tilt: 40}\n"
        "- {fixture: foh-1, mark: A, pan: 1, tilt: -40}\n"
    )
    desk.session.forget("foh-1", "A")
    desk.session.forget("foh-1", "B")
    events = desk.finish()
    assert events[0] == ("/feed/forgotten", "foh-1", "A")
    assert "no such sighting" in events[1][1]
    assert records.sightings_on_disk(tmp_path) == []


def test_a_file_that_cannot_be_read_is_never_overwritten(desk: Desk, tmp_path: Path) -> None:
    broken = "version: 1\nsightings:\n- {fixture: foh-1, mark: A, pan: 1, tlit: 40}\n"
    (tmp_path / "sightings.yaml").write_text(broken)
    desk.session.record("foh-1", "A")
    ((address, words),) = desk.finish()
    assert address == "/feed/notice"
    assert "sightings.yaml:3" in words
    assert (tmp_path / "sightings.yaml").read_text() == broken


def test_unknown_names_are_refused_with_the_nearest(desk: Desk) -> None:
    with pytest.raises(Refused, match="foh-1"):
        desk.session.record("foh1", "A")
    with pytest.raises(Refused, match="did you mean 'B'"):
        desk.session.record("foh-1", "b")
    with pytest.raises(Refused, match="no mark"):
        desk.session.confirm_walk("Z", 0.0)


@pytest.mark.parametrize(("more", "verified"), [("", True), (", trusted: false", False)])
def test_a_confirmed_walk_is_noted_and_verifies_only_trusted_poses(tmp_path: Path, more: str, verified: bool) -> None:
    from bridge.show.folder import read_tree
    from bridge.show.poses import read_poses

    (tmp_path / "poses.yaml").write_text(POSES % more)
    words = records.confirm_walk(tmp_path, "A", 86400.0)
    assert ("all poses verified" in words) is verified
    text = (tmp_path / "poses.yaml").read_text()
    assert "1970-01-02T00:00:00+00:00" in text
    poses, problems = read_poses(read_tree(tmp_path / "poses.yaml")[0])
    assert problems == []
    assert {entry.name: entry.pose.verified for entry in poses.entries} == {"foh-1": verified, "no": verified}


def test_a_walk_cannot_be_confirmed_without_poses(desk: Desk) -> None:
    desk.session.confirm_walk("A", 0.0)
    ((address, words),) = desk.finish()
    assert (address, "solve first" in words) == ("/feed/notice", True)


def test_trusted_poses_are_taken_and_the_others_are_said(desk: Desk) -> None:
    good, bad = Pose((0, 0, 9), (0, 0, 0, 1)), Pose((0, 0, 9), (0, 0, 0, 1), trusted=False)
    show = SimpleNamespace(poses={"foh-1": good, "foh-2": bad}, solved_marks={"D": (1.0, 2.0, 0.0)})
    solved = Solved(show, ("foh-2 at A is 61 cm off",))  # type: ignore[arg-type]
    desk.session._take(solved)
    assert desk.heads.taken == {}, "taken in the loop only"
    desk.jobs.pop(0)()
    assert (desk.heads.taken, desk.heads.marks) == ({"foh-1": good}, {"D": (1.0, 2.0, 0.0)})
    assert desk.events == [
        ("/feed/solve", "note", "foh-2 at A is 61 cm off"),
        ("/feed/solve", "untrusted", "1 poses taken, 1 not taken: they are not trusted"),
    ]
    desk.finish()
    assert desk.kept == [{"foh-1": good}]


def test_one_solve_at_a_time(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk.worker, "do", lambda job: None)  # the solve itself is not the claim here
    desk.session.solve()
    with pytest.raises(Refused, match="running"):
        desk.session.solve()
    desk.session._take(Solved(None, ()))
    desk.jobs.pop(0)()
    desk.session.solve()


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
    assert session._key(Sighting("f", "A", 0, 0.0)) != session._key(Sighting("f", "A", 0, -0.1))
