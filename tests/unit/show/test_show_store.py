"""The store: what is written loads again, and a kill at any moment leaves the old or the new file, whole."""

from __future__ import annotations

import math
import os
import random
import signal
import stat
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import InputError
from bridge.show import store
from bridge.show.emit import to_yaml
from bridge.show.poses import read_poses
from bridge.show.sightings import read_sightings
from bridge.show.store import atomic_write, previous_of, save_poses, save_sightings
from bridge.show.yaml12 import parse
from bridge.solve.measurements import SIGHTED_BY, Sighting
from tests.unit.show.killed import die_at

_names = st.text("abcXYZ0189-_", min_size=1, max_size=8) | st.sampled_from(
    ["on", "no", "null", "010", "1e3", "true", "-"]
)
_degrees = st.floats(-540, 540, allow_nan=False)
_raw = st.none() | st.integers(0, 256**4 - 1)


def _read(path: Path) -> list[Sighting]:
    entries, problems = read_sightings(parse(path.read_text())[0], path.name)
    assert problems == []
    return [entry.sighting for entry in entries]


@settings(deadline=None)
@given(
    st.lists(
        st.builds(Sighting, _names, _names, _degrees, _degrees, _raw, _raw, st.sampled_from([None, *SIGHTED_BY])),
        max_size=5,
    )
)
def test_sightings_come_back(tmp_path_factory: pytest.TempPathFactory, sightings: list[Sighting]) -> None:
    sightings = list({(s.fixture, s.mark, s.face): s for s in sightings}.values())
    for written, read in zip(sightings, _read(save_sightings(tmp_path_factory.mktemp("s"), sightings)), strict=True):
        assert (read.fixture, read.mark, read.face) == (written.fixture, written.mark, written.face)
        assert (read.zoom, read.focus, read.sighted_by) == (written.zoom, written.focus, written.sighted_by)
        assert math.isclose(read.pan, written.pan, abs_tol=1e-9, rel_tol=1e-15)
        assert math.isclose(read.tilt, written.tilt, abs_tol=1e-9, rel_tol=1e-15)


def test_a_tilt_that_rounds_to_zero_keeps_its_face(tmp_path: Path) -> None:
    assert _read(save_sightings(tmp_path, [Sighting("a", "A", 0.0, -1e-14)]))[0].face == 2
    assert _read(save_sightings(tmp_path, [Sighting("a", "A", 0.0, -0.0)]))[0].face == 1


@settings(deadline=None)
@given(st.floats(-1e-3, 1e-3, exclude_min=True, exclude_max=True, allow_subnormal=False))
def test_small_numbers_keep_nine_digits(value: float) -> None:
    """A covariance is some 1e-8 and must not be cut at a number of decimals."""
    written = to_yaml({"a": value})
    assert math.isclose(parse(written)[0].get("a").value, value, rel_tol=1e-8)
    assert math.copysign(1, yaml.safe_load(written)["a"]) == math.copysign(1, value) or value == 0


def test_sightings_are_one_row_each_after_the_version(tmp_path: Path) -> None:
    text = save_sightings(tmp_path, [Sighting("foh-1", "A", -12.345, 61.002, 20000, 31000)]).read_text()
    assert text == (
        "version: 1\nsightings:\n"
        "  - {fixture: foh-1, mark: A, pan: -12.345, tilt: 61.002, zoom: 20000, focus: 31000}\n"
    )  # fmt: skip


def test_no_sighting_is_an_empty_list(tmp_path: Path) -> None:
    assert _read(save_sightings(tmp_path, [])) == []


def test_poses_come_back(tmp_path: Path) -> None:
    rotation = np.array([0.1, -0.2, 0.3, math.sqrt(1 - 0.14)])
    document = {
        "trusted": np.bool_(False),
        "solved_at": "2026-11-25T09:00:00+00:00",
        "solved_from": "0123456789",
        "marks": {"A": np.array([1.0, 2.0, 0.123456789])},
        "fixtures": {
            "foh-1": {
                "position": np.array([1 / 3, -12.0, 9.0]),
                "rotation": rotation,
                "faces": (1, 2),
                "mechanics": {"tilt_zero": 0.05, "pan_scale": 1e-4},
                "residuals": {"A": 0.01, "A/2": np.float64(0.02)},
                "aim_error": {"rms": 0.03, "p95": 0.05},
                "sigma": {"position": [0.01, 0.02, 0.03], "rotation": [0.1, 0.1, 0.2]},
                "carried_over": "truss foh: two sightings",
                "unit": "A-1043",
                "optics": {"focus": [[3.0, 60000], [8.0, 30000]]},
            }
        },
        "checked": [{"mark": "A", "at": "2026-11-25T10:00:00+00:00"}],
    }
    path = save_poses(tmp_path, document)
    poses, problems = read_poses(parse(path.read_text())[0])
    assert problems == []
    entry = poses.entries[0]
    assert entry.pose.position == pytest.approx((1 / 3, -12, 9), abs=1e-9)
    assert entry.pose.rotation == pytest.approx(tuple(rotation), abs=2e-9)
    assert entry.pose.trusted is False
    assert entry.pose.solved_from == "0123456789"
    assert entry.pose.unit == "A-1043"
    assert entry.pose.mechanics.pan_scale == 1e-4
    assert entry.focus_table == ((3.0, 60000.0), (8.0, 30000.0))
    assert poses.marks == {"A": (1.0, 2.0, 0.123456789)}
    assert path.read_text().startswith("version: 1\n")


@pytest.mark.parametrize(
    ("save", "words"),
    [
        (lambda folder: save_sightings(folder, [Sighting("a", "A", math.nan, 0)]), "not finite"),
        (lambda folder: save_sightings(folder, [Sighting("a b", "A", 0, 0)]), "letters, digits"),
        (
            lambda folder: save_sightings(folder, [Sighting("a", "A", 0, 1), Sighting("a", "A", 1, 2)]),
            "two sightings of a",
        ),
        (lambda folder: save_poses(folder, {"fixtures": {"a": {"position": [0, 0, 0]}}}), "rotation"),
        (lambda folder: save_poses(folder, {"fixture": {}}), "nearest is 'fixtures'"),
        (lambda folder: save_poses(folder, {"notes": object()}), "cannot write object"),
    ],
)
def test_what_would_not_load_again_is_not_written(tmp_path: Path, save, words: str) -> None:
    for name in ("sightings.yaml", "poses.yaml"):
        (tmp_path / name).write_text("version: 1\n# the old one\n")
    with pytest.raises(InputError, match=words):
        save(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["poses.yaml", "sightings.yaml"]
    assert "the old one" in (tmp_path / "poses.yaml").read_text()


_plain = st.none() | st.booleans() | st.integers(-(10**12), 10**12) | st.floats(-1e6, 1e6) | st.text(max_size=12)
_data = st.recursive(
    _plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


def _bare(node) -> object:
    if isinstance(node.value, list):
        return [_bare(item) for item in node.value]
    if isinstance(node.value, dict):
        return {key: _bare(item) for key, item in node.value.items()}
    return node.value


def _same(found: object, meant: object) -> bool:
    if isinstance(meant, float) and isinstance(found, float):
        return math.isclose(found, meant, abs_tol=1e-9, rel_tol=1e-15)
    if isinstance(meant, list) and isinstance(found, list):
        return len(found) == len(meant) and all(map(_same, found, meant))
    if isinstance(meant, dict) and isinstance(found, dict):
        return found.keys() == meant.keys() and all(_same(found[key], meant[key]) for key in meant)
    return type(found) is type(meant) and found == meant


@settings(deadline=None)
@given(st.dictionaries(st.text(max_size=8), _data, min_size=1, max_size=4))
def test_any_plain_data_reads_back_the_same(document: dict[str, object]) -> None:
    node, problems = parse(to_yaml(document))
    assert problems == []
    assert _same(_bare(node), document)


@settings(deadline=None)
@given(
    st.dictionaries(
        st.text("abyno10~-.:# ", max_size=5), st.text("abyno10~-.:# ", max_size=6) | st.booleans(), min_size=1
    )
)
def test_other_readers_of_yaml_1_1_read_it_the_same(document: dict[str, object]) -> None:
    assert yaml.safe_load(to_yaml(document)) == document


def test_the_version_before_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "poses.yaml"
    for text in ("one", "two", "three"):
        atomic_write(path, text)
    assert path.read_text() == "three"
    assert previous_of(path) == tmp_path / "poses.previous.yaml"
    assert previous_of(path).read_text() == "two"
    atomic_write(path, "three")
    assert previous_of(path).read_text() == "two", "writing the same again must not lose the version before"
    assert len(list(tmp_path.iterdir())) == 2


def test_permissions_stay_and_a_link_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.yaml", tmp_path / "poses.yaml"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    atomic_write(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_folder_that_is_not_there_is_a_clear_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"cannot be written: No such file or directory; the old file stays"):
        atomic_write(tmp_path / "no" / "poses.yaml", "x")


def test_without_hard_links_the_version_before_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError("no hard links on this file system")

    monkeypatch.setattr(os, "link", refuse)
    atomic_write(tmp_path / "a.yaml", "one")
    atomic_write(tmp_path / "a.yaml", "two")
    assert (tmp_path / "a.previous.yaml").read_text() == "one"


def test_a_note_leaves_the_version_before_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "poses.yaml"
    for text in ("one", "two"):
        atomic_write(path, text)
    atomic_write(path, "two, noted", keep_previous=False)
    assert (path.read_text(), previous_of(path).read_text()) == ("two, noted", "one")
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize("way", ["exchange", "no such call", "the file system cannot"])
def test_file_and_version_before_change_places_and_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    if way != "exchange":
        calls = {} if way == "no such call" else {"renameat2": lambda *_: -1}
        monkeypatch.setattr(store.ctypes, "CDLL", lambda *_, **__: SimpleNamespace(**calls))
        monkeypatch.setattr(store.ctypes, "get_errno", lambda: 22)  # EINVAL
    path = tmp_path / "poses.yaml"
    for text in ("one", "two"):
        atomic_write(path, text)
    for now, before in (("one", "two"), ("two", "one")):
        store.swap_with_previous(path)
        assert (path.read_text(), previous_of(path).read_text()) == (now, before)
        assert len(list(tmp_path.iterdir())) == 2


def test_what_cannot_change_places_stays(tmp_path: Path) -> None:
    path = tmp_path / "poses.yaml"
    path.write_text("one")
    with pytest.raises(InputError, match=r"cannot be swapped with poses\.previous\.yaml: No such file"):
        store.swap_with_previous(path)
    assert {file.name: file.read_text() for file in tmp_path.iterdir()} == {"poses.yaml": "one"}


def test_a_full_disk_leaves_the_old_file_and_no_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    atomic_write(tmp_path / "a.yaml", "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        atomic_write(tmp_path / "a.yaml", "new")
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a.yaml": "old"}


def test_rests_of_a_killed_process_are_removed_and_those_of_a_living_one_are_not(tmp_path: Path) -> None:
    gone = os.fork()
    if gone == 0:
        os._exit(0)
    os.waitpid(gone, 0)
    stale, own, living = (tmp_path / f".a.yaml.{pid}-3.tmp" for pid in (gone, os.getpid(), os.getppid()))
    for path in (stale, own, living, tmp_path / ".b.yaml.1-1.tmp"):
        path.write_text("rest")
    atomic_write(tmp_path / "a.yaml", "text")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([living.name, ".b.yaml.1-1.tmp", "a.yaml"])


def _texts(size: int) -> tuple[str, str]:
    return tuple(
        to_yaml(
            {
                "version": 1,
                "sightings": [{"fixture": f"f-{i}", "mark": mark, "pan": 1.5, "tilt": 2.5} for i in range(size)],
            }
        )
        for mark in "AB"
    )  # type: ignore[return-value]


@pytest.mark.parametrize("step", range(1, 10))
def test_killed_before_each_system_call_of_a_write(tmp_path: Path, step: int) -> None:
    """The child dies in front of its `step`-th call of those that change the disk; 9 is more than one write makes."""
    old, new = _texts(200)
    path = tmp_path / "sightings.yaml"
    atomic_write(path, old)
    child = os.fork()
    if child == 0:
        die_at(step)
        atomic_write(path, new)
        os._exit(7)
    _, status = os.waitpid(child, 0)
    finished = os.waitstatus_to_exitcode(status) == 7
    assert path.read_text() in ((new,) if finished else (old, new))
    if previous_of(path).exists():
        assert previous_of(path).read_text() == old
    assert finished == (step > 6), "the number of steps changed: look at this test again"
    atomic_write(path, "version: 1\n")
    assert not list(tmp_path.glob(".*.tmp"))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_at_random_moments(tmp_path: Path, seed: int) -> None:
    """A process that writes without end is killed (SIGKILL) 15 times; the files always load, whole."""
    print(f"seed {seed}")
    chance = random.Random(seed)
    texts = _texts(2000)
    path = tmp_path / "sightings.yaml"
    atomic_write(path, texts[0])
    for _ in range(15):
        child = _writer(path, texts)
        time.sleep(chance.uniform(0, 0.01))  # the moment of the kill is what is tried out here, not a wait for anything
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        assert path.read_text() in texts
        assert previous_of(path).read_text() in texts
        assert len(_read(path)) == 2000
    store.atomic_write(path, "version: 1\nsightings: []\n")
    assert sorted(item.name for item in tmp_path.iterdir()) == ["sightings.previous.yaml", "sightings.yaml"]


def _writer(path: Path, texts: tuple[str, str]) -> int:
    """A child that writes the two texts in turn for ever; returns once it has written both."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        for turn in range(10**9):
            atomic_write(path, texts[turn % 2])
            if turn == 2:
                os.write(writing, b"x")
    os.close(writing)
    assert os.read(reading, 1) == b"x"
    os.close(reading)
    return child
