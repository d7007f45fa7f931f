"""Which captures there are, and what the writer does when the disk fails; no thread, no clock."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bridge.daemon.captures import Limits, began, file_name, next_due, safe_name, surplus
from bridge.daemon.recorder_files import Begin, Gap, Writer
from bridge.wire import capture
from bridge.wire.capture import Datagram, Event, Opening

WALL_US = 1_700_000_000_000_000  # 2023-11-14 22:13:20 UTC
DAY_US = 86_400_000_000
S = 1_000_000
HERE, THERE = ("10.0.0.1", 9000), ("10.0.0.2", 50000)
LIMITS = Limits(14, 80_000_000)


def datagram(at_us: int, payload: bytes = b"/x\0\0") -> Datagram:
    return Datagram(at_us, True, THERE, HERE, payload)


class Disk:
    """A writer in a folder of its own, and what it said."""

    def __init__(self, folder: Path, limits: Limits = LIMITS) -> None:
        self.folder, self.said = folder, list[str]()
        self.writer = Writer(folder, "show", "tetherlight 0", limits, self.said.append, lambda: None)

    def begin(self, at_us: int, *events: bytes) -> None:
        self.writer.begin(Begin(at_us, WALL_US + at_us, events or (b'{"state": 1}',)))

    @property
    def names(self) -> list[str]:
        return sorted(path.name for path in self.folder.iterdir())

    def read(self, name: str = "") -> list[Any]:
        with (self.folder / (name or self.names[-1])).open("rb") as file:
            return [e for e in capture.read(file) if not isinstance(e, Opening)]


@pytest.fixture
def disk(tmp_path: Path) -> Disk:
    return Disk(tmp_path / "captures")


@pytest.fixture
def fail(monkeypatch: pytest.MonkeyPatch) -> Callable[[int | None], None]:
    """`fail(n)`: the disk takes n more octets and is full then; `fail(None)`: there is room again."""
    left: list[int | None] = [None]
    write = os.write

    def full(handle: int, octets: bytes) -> int:
        if left[0] is None:
            return write(handle, octets)
        if left[0] == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        count = write(handle, octets[: left[0]])
        left[0] -= count
        return count

    monkeypatch.setattr("bridge.daemon.recorder_files.os.write", full)
    return lambda room: left.__setitem__(0, room)


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("Harbour Hall", "Harbour_Hall"),
        ("../x/y", "_x_y"),
        (".hidden", "hidden"),
        ("", "capture"),
        ("é" * 99, "é" * 50),
    ],
)
def test_a_show_by_any_name_has_files(name: str, safe: str) -> None:
    assert safe_name(name) == safe


def test_names_are_utc_and_come_back() -> None:
    assert file_name("show", WALL_US) == "show-20231114T221320Z.pcapng"
    assert file_name("show", WALL_US + 999_999, 12) == "show-20231114T221320Z-12.pcapng"
    assert began("show", file_name("show", WALL_US, 12)) == (1_700_000_000.0, 12)


@pytest.mark.parametrize(
    "foreign",
    ["show-20231114T221320Z.pcap", "other-20231114T221320Z.pcapng", "show-20231314T221320Z.pcapng",
     "show-20231114T221320Z-keep.pcapng", "a-show-20231114T221320Z.pcapng", "show-20231114T221320Z.pcapng.gz", "notes"],
)  # fmt: skip
def test_foreign_files_never_go(foreign: str) -> None:
    assert began("show", foreign) is None
    assert surplus([(foreign, 10**12)], "show", WALL_US, Limits(0.1, 0)) == []


def test_a_name_is_no_pattern() -> None:
    assert began("s.ow", "show-20231114T221320Z.pcapng") is None


def test_captures_beyond_the_days_go() -> None:
    files = [(file_name("show", WALL_US - days * DAY_US), 1) for days in (0, 13, 14, 15, 99)]
    assert surplus(files, "show", WALL_US + S, LIMITS) == [files[4][0], files[3][0], files[2][0]]


def test_the_oldest_go_until_the_next_one_has_room() -> None:
    """80 MB in all, of which the next takes up to 10: 70 MB may stay. Ten of one second are in their order, too."""
    files = [(file_name("show", WALL_US, again), 7_000_000) for again in range(12)]
    assert surplus(reversed(files), "show", WALL_US, LIMITS) == [files[0][0], files[1][0]]


@pytest.mark.parametrize(
    ("age_s", "octets", "broken", "due"),
    [(599.9, 0, False, False), (600, 0, False, True), (4.9, 99_000_000, True, False), (5, 10_000_000, False, True),
     (5, 9_999_999, False, False), (5, 0, True, True)],
)  # fmt: skip
def test_when_the_next_capture_is_due(age_s: float, octets: int, broken: bool, due: bool) -> None:
    assert next_due(int(age_s * S), octets, broken, LIMITS) is due


def test_a_capture_begins_with_its_events_and_holds_what_followed(disk: Disk) -> None:
    disk.begin(5, b'{"state": 1}', b'{"poses": 2}')
    disk.writer.write([datagram(6), Event(7, b"{}")])
    assert disk.read() == [Event(5, b'{"state": 1}'), Event(5, b'{"poses": 2}'), datagram(6), Event(7, b"{}")]
    assert (disk.writer.kept, disk.writer.lost) == (2, 0)
    assert disk.writer.file == disk.names[0] == "show-20231114T221320Z.pcapng"
    assert disk.writer.octets == (disk.folder / disk.names[0]).stat().st_size


def test_each_capture_names_the_one_before(disk: Disk) -> None:
    for at_us in (0, 1, 700 * S):
        disk.begin(at_us)
    openings = [next(capture.read((disk.folder / name).open("rb"))) for name in disk.names]
    names = ["show-20231114T221320Z-1.pcapng", "show-20231114T221320Z.pcapng", "show-20231114T222500Z.pcapng"]
    assert disk.names == names, "one more of the same second; none is written over"
    by_name = dict(zip(names, openings, strict=True))
    assert [by_name[n].fields["after"] for n in names] == [names[1], None, names[0]]  # type: ignore[union-attr]
    assert by_name[names[2]].at_us == 700 * S


def test_a_file_that_is_there_is_never_written_over(disk: Disk) -> None:
    disk.folder.mkdir()
    (disk.folder / "show-20231114T221320Z.pcapng").write_text("mine")
    disk.begin(0)
    assert (disk.folder / "show-20231114T221320Z.pcapng").read_text() == "mine"
    assert disk.writer.file == "show-20231114T221320Z-1.pcapng"


def test_old_captures_go_when_the_next_begins(tmp_path: Path) -> None:
    disk = Disk(tmp_path, Limits(14, 8000))
    for name, size in {"show-20230101T000000Z.pcapng": 1, "show-20231110T000000Z.pcapng": 7000, "note": 99999}.items():
        (tmp_path / name).write_bytes(bytes(size))
    disk.begin(0)
    assert disk.names == ["note", "show-20231110T000000Z.pcapng", "show-20231114T221320Z.pcapng"]
    disk.begin(600 * S)
    assert disk.names == ["note", "show-20231114T221320Z.pcapng", "show-20231114T222320Z.pcapng"]


def test_an_old_capture_that_cannot_go_is_said_once_and_stops_nothing(disk: Disk) -> None:
    disk.folder.mkdir()
    old = disk.folder / "show-20200101T000000Z.pcapng"
    old.write_bytes(b"")
    unlink = Path.unlink

    def refuse(path: Path, missing_ok: bool = False) -> None:
        if path == old:
            raise PermissionError(errno.EACCES, "not yours")
        unlink(path, missing_ok)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "unlink", refuse)
        disk.begin(0)
        disk.begin(600 * S)
    assert len(disk.said) == 1
    assert "not yours" in disk.said[0]
    assert not disk.writer.broken


def test_a_full_disk_leaves_whole_blocks_and_is_said_once(disk: Disk, fail: Callable[[int | None], None]) -> None:
    disk.begin(0)
    disk.writer.write([datagram(1), datagram(2)])
    fail(40)
    disk.writer.write([datagram(3), datagram(4), datagram(5)])
    assert disk.writer.broken
    disk.writer.write([datagram(6)])
    for retry in (5, 10):
        disk.begin(retry * S)
        disk.writer.write([datagram(retry * S)])
    assert len(disk.names) == 1, "a capture without its state is not left lying about"
    assert disk.read() == [Event(0, b'{"state": 1}'), datagram(1), datagram(2)]
    assert (disk.writer.kept, disk.writer.lost, disk.writer.file) == (2, 6, "")
    assert len(disk.said) == 1
    assert "No space left" in disk.said[0]

    fail(None)
    disk.begin(15 * S)
    disk.writer.write([datagram(15 * S + 1)])
    assert disk.read() == [capture.lost(15 * S, 6), Event(15 * S, b'{"state": 1}'), datagram(15 * S + 1)]
    assert len(disk.said) == 1, "one write does not make it well again"
    disk.writer.write([datagram(26 * S)])
    assert len(disk.said) == 2
    assert "works again" in disk.said[1]
    assert "6 entries" in disk.said[1]


def test_a_disk_that_is_full_again_at_once_is_not_said_again(disk: Disk, fail: Callable[[int | None], None]) -> None:
    for retry in range(0, 60, 5):
        fail(None)
        disk.begin(retry * S)
        fail(0)
        disk.writer.write([datagram(retry * S + 1)])
    assert len(disk.said) == 1


def test_a_removed_folder_is_made_again(disk: Disk) -> None:
    disk.begin(0)
    (disk.folder / disk.writer.file).unlink()
    disk.folder.rmdir()
    disk.writer.write([datagram(1)])
    assert disk.writer.broken
    assert "removed" in disk.said[0]
    disk.begin(5 * S)
    assert disk.read() == [capture.lost(5 * S, 1), Event(5 * S, b'{"state": 1}')]


def test_a_folder_that_cannot_be_is_said_and_tried_again(disk: Disk) -> None:
    disk.folder.write_text("a file")
    disk.begin(0)
    disk.writer.write([datagram(1), Gap(2, 100), datagram(2)])
    assert disk.writer.broken
    assert str(disk.folder) in disk.said[0]
    disk.folder.unlink()
    disk.begin(5 * S)
    assert disk.read()[0] == capture.lost(5 * S, 102)
    assert disk.writer.lost == 2, "what the queue lost, the queue counts"


def test_a_gap_of_the_queue_is_written_where_it_was(disk: Disk) -> None:
    disk.begin(0)
    disk.writer.write([datagram(1), Gap(5, 7), datagram(5), datagram(6)])
    assert disk.read()[1:] == [datagram(1), capture.lost(5, 7), datagram(5), datagram(6)]
    assert (disk.writer.kept, disk.writer.lost) == (3, 0)


def test_what_no_capture_can_hold_is_left_out_and_said_once(disk: Disk) -> None:
    disk.begin(0)
    unheard = Datagram(1, False, HERE, ("desk.local", 1), b"")
    disk.writer.write([unheard, unheard, datagram(2)])
    assert disk.read()[1:] == [capture.lost(2, 2), datagram(2)]
    assert len(disk.said) == 1
    assert "desk.local" in disk.said[0]
    assert (disk.writer.kept, disk.writer.lost) == (1, 2)


def test_our_own_mistake_ends_a_capture_and_never_the_thread(disk: Disk) -> None:
    disk.begin(0)
    disk.writer.write([datagram(1), Datagram(2, True, HERE, THERE, "text")])  # type: ignore[arg-type]
    assert (disk.writer.broken, disk.writer.kept, disk.writer.lost) == (True, 0, 2)
    assert disk.read() == [Event(0, b'{"state": 1}')]


def test_a_clock_in_1970_is_written_all_the_same(disk: Disk) -> None:
    disk.writer.begin(Begin(9 * S, 3 * S, (b"{}",)))
    disk.writer.write([datagram(9 * S + 1)])
    assert disk.read() == [Event(9 * S, b"{}"), datagram(9 * S + 1)]
