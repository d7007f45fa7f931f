"""The state folder: identity for life, a crash is gone on from, damage is survived."""

import json
import logging
import os
import shutil
import uuid
from dataclasses import asdict
from pathlib import Path

import pytest

from bridge.daemon import boot, loop
from bridge.daemon.boot import Moment
from bridge.daemon.remembered import EVERYTHING_STILL, Remembered
from bridge.daemon.state import StateFolder, default_state_folder
from bridge.daemon.state_file import pieces
from bridge.door import poses
from bridge.door.events import Start
from bridge.errors import InputError, NetworkError, Refused
from bridge.rig.fixture import Pose
from tests.unit.door.stand_ins import PERIOD, say, small_door

STILL = {"still": {"all": {"": ["10.0.0.5"]}, "truss": {}, "fixture": {"a": ["10.0.0.6"]}}, "trims": {}}
SWITCHES = {"armed": False, "dark": True, "out": ["a"]}
NOW = Moment("b1", 1000.0)
DOOR = {"armed": True, "refused": [7], "locked": False, "engine": {"a": 1}}
LIVE = {"running": True, "boot": "b1", "boot_s": 1000.0, "sequences": {"1": 300}, "door": DOOR}
LASTING = {"boot": "b1", "boot_s": 1000.2, "door": {**STILL, **SWITCHES}}


@pytest.fixture
def folder(tmp_path: Path) -> StateFolder:
    return StateFolder(tmp_path / "state", tmp_path / "show")


def test_the_cid_is_a_random_uuid_kept_for_life(tmp_path: Path, folder: StateFolder) -> None:
    folder.close()
    again = StateFolder(tmp_path / "state", tmp_path / "show")
    assert again.cid == folder.cid
    assert (again.cid.version, again.cid.variant) == (4, uuid.RFC_4122)


def test_two_shows_on_one_state_folder_never_share_a_cid_and_the_first_has_the_installations(tmp_path: Path) -> None:
    """An installation from before CIDs of shows keeps its one: receivers and their patch know it."""
    installation = uuid.uuid4()
    (tmp_path / "state").mkdir()
    (tmp_path / "state" / "cid").write_text(f"{installation}\n")
    first, second, third = (StateFolder(tmp_path / "state", tmp_path / name).cid for name in "abc")
    assert first == installation
    assert len({first, second, third}) == 3
    assert [StateFolder(tmp_path / "state", tmp_path / "copy" / name).cid for name in "a"] != [first]


def test_a_damaged_cid_is_replaced_and_then_kept(tmp_path: Path, folder: StateFolder) -> None:
    folder.close()
    (folder.folder / "cid").write_text("not a uuid")
    (tmp_path / "state" / "cid").write_bytes(b"\xff")
    first = StateFolder(tmp_path / "state", tmp_path / "show")
    first.close()
    assert StateFolder(tmp_path / "state", tmp_path / "show").cid == first.cid
    assert first.cid != StateFolder(tmp_path / "state", tmp_path / "b").cid


def test_a_second_daemon_on_one_show_is_told_who_runs_it(tmp_path: Path, folder: StateFolder) -> None:
    with pytest.raises(InputError, match=f"process {os.getpid()}"):
        StateFolder(tmp_path / "state", tmp_path / "show")
    folder.close()
    StateFolder(tmp_path / "state", tmp_path / "show").close()


def test_a_state_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="--state"):
        StateFolder(tmp_path / "file", tmp_path / "show")


@pytest.mark.parametrize(("now_s", "resumes"), [(1000.4, True), (1009.9, True), (1010.1, False), (999.9, False)])
def test_only_a_crash_within_ten_seconds_is_gone_on_from(folder: StateFolder, now_s: float, resumes: bool) -> None:
    folder.write_live(LIVE)
    folder.write_lasting({**LASTING, "boot_s": 999.0})
    remembered = folder.remember(Moment("b1", now_s))
    assert remembered.live == (DOOR if resumes else None)
    assert remembered.lasting == STILL
    assert remembered.sequences == {1: 300 & 255}
    assert remembered.crashed
    assert remembered.age_s == pytest.approx(now_s - 1000.0 if resumes else 0.0)


def test_what_a_door_left_behind_is_gone_on_from(folder: StateFolder) -> None:
    """It holds moments that never came and numbers that are none: JSON has words for them, and they are no damage."""
    door = small_door()
    say(door, 1.0, "/arm", 1)
    say(door, 1.0, "/target/lead/position", 1.0, 3.0)
    for step in range(90):
        door.tick(1.0 + step * PERIOD)
    left, lasting = door.left_behind(), door.lasting()
    folder.write_live({**LIVE, "door": left})
    folder.write_lasting({**LASTING, "door": lasting})
    found = folder.remember(Moment("b1", 1000.5))
    assert found.warnings == ()
    assert repr(found.live) == repr(json.loads(json.dumps(left))), "NaN differs from itself"
    assert found.lasting == json.loads(json.dumps(lasting))


@pytest.mark.parametrize("before", ["b1", ""])
def test_what_another_boot_left_is_not_gone_on_from_whatever_the_clocks_say(folder: StateFolder, before: str) -> None:
    """After a power cut a slow wall clock makes a show that ended long ago look a second old."""
    folder.write_live({**LIVE, "boot": before})
    now = Moment("b2" if before else "", 1000.5)
    remembered = folder.remember(now)
    assert (remembered.live, remembered.crashed) == (None, True)
    assert remembered.sequences == {1: 44}, "receivers may still hold the old sequence"


def test_moments_count_within_one_boot_and_through_a_suspend(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = boot.moment()
    assert 0.0 <= (boot.moment().after(first) or -1.0) < 60.0
    asked: list[int] = []
    monkeypatch.setattr(boot.time, "clock_gettime", lambda clock: float(asked.append(clock) or 7.0))
    monkeypatch.setattr(boot, "BOOT_ID", tmp_path / "boot_id")
    assert boot.moment() == Moment("", 7.0)
    (tmp_path / "boot_id").write_text("5f0c\n")
    assert boot.moment() == Moment("5f0c", 7.0)
    assert asked == [boot.time.CLOCK_BOOTTIME] * 2


def test_after_a_clean_stop_the_start_is_fresh(folder: StateFolder) -> None:
    folder.write_live({**LIVE, "running": False})
    remembered = folder.remember(Moment("b1", 1000.1))
    assert (remembered.live, remembered.crashed) == (None, False)
    assert remembered.sequences == {1: 44}


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"\xff\xfe", b"[1]", b"null", b'{"version": 99}', b'{"version": 1}',
     b'{"version": 1, "running": 1, "boot": "b1", "boot_s": "x"}',
     b'{"version": 1, "running": true, "boot": "b1", "boot_s": 1000, "sequences": {"x": []}, '
     b'"door": {"armed": true, "refused": [], "engine": {}}}'],
)  # fmt: skip
def test_a_damaged_state_is_warned_of_and_ignored(folder: StateFolder, text: bytes) -> None:
    folder.write_lasting(LASTING)
    (folder.folder / "live.json").write_bytes(text)
    remembered = folder.remember(NOW)
    assert remembered == Remembered(lasting=STILL, warnings=remembered.warnings)
    assert len(remembered.warnings) == 1


def test_a_damaged_live_state_does_not_lose_what_lasts(folder: StateFolder) -> None:
    folder.write_lasting(LASTING)
    (folder.folder / "live.json").write_bytes(b"{")
    assert folder.remember(NOW).lasting == STILL


ENGINE = {"crew": {"still": {"all": {}, "truss": {"t": ["10.0.0.7"]}, "fixture": {}}, "dark": False}}


def test_what_was_switched_after_the_live_state_was_taken_counts(folder: StateFolder) -> None:
    folder.write_live({**LIVE, "door": {**DOOR, "engine": ENGINE}})
    folder.write_lasting(LASTING)
    found = folder.remember(Moment("b1", 1000.5))
    assert found.live == {**DOOR, "engine": ENGINE}
    assert found.lasting == {**STILL, **SWITCHES}


@pytest.mark.parametrize("change", [{"boot_s": 999.9}, {"boot": "b0"}])
def test_what_was_switched_before_it_does_not_but_nobody_is_let_go_who_is_still(
    folder: StateFolder, change: dict[str, object]
) -> None:
    folder.write_live({**LIVE, "door": {**DOOR, "engine": ENGINE}})
    folder.write_lasting({**LASTING, **change})
    found = folder.remember(Moment("b1", 1000.5))
    assert found.live == {**DOOR, "engine": ENGINE}
    assert found.lasting == {
        "still": {
            "all": {"": ["10.0.0.5"]},
            "truss": {"t": ["10.0.0.7"]},
            "fixture": {"a": ["10.0.0.6"]},
        },
        "trims": {},
    }


@pytest.mark.parametrize("running", [True, False])
def test_switches_of_a_show_that_ended_are_not_taken_up_but_who_is_still_is(folder: StateFolder, running: bool) -> None:
    folder.write_live({**LIVE, "running": running})
    folder.write_lasting(LASTING)
    found = folder.remember(Moment("b1", 1100.0 if running else 1000.5))
    assert (found.live, found.lasting) == (None, STILL)


def test_pieces_are_the_same_json_and_small() -> None:
    fixtures = {f"head-{n}": {"angles": [0.5, 1.5], "out": False} for n in range(1000)}
    data = {
        "engine": {"fixtures": fixtures, "lasting": {"angles": fixtures}},
        "a": list(range(5000)),
        "b": {"c": [], "d": {}, "e": None},
        "f": [[1, 2]] * 200,
        "g": "\u2028é",
        "h": (),
    }
    text = list(pieces(data))
    assert json.loads("".join(text)) == json.loads(json.dumps(data))
    assert max(map(len, text)) < 2000


@pytest.mark.parametrize(
    ("environ", "expected"),
    [({"XDG_STATE_HOME": "/x"}, "/x/tetherlight"), ({"XDG_STATE_HOME": "rel"}, None), ({}, None)],
)
def test_the_default_folder_follows_the_desktop_standard(environ: dict[str, str], expected: str | None) -> None:
    """XDG Base Directory Specification (from memory): relative values are to be ignored."""
    assert str(default_state_folder(environ)) == (expected or str(Path.home() / ".local/state/tetherlight"))


LIVE_JSON = json.dumps({"version": 1, **LIVE})
HOSTILE = [
    ("[7]", '"x"'), ("[7]", "[1.5]"), ('{"1": 300}', "[]"), ('{"1": 300}', '{"1": "2"}'), ('{"1": 300}', '{"-1": 2}'),
    ('{"1": 300}', '{"1": true}'), ("300", "Infinity"), ("300", "NaN"), ("300", "1e999"), ("300", "9" * 400),
    ("300", "9" * 5000), ("300", "[" * 100_000), ('{"a": 1}', "[]"), ('{"a": 1}', "null"), ("1000.0", '"1000.0"'),
    ("[7]", "[true]"), ("1000.0", "NaN"), ("1000.0", "Infinity"), ("1000.0", "null"), ("1000.0", "true"), ('"b1"', "7"),
    ('"armed": true', '"armed": "yes"'), ('"armed": true', '"x": 1'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new"), HOSTILE, ids=lambda text: text[:16])
def test_a_live_state_of_another_shape_is_told_and_ignored(folder: StateFolder, old: str, new: str) -> None:
    folder.write_lasting(LASTING)
    (folder.folder / "live.json").write_text(LIVE_JSON)
    assert folder.remember(NOW).live == DOOR
    (folder.folder / "live.json").write_text(LIVE_JSON.replace(old, new, 1))
    found = folder.remember(NOW)
    assert found == Remembered(lasting=STILL, warnings=found.warnings)
    (text,) = found.warnings
    assert "live.json" in text


def lasting(change: dict[str, object] | None = None, **door: object) -> str:
    """lasting.json with other values."""
    held = {**LASTING["door"], **door}  # type: ignore[dict-item]
    return json.dumps({"version": 1, **LASTING, "door": held, **(change or {})})


def still(**change: object) -> str:
    """lasting.json with another `still`."""
    return lasting(still={"all": {}, "truss": {}, "fixture": {}, **change})


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{", "[" * 100_000, still().replace('"version": 1', '"version": 2'), '{"version": 1}',
     lasting({"door": []}), lasting({"door": {}}), lasting(still={}), lasting(still=True), still(all="no"),
     still(all={"": "10.0.0.5"}), still(truss=["t"]), still(truss={"t": 1}), still(fixture={"a": [1]}),
     still(fixture=None), lasting(armed=1), lasting(dark="no"), lasting(out="a"), lasting(out=[1]),
     lasting(angles={"a": [1, 0]}).replace("[1, 0]", "[1e999, 0]"), lasting({"boot": None}), lasting({"boot_s": "x"}),
     lasting({"boot_s": float("nan")})],
    ids=lambda text: text[-50:],
)  # fmt: skip
def test_where_nobody_can_tell_who_is_still_everything_is(folder: StateFolder, text: str) -> None:
    (folder.folder / "lasting.json").write_text(lasting())
    assert folder.remember(NOW).warnings == (), "of the right shape it is no doubt"
    folder.write_live(LIVE)
    (folder.folder / "lasting.json").write_text(text)
    found = folder.remember(NOW)
    assert found.lasting == EVERYTHING_STILL
    (warning,) = found.warnings
    assert "lasting.json" in warning
    assert "/still 0" in warning


def test_a_door_that_takes_up_what_stands_for_an_unreadable_file_is_all_still() -> None:
    door = small_door()
    door.apply(Start(1.0, armed=True, lasting=EVERYTHING_STILL))
    assert door.engine.crew.still.heads.all()
    with pytest.raises(Refused, match="a file that cannot be read"):
        say(door, 2.0, "/still", 0)
    say(door, 2.0, "/still", 0, "override")
    assert not door.engine.crew.still.any


def test_beside_an_unreadable_file_a_host_of_the_live_state_does_not_clear_everything(folder: StateFolder) -> None:
    """Who else had said so stood in the file that cannot be read: only an override clears it."""
    told = {"all": {"": ["10.0.0.5"]}, "truss": {"foh": ["10.0.0.5"]}, "fixture": {}}
    folder.write_live({**LIVE, "door": {**DOOR, "engine": {"crew": {"still": told}}}})
    (folder.folder / "lasting.json").write_text("{")
    door = small_door()
    door.apply(Start(1.0, armed=True, lasting=folder.remember(NOW).lasting))
    assert door.engine.crew.still.by_kind["truss"] == {"foh": ["10.0.0.5"]}
    say(door, 2.0, "/still", 0, sender="10.0.0.5")
    assert door.engine.crew.still.heads.all()
    say(door, 2.0, "/still", 0, "override")
    say(door, 2.0, "/truss/foh/still", 0, "override")
    assert not door.engine.crew.still.any


def test_a_fifo_or_a_folder_in_its_place_neither_stops_the_start_nor_loses_still(folder: StateFolder) -> None:
    os.mkfifo(folder.folder / "lasting.json")
    (folder.folder / "live.json").mkdir()
    found = folder.remember(NOW)
    assert (found.lasting, len(found.warnings)) == (EVERYTHING_STILL, 2)


def test_a_folder_that_was_removed_is_made_again_with_all_that_was_in_it_and_its_lock(
    tmp_path: Path, folder: StateFolder, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    folder.write_lasting(LASTING)
    folder.write_poses({"a": {}})
    shutil.rmtree(tmp_path / "state")
    folder.write_live(LIVE)
    assert folder.remember(NOW).lasting == {**STILL, **SWITCHES}
    assert folder.poses() == ({"a": {}}, "")
    with pytest.raises(InputError, match=f"process {os.getpid()}"):
        StateFolder(tmp_path / "state", tmp_path / "show")
    cid = folder.cid
    folder.close()
    assert StateFolder(tmp_path / "state", tmp_path / "show").cid == cid
    assert len([record for record in caplog.records if "made again" in record.message]) == 1


POSE = asdict(Pose((1.0, 2.0, 8.0), (0.0, 0.6, 0.0, 0.8)))


@pytest.mark.parametrize(
    "change",
    [{"rotation": [0, 0, 0, 0]}, {"rotation": [0, 0, 0, "1"]}, {"rotation": [0, 0, 1]}, {"position": ["1", 2, 3]},
     {"position": [1, 2]}, {"position": None}, {"position": [1, 2, True]}, {"mechanics": {"tilt_zero": "0"}},
     {"mechanics": {"x": 0.0}}, {"mechanics": []}, {"faces": [3]}, {"faces": 1}, {"trusted": "no"}],
)  # fmt: skip
def test_a_pose_of_another_shape_is_refused(change: dict[str, object]) -> None:
    assert poses.from_json({"a": POSE}) == {"a": Pose((1.0, 2.0, 8.0), (0.0, 0.6, 0.0, 0.8))}
    with pytest.raises((KeyError, TypeError, ValueError, AttributeError)):
        poses.from_json({"a": {**POSE, **change}})


def test_too_few_open_files_are_said_with_what_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loop.resource, "getrlimit", lambda what: (100, 100))
    loop.require_descriptors(60)
    with pytest.raises(NetworkError, match=r"may open 100 .* 101 are needed .*ulimit -n"):
        loop.require_descriptors(61)
