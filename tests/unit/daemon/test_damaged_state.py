"""Whatever becomes of the files of the state folder: nobody who is still is let go, and nothing ends the start."""

import copy
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bridge.daemon import assemble
from bridge.daemon.boot import Moment
from bridge.daemon.identity import put_cid
from bridge.daemon.remembered import CLEAR, Remembered
from bridge.daemon.state import StateFolder
from bridge.door import poses
from bridge.door.door import Door, make
from bridge.door.events import Start
from tests.unit.door.stand_ins import CID, PERIOD, run, say, small_door, small_show

LIVE, LASTING = "live.json", "lasting.json"
ODD = (None, True, -1, 1e300, float("nan"), 2**70, "x", [], {}, [1], {"a": 1})
RAW = (b"", b"{", b"null", b"[1]", b"\xff\xfe" * 50, bytes(4096), b"[" * 200_000, b"1" * 100_000, b'{"version": 1}')
AGES_S = (1.0, 60.0)


class Left:
    """What a daemon has left: one head and one truss still, and everything as it was a second before."""

    def __init__(self, tmp_path: Path) -> None:
        door = small_door()
        say(door, 1.0, "/arm", 1)
        say(door, 1.0, "/target/lead/position", 1.0, 3.0)
        say(door, 1.0, "/fixture/foh-1/still", 1)
        say(door, 1.0, "/truss/mid/still", 1)
        run(door, 1.0, 80)
        self.held = door.engine.crew.still.heads.copy()
        assert 0 < self.held.sum() < len(self.held)
        self.folder = StateFolder(tmp_path / "state", tmp_path / "show")
        at = {"boot": "b", "boot_s": 100.0}
        self.live = {"running": True, "sequences": {"1": 3}, "door": door.left_behind(), **at}
        self.lasting = {"door": door.lasting(), **at}
        self.again = Door(make(small_show()), CID)
        self.write()

    def write(self) -> None:
        for name in (LIVE, LASTING):
            path = self.path(name)
            if os.path.lexists(path):
                path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()
        self.folder.write_live(self.live)
        self.folder.write_lasting(self.lasting)

    def path(self, name: str) -> Path:
        return self.folder.folder / name

    def start(self, age_s: float) -> Remembered:
        """Take up what is there, and make a frame."""
        found = self.folder.remember(Moment("b", 100.0 + age_s))
        self.again.engine.crew.still.restore({})
        kept = (found.live, found.lasting, found.sequences, found.crashed)
        self.again.apply(Start(self.again._now_s + 1.0 if self.again._now_s > 0 else 500.0, True, 0.0, *kept))
        self.again.tick(self.again._now_s + PERIOD)
        return found

    def assert_still(self, age_s: float, what: object) -> Remembered:
        found = self.start(age_s)
        assert self.again.engine.crew.still.heads[self.held].all(), what
        return found


@pytest.fixture
def left(tmp_path: Path) -> Left:
    return Left(tmp_path)


def places(data: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if at:
        yield at
    for key, value in data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ():
        yield from places(value, (*at, key))


def changed(data: Any) -> Iterator[tuple[object, Any]]:
    """Every place with another value, gone, or under another name."""
    for place in places(data):
        for value in (*ODD, "gone", "renamed"):
            copied = copy.deepcopy(data)
            there = copied
            for key in place[:-1]:
                there = there[key]
            if value == "gone":
                del there[place[-1]]
            elif value == "renamed":
                if not isinstance(there, dict):
                    continue
                there[f"{place[-1]}~"] = there.pop(place[-1])
            else:
                there[place[-1]] = value
            yield (place, value), copied


@pytest.mark.parametrize("age_s", AGES_S)
def test_nobody_who_is_still_is_let_go_whatever_changes_in_lasting(left: Left, age_s: float) -> None:
    path = left.path(LASTING)
    text = path.read_text()
    for what, data in changed({k: v for k, v in json.loads(text).items() if k != "digest"}):
        path.write_text(json.dumps({**data, "digest": json.loads(text)["digest"]}))
        left.assert_still(age_s, what)
    for cut in range(len(text)):
        path.write_text(text[:cut])
        assert any(CLEAR in warning for warning in left.assert_still(age_s, cut).warnings)


@pytest.mark.parametrize("age_s", AGES_S)
def test_nobody_who_is_still_is_let_go_whatever_changes_in_live(left: Left, age_s: float) -> None:
    path = left.path(LIVE)
    text = path.read_text()
    for number, (what, data) in enumerate(changed(json.loads(text))):
        if number % 149 == 0:
            path.write_text(json.dumps(data))
            left.assert_still(age_s, what)
    for cut in range(0, len(text), 997):
        path.write_text(text[:cut])
        found = left.assert_still(age_s, cut)
        assert not left.again.engine.crew.still.heads.all(), "lasting.json tells who is"
        assert any("live.json" in warning for warning in found.warnings)


OTHER_KINDS: dict[str, Callable[[Path], object]] = {
    "gone": lambda path: None,
    "a folder": lambda path: path.mkdir(),
    "a fifo": lambda path: os.mkfifo(path),
    "a link to itself": lambda path: path.symlink_to(path.name),
}


@pytest.mark.parametrize("age_s", AGES_S)
@pytest.mark.parametrize("names", [(LASTING,), (LIVE,), (LASTING, LIVE)], ids=str)
def test_nobody_who_is_still_is_let_go_whatever_stands_in_their_place(
    left: Left, names: tuple[str, ...], age_s: float
) -> None:
    def put(path: Path, kind: str, raw: bytes) -> None:
        path.unlink()
        OTHER_KINDS[kind](path) if kind else path.write_bytes(raw)

    for kind, raw in [*((kind, b"") for kind in OTHER_KINDS), *(("", raw) for raw in RAW)]:
        if len(names) == 2 and kind == "gone":
            continue  # a first start
        left.write()
        for name in names:
            put(left.path(name), kind, raw)
        found = left.assert_still(age_s, (kind, raw[:9]))
        assert found.warnings or (names, kind) == ((LIVE,), "gone")


def test_where_lasting_is_gone_the_live_state_tells_who_is_still_however_old_it_is(left: Left) -> None:
    left.path(LASTING).unlink()
    (text,) = left.assert_still(3600.0, "gone").warnings
    assert "taken from live.json" in text
    np.testing.assert_array_equal(left.again.engine.crew.still.heads, left.held)


def test_after_everything_was_cleared_those_of_the_live_state_are_still(left: Left) -> None:
    left.path(LASTING).write_text("{")
    left.assert_still(1.0, "damaged")
    assert left.again.engine.crew.still.heads.all()
    say(left.again, left.again._now_s, "/still", 0, "override")
    np.testing.assert_array_equal(left.again.engine.crew.still.heads, left.held)


def test_a_first_start_is_not_still(tmp_path: Path) -> None:
    found = StateFolder(tmp_path / "state", tmp_path / "show").remember(Moment("b", 1.0))
    assert (found.lasting, found.warnings) == (None, ())


def test_what_is_no_file_is_put_aside_so_that_what_lasts_is_on_disk_again(left: Left) -> None:
    left.path(LASTING).unlink()
    left.path(LASTING).mkdir()
    (left.path(LASTING) / "x").write_text("")
    left.path("lasting.new").mkdir()
    left.folder.write_lasting(left.lasting)
    assert left.folder.remember(Moment("b", 101.0)).warnings == ()
    assert sorted(path.name[:20] for path in left.folder.folder.glob("*.damaged-*/x")) == ["x"]


@pytest.mark.parametrize("name", ["cid", "lock"])
@pytest.mark.parametrize("kind", [kind for kind in OTHER_KINDS if kind != "gone"])
def test_identity_and_lock_are_made_anew_where_something_else_stands(tmp_path: Path, name: str, kind: str) -> None:
    folder = StateFolder(tmp_path / "state", tmp_path / "show")
    folder.close()
    for path in (folder.folder / name, tmp_path / "state" / name):
        path.unlink(missing_ok=True)
        OTHER_KINDS[kind](path)
    again = StateFolder(tmp_path / "state", tmp_path / "show")
    again.close()
    assert (folder.folder / name).is_file()
    assert StateFolder(tmp_path / "state", tmp_path / "show").cid == again.cid


def test_a_cid_is_put_where_a_folder_stood(tmp_path: Path) -> None:
    (tmp_path / "cid").mkdir()
    (tmp_path / "cid" / "x").write_text("")
    cid = StateFolder(tmp_path / "s", tmp_path / "show").cid
    assert put_cid(tmp_path, cid) == cid
    assert (tmp_path / "cid").read_text().strip() == str(cid)


def test_poses_of_before_the_crash_never_end_the_start_nor_make_an_angle_that_is_none(
    left: Left,
) -> None:
    show = small_show()
    data = json.loads(json.dumps(poses.to_json(show.poses)))
    first = next(iter(data))
    remembered = left.start(1.0)
    for number, (what, one) in enumerate(changed({first: data[first]})):
        if number % 5:
            continue
        left.folder.write_poses(data | one)
        door = Door(assemble._made(show, left.folder, remembered), CID)
        frame = run(door, 1.0, 2) and door.engine.frame
        assert np.isfinite([frame.pan_rad, frame.tilt_rad, frame.level]).all(), what


@pytest.mark.parametrize("change", [{"aim_error_p95": [1]}, {"aim_error_rms": "x"}, {"position": [1e300, 0, 0]}])
def test_poses_of_before_the_crash_that_cannot_be_read_give_way_to_those_of_the_folder(
    left: Left, change: dict[str, Any], caplog: pytest.LogCaptureFixture
) -> None:
    show = small_show()
    data = json.loads(json.dumps(poses.to_json(show.poses)))
    first = next(iter(data))
    left.folder.write_poses({first: data[first] | change})
    assemble.LOG.propagate = True
    assert assemble._made(show, left.folder, left.start(1.0)).poses == show.poses
    assert "kept before the crash cannot be read" in caplog.text
