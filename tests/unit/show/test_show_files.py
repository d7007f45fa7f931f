"""What may stand in place of a show's files: nothing, other bytes, pipes, devices, links; none is waited for."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

RIG, STAGE, NET, SIGHT, POSES = "rig.yaml", "stage.yaml", "network.yaml", "sightings.yaml", "poses.yaml"
PROFILE = "profiles/spot.yaml"


def test_a_profile_reached_through_a_link_out_of_the_folder(folder) -> None:
    outside = folder.path.parent / "outside.yaml"
    outside.write_text(folder.files.pop("profiles/spot.yaml"))
    folder.write()
    (folder.path / "profiles").mkdir()
    os.symlink(outside, folder.path / "profiles" / "spot.yaml")
    assert any(text.startswith("rig.yaml:5:") and "stays inside" in text for text in folder.problems())


def test_captures_reached_through_a_link_out_of_the_folder(folder) -> None:
    (folder.path.parent / "elsewhere").mkdir()
    folder.write()
    os.symlink(folder.path.parent / "elsewhere", folder.path / "captures")
    assert any("record.folder" in text and "stays inside" in text for text in folder.problems())


@pytest.mark.parametrize("file", [RIG, STAGE])
def test_required_file_missing(folder, file: str) -> None:
    del folder.files[file]
    assert f"{file}:1: found no such file" in folder.problems()


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"version: 1\nname: caf\xe9\n", 2, "0xe9, which is not UTF-8"),
        ("version: 1\n".encode("utf-16"), 1, "not UTF-8"),
        (b"", 1, "empty file"),
        (b"- 1\n", 1, "found [1], allowed is a mapping"),
        (b"just words\n", 1, "found 'just words', allowed is a mapping"),
        (b"version: 1\nfixtures:\n\t- name: a\n", 3, "not valid YAML"),
        (b"#" * 9_000_000, 1, "a file of 9000000 bytes"),
    ],
)
def test_a_file_that_is_not_what_it_should_be(folder, data: bytes, line: int, words: str) -> None:
    folder.files[RIG] = data
    problems = [text for text in folder.problems() if text.startswith(f"rig.yaml:{line}: ")]
    assert problems
    assert words in problems[0]


def _folder_at(path: Path) -> None:
    path.mkdir()


def _socket_at(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as bound:
        here = os.getcwd()
        os.chdir(path.parent)  # the path of a socket may have 107 bytes at most
        bound.bind(path.name)
        os.chdir(here)


def _device_at(path: Path) -> None:
    path.symlink_to("/dev/zero")


@pytest.mark.parametrize("file", [RIG, STAGE, NET, SIGHT, POSES, PROFILE])
@pytest.mark.parametrize(
    ("put", "found"),
    [(_folder_at, "a folder"), (os.mkfifo, "a named pipe"), (_socket_at, "a socket"), (_device_at, "a device")],
)
def test_only_regular_files_are_opened(folder, monkeypatch, file: str, put: Callable[[Path], None], found: str) -> None:
    folder.write()
    (folder.path / file).unlink()
    put(folder.path / file)
    del folder.files[file]
    opened: list[str] = []
    open_ = os.open
    monkeypatch.setattr(os, "open", lambda path, *rest: opened.append(str(path)) or open_(path, *rest))
    if file == PROFILE and put is _device_at:
        assert any(text.startswith("rig.yaml:5:") and "stays inside" in text for text in folder.problems())
    else:
        assert f"{file}:1: found {found}, allowed is a regular file" in folder.problems()
    assert str(folder.path / file) not in opened


def test_a_pipe_that_takes_the_place_of_a_file_between_two_looks_is_not_waited_for(folder, monkeypatch) -> None:
    folder.write()
    path = folder.path / NET
    open_ = os.open

    def swap(opened: Path, *rest: int) -> int:
        if opened == path:
            path.unlink()
            os.mkfifo(path)
        return open_(opened, *rest)

    monkeypatch.setattr(os, "open", swap)
    del folder.files[NET]
    assert "network.yaml:1: found a named pipe, allowed is a regular file" in folder.problems()


def test_a_file_that_says_it_has_no_bytes_is_read_no_further_than_allowed(folder, monkeypatch) -> None:
    """As files in /proc say."""
    monkeypatch.setattr("bridge.show.folder.MOST_BYTES", 100)
    folder.write()
    assert os.stat("/proc/self/smaps").st_size == 0
    (folder.path / NET).unlink()
    (folder.path / NET).symlink_to("/proc/self/smaps")
    del folder.files[NET]
    assert "network.yaml:1: found a file of 101 bytes, allowed are up to 100" in folder.problems()
