"""/frame/...: recorded, solved, taken and forgotten, in the file and in use; and every refusal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bridge.daemon.frames import Frames
from bridge.daemon.router import Router
from bridge.daemon.worker import Worker
from bridge.door.door import Door, make
from bridge.door.events import Event, Message, NewFrames, Start
from bridge.door.inbox import Refusal
from bridge.errors import Refused
from bridge.geometry.input_frame import InputFrame
from bridge.show import load
from bridge.show.frames import load_frames
from tests.unit.door.stand_ins import CID
from tests.unit.solve.records_on_marks import MARKS, farthest_off, input_of

RIG = """\
version: 1
name: One head
fixtures:
  - {name: a, profile: spot-16bit, universe: 1, address: 1}
"""
STAGE = """\
version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0]}
marks:
  {A: [-5.5, 0.5, 0], B: [5.5, 0.5, 0], C: [5, 7.5, 0], D: [-5.5, 7, 0], E: [0, 4, 0], 7: [2, 2, 0], N: {at: unknown}}
"""
NETWORK = """\
version: 1
inputs:
  tags: {protocol: otp, interface: 127.0.0.1, system: 1}
  depth: {protocol: psn, interface: 127.0.0.1, to: "236.10.10.10:56565"}
"""
ANN = "Ann@10.0.0.7"
TRUE = InputFrame(turn=30.0, origin=(1.0, -2.0, 0.4))


class Hall:
    """A door of a show with two inputs; a tag that stands where `stands` says; its loop is a list of jobs."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.now_s = folder, 100.0
        for name, text in (("rig", RIG), ("stage", STAGE), ("network", NETWORK)):
            (folder / f"{name}.yaml").write_text(text)
        self.door = Door(make(load(folder)), CID)
        self.door.apply(Start(0.0, armed=False))
        self.events: list[tuple[Any, ...]] = []
        self.refusals: list[Refusal] = []
        self.applied: list[Event] = []
        self.jobs: list[Callable[[], None]] = []
        self.seen: dict[tuple[str, str], list[tuple[float, tuple[float, float, float]]]] = {}
        self.worker = Worker()
        self.frames = Frames(
            self.door, self, self.worker, lambda *event: self.events.append(event), self.jobs.append, self.apply,
            self.refusals.append, lambda: self.now_s,
        )  # fmt: skip
        nobody: Any = None
        self.router = Router(self.door, self.apply, nobody, nobody, nobody, self.frames, nobody)

    def last_second(self, name: str, point: str, now_s: float) -> list[tuple[float, tuple[float, float, float]]]:
        return self.seen.get((name, point), [])

    def points(self, name: str, now_s: float) -> list[str]:
        return [point for other, point in self.seen if other == name]

    def apply(self, event: Event) -> None:
        self.applied.append(event)
        self.door.apply(event)

    def stands(self, at: Sequence[float], frame: InputFrame = TRUE, name: str = "tags", point: str = "1/7") -> None:
        x, y, z = (float(v) for v in input_of(frame, at))
        self.seen[name, point] = [(self.now_s - 1 + i / 60, (x, y, z)) for i in range(60)]

    def say(self, address: str, *args: Any) -> None:
        self.router.handle(Message(self.now_s, ANN, address, args))
        self.settle()

    def record(self, marks: str, frame: InputFrame = TRUE, stood: dict[str, str] | None = None) -> None:
        for mark in marks:
            self.stands(MARKS[(stood or {}).get(mark, mark)], frame)
            self.say("/frame/tags/record", mark, "1/7")

    def settle(self) -> None:
        """Until neither the worker nor the loop has anything left."""
        for _ in range(3):
            self.worker.stop()
            while self.jobs:
                self.jobs.pop(0)()
            self.worker._thread = type(self.worker._thread)(target=self.worker._run, daemon=True)
            self.worker._thread.start()

    @property
    def in_use(self) -> dict[str, InputFrame]:
        return self.door.tracking.frames

    def recorded(self) -> list[str]:
        return [r.mark for r in load_frames(self.folder).recorded.get("tags", ())]

    def words(self) -> list[str]:
        return [word for address, _, word, _ in self.events if address == "/feed/frame"]


@pytest.fixture
def hall(tmp_path: Path) -> Hall:
    return Hall(tmp_path)


def test_recorded_solved_written_and_taken(hall: Hall) -> None:
    hall.record("ABCD")
    assert (hall.recorded(), hall.applied, hall.in_use) == (["A", "B", "C", "D"], [], {})
    hall.say("/frame/tags/solve")
    (event,) = hall.applied
    assert isinstance(event, NewFrames)
    assert farthest_off(hall.in_use["tags"], TRUE) < 0.001
    assert load(hall.folder).frames == hall.in_use, "a restart, or a reload, has the same"
    assert hall.recorded() == [], "what is solved is kept with the frame"
    assert [r.mark for r in hall.in_use["tags"].recorded] == ["A", "B", "C", "D"]
    assert hall.words() == ["recorded"] * 4 + ["note", "solved"]
    assert hall.events[-1][1:3] == ("tags", "solved")
    assert hall.events[-1][3].startswith("places good to 2 cm (95 %, worst corner); cm off: A 0.0, B 0.0")
    assert hall.refusals == []


def test_a_mark_recorded_again_counts_instead_of_what_was_kept_of_it(hall: Hall) -> None:
    hall.record("ABC", stood={"B": "E"})
    hall.record("B")
    assert hall.recorded() == ["A", "C", "B"]
    hall.say("/frame/tags/solve")
    hall.record("B", stood={"B": "E"})
    hall.record("B")
    hall.record("D")
    hall.say("/frame/tags/solve")
    assert sorted(r.mark for r in hall.in_use["tags"].recorded) == ["A", "B", "C", "D"]
    assert farthest_off(hall.in_use["tags"], TRUE) < 0.001


def test_two_marks_are_taken_and_said_to_be_unverified(hall: Hall) -> None:
    hall.record("AC")
    hall.say("/frame/tags/solve")
    assert hall.words()[-1] == "unverified"
    assert farthest_off(hall.in_use["tags"], TRUE) < 0.001


def test_a_frame_with_a_mistake_is_neither_written_nor_taken(hall: Hall) -> None:
    hall.record("ABCD")
    hall.say("/frame/tags/solve")
    before, text = hall.in_use, (hall.folder / "frames.yaml").read_text()
    hall.record("E", stood={"E": "A"})
    kept = (hall.folder / "frames.yaml").read_text()
    hall.say("/frame/tags/solve")
    assert kept != text, "the record is there"
    assert (hall.folder / "frames.yaml").read_text() == kept
    assert hall.in_use == before
    assert hall.words()[-2:] == ["warning", "doubted"]
    assert hall.events[-2][3].startswith("E is 6.52 m off what the others say; it was rather on A")
    hall.say("/frame/tags/forget", "E")
    hall.say("/frame/tags/solve")
    assert hall.words()[-1] == "solved"


def test_axes_of_the_protocol_are_taken_where_two_marks_leave_them_open(hall: Hall) -> None:
    true = InputFrame(axes=("x", "z", "y"), turn=10.0)
    for mark in "AC":
        hall.stands(MARKS[mark], true, "depth", "3")
        hall.say("/frame/depth/record", mark, 3)
    hall.say("/frame/depth/solve")
    assert hall.in_use["depth"].axes == ("x", "z", "y")


def test_a_scale_is_looked_for_when_asked(hall: Hall) -> None:
    true = InputFrame(scale=0.3048, turn=5.0)
    hall.record("ABC", true)
    hall.say("/frame/tags/solve")
    assert hall.words()[-1] == "doubted"
    hall.say("/frame/tags/solve", 1)
    assert hall.in_use["tags"].scale == pytest.approx(0.3048, abs=1e-4)


def test_numbers_may_name_marks_and_points(hall: Hall) -> None:
    hall.stands((2, 2, 0), point="12")
    hall.say("/frame/tags/record", 7, 12)
    assert hall.recorded() == ["7"]
    assert load_frames(hall.folder).recorded["tags"][0].at == pytest.approx(tuple(input_of(TRUE, (2, 2, 0))), abs=1e-5)


def test_forgetting_an_input_takes_its_frame_out_of_use_and_leaves_the_others(hall: Hall) -> None:
    hall.record("ABC")
    hall.say("/frame/tags/solve")
    for mark in "AC":
        hall.stands(MARKS[mark], TRUE, "depth", "3")
        hall.say("/frame/depth/record", mark, "3")
    hall.say("/frame/depth/solve")
    hall.record("D")
    hall.say("/frame/tags/forget")
    assert set(hall.in_use) == {"depth"}
    assert set(load(hall.folder).frames) == {"depth"}
    assert hall.recorded() == []
    assert hall.words()[-1] == "forgotten"


def test_forgetting_one_record_keeps_the_frame_in_use_and_the_rest(hall: Hall) -> None:
    hall.record("ABCD")
    hall.say("/frame/tags/solve")
    before = hall.in_use["tags"]
    hall.say("/frame/tags/forget", "B")
    assert hall.in_use["tags"] == before
    assert hall.recorded() == ["A", "C", "D"]
    hall.say("/frame/tags/solve")
    assert [r.mark for r in hall.in_use["tags"].recorded] == ["A", "C", "D"]


@pytest.mark.parametrize(
    ("address", "args", "reason", "words"),
    [
        ("/frame/tags/record", ("A", "1/7"), "not-heard", "tags says nothing of point 1/7; heard: 9"),
        ("/frame/tags/record", ("A",), "arguments", "record takes 2 argument(s), found 1"),
        ("/frame/tags/record", ("Z", "9"), "unknown-name", "there is no mark Z"),
        ("/frame/tags/record", ("A", "9"), "moved", "/frame/tags/record A: 9 moved by"),
        (
            "/frame/tgas/record",
            ("A", "9"),
            "unknown-name",
            "there is no input of network.yaml tgas; known: tags, depth",
        ),
        ("/frame/tags/solve", ("A",), "arguments", "solve must be a number, found 'A'"),
        ("/frame/tags/forget", ("A", "B"), "arguments", "forget takes 0 or 1 argument(s), found 2"),
    ],
)
def test_what_cannot_be_begun_is_refused_at_once(hall: Hall, address, args, reason, words) -> None:
    hall.seen["tags", "9"] = [(hall.now_s - 1 + i / 60, (i / 60, 0.0, 0.0)) for i in range(60)]
    with pytest.raises(Refused) as error:
        hall.say(address, *args)
    assert error.value.reason == reason
    assert words in str(error.value)
    assert not (hall.folder / "frames.yaml").exists()


@pytest.mark.parametrize(
    ("address", "args", "reason", "words"),
    [
        (
            "/frame/tags/solve",
            (),
            "unsolvable",
            "/frame/tags/solve: expected records on two marks at least, found 1 (A)",
        ),
        ("/frame/depth/solve", (), "unsolvable", "found 0"),
        ("/frame/depth/forget", (), "unknown-name", "depth has neither a frame nor records"),
        ("/frame/tags/forget", ("B",), "unknown-name", "there is no record of tags on mark B; known: A"),
    ],
)
def test_what_the_file_forbids_is_told_to_who_asked(hall: Hall, address, args, reason, words) -> None:
    hall.record("A")
    hall.say(address, *args)
    (refusal,) = hall.refusals
    assert (refusal.reason, refusal.sender, refusal.address) == (reason, ANN, address)
    assert words in refusal.text
    assert hall.applied == []


def test_marks_that_nobody_knows_yet_may_be_recorded_and_are_said(hall: Hall) -> None:
    hall.stands((0.0, 1.0, 0.0))
    hall.say("/frame/tags/record", "N", "1/7")
    hall.record("ABC")
    hall.say("/frame/tags/solve")
    assert ("/feed/frame", "tags", "note", "not used, as nobody knows where they are: N") in hall.events
    assert "N" not in [r.mark for r in hall.in_use["tags"].recorded]
    assert hall.recorded() == ["N"], "it may count once the mark is solved"


def test_a_file_that_somebody_broke_is_told_and_left_alone(hall: Hall) -> None:
    (hall.folder / "frames.yaml").write_text("version: 1\nframes: {tags: {turn: east}}\n")
    hall.record("A")
    assert hall.refusals[0].reason == "files"
    assert "frames.yaml:2" in hall.refusals[0].text
    assert "east" in (hall.folder / "frames.yaml").read_text()


@pytest.mark.parametrize("word", ["record", "solve", "forget"])
def test_all_of_it_is_refused_while_the_show_is_locked(hall: Hall, word: str) -> None:
    hall.record("AB")
    hall.door.lock.on = True
    with pytest.raises(Refused) as error:
        hall.say(f"/frame/tags/{word}", *(("A", "1/7") if word == "record" else ()))
    assert error.value.reason == "locked"
    assert hall.recorded() == ["A", "B"]


def test_the_frames_own_error_is_written_for_the_aim(hall: Hall) -> None:
    hall.record("ABCD")
    hall.say("/frame/tags/solve")
    assert 0.01 <= hall.in_use["tags"].sigma < 0.03
    assert hall.door.engine.place.frame_errors["tags"] == hall.in_use["tags"].sigma
    assert np.isfinite(hall.in_use["tags"].matrix).all()
