"""The state folder: identity for life, a crash is gone on from, damage is survived."""

import json
import os
import uuid
from pathlib import Path

import pytest

from bridge.daemon.state import StateFolder, default_state_folder, pieces
from bridge.errors import InputError

LIVE = {"running": True, "wall_s": 1000.0, "armed": True, "refused": [7], "sequences": {"1": 300}, "engine": {"a": 1}}


@pytest.fixture
def folder(tmp_path: Path) -> StateFolder:
    return StateFolder(tmp_path / "state", tmp_path / "show")


def test_the_cid_is_a_random_uuid_kept_for_life(tmp_path: Path, folder: StateFolder) -> None:
    folder.close()
    again = StateFolder(tmp_path / "state", tmp_path / "other-show")
    assert again.cid == folder.cid
    assert (again.cid.version, again.cid.variant) == (4, uuid.RFC_4122)


def test_a_damaged_cid_is_replaced_and_then_kept(tmp_path: Path, folder: StateFolder) -> None:
    folder.close()
    (tmp_path / "state" / "cid").write_text("not a uuid")
    first = StateFolder(tmp_path / "state", tmp_path / "a").cid
    assert StateFolder(tmp_path / "state", tmp_path / "b").cid == first
    assert not [path for path in (tmp_path / "state").iterdir() if path.name.startswith("cid.")]


def test_a_second_daemon_on_one_show_is_told_who_runs_it(tmp_path: Path, folder: StateFolder) -> None:
    with pytest.raises(InputError, match=f"process {os.getpid()}"):
        StateFolder(tmp_path / "state", tmp_path / "show")
    folder.close()
    StateFolder(tmp_path / "state", tmp_path / "show").close()


def test_a_state_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="--state"):
        StateFolder(tmp_path / "file", tmp_path / "show")


@pytest.mark.parametrize(("wall_s", "resumes"), [(1000.4, True), (1009.9, True), (1010.1, False), (900.0, False)])
def test_only_a_crash_within_ten_seconds_is_gone_on_from(folder: StateFolder, wall_s: float, resumes: bool) -> None:
    folder.write_live(LIVE)
    folder.write_lasting({"engine": {"still": 1}})
    remembered = folder.remember(wall_s)
    assert (remembered.live is not None) is resumes
    assert remembered.armed is resumes
    assert remembered.lasting == {"still": 1}
    assert remembered.sequences == {1: 300 & 255}
    assert remembered.crashed
    assert remembered.refused == ((7,) if resumes else ())


def test_after_a_clean_stop_the_start_is_fresh(folder: StateFolder) -> None:
    folder.write_live({**LIVE, "running": False})
    remembered = folder.remember(1000.1)
    assert (remembered.live, remembered.armed, remembered.crashed) == (None, False, False)
    assert remembered.sequences == {1: 44}


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"\xff\xfe", b"[1]", b"null", b'{"version": 99}', b'{"version": 1}',
     b'{"version": 1, "running": 1, "wall_s": "x"}',
     b'{"version": 1, "running": true, "wall_s": 1000, "engine": {}, "sequences": {"x": []}, "armed": 1}'],
)  # fmt: skip
def test_a_damaged_state_is_warned_of_and_ignored(folder: StateFolder, text: bytes) -> None:
    (folder.folder / "live.json").write_bytes(text)
    remembered = folder.remember(1000.0)
    assert remembered.live is None
    assert not remembered.armed
    assert len(remembered.warnings) == 1


def test_a_damaged_live_state_does_not_lose_what_lasts(folder: StateFolder) -> None:
    folder.write_lasting({"engine": {"still": 1}})
    (folder.folder / "live.json").write_bytes(b"{")
    assert folder.remember(1000.0).lasting == {"still": 1}


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
