"""The recorder as the loop sees it: a bounded queue, files that change between two entries, a thread that ends."""

from __future__ import annotations

import errno
import json
import os
import tempfile
import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.daemon.recorder import BATCH, OVERHEAD, Backlog, Recorder
from bridge.daemon.recorder_files import Begin, Gap
from bridge.wire import capture
from bridge.wire.capture import Datagram, Event, Opening

WALL_US = 1_700_000_000_000_000
S = 1_000_000
HERE, THERE = ("10.0.0.1", 9000), ("10.0.0.2", 50000)
STATE = b'{"state": 1}'


def read(folder: Path) -> list[list[Any]]:
    """What each capture holds after its opening."""
    found = []
    for path in sorted(folder.iterdir()):
        with path.open("rb") as file:
            found.append([e for e in capture.read(file) if not isinstance(e, Opening)])
    return found


class Rig:
    """A recorder whose thread is not started yet, what it said, and the wall clock that it reads."""

    def __init__(self, folder: Path, megabytes: float = 2000) -> None:
        self.folder, self.said, self.wall_us = folder, list[str](), WALL_US
        self.recorder = Recorder(folder, 14, megabytes, lambda: self.wall_us, self.said.append, "show")


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path / "captures")


def event(at_us: int, size: int = 100) -> Event:
    return Event(at_us, bytes(size))


def test_the_queue_gives_batches_in_order_and_a_begin_alone() -> None:
    backlog, begin = Backlog(), Begin(3, WALL_US, (STATE,))
    for entry in (event(1), event(2)):
        assert backlog.put(entry)
    backlog.begin(begin)
    assert backlog.put(event(4))
    assert [backlog.take() for _ in range(4)] == [[event(1), event(2)], [begin], [event(4)], []]
    assert backlog.octets == 0


def test_batches_are_short_by_number_and_by_octets() -> None:
    backlog = Backlog()
    for n in range(BATCH + 1):
        backlog.put(event(n, 0))
    assert [len(backlog.take()), len(backlog.take())] == [BATCH, 1]
    for n in range(3):
        backlog.put(event(n, 60_000))
    assert [len(backlog.take()), len(backlog.take())] == [2, 1]


def test_a_full_queue_counts_until_half_of_it_is_written() -> None:
    backlog = Backlog(10 * (100 + OVERHEAD))
    taken = [backlog.put(event(n)) for n in range(15)]
    assert taken == [True] * 10 + [False] * 5
    assert backlog.lost == 5
    assert backlog.octets == 10 * (100 + OVERHEAD)
    assert not backlog.half_empty
    assert len(backlog.take()) == 10
    assert backlog.put(event(20))
    assert backlog.take() == [Gap(20, 5), event(20)]
    assert backlog.put(event(21))
    assert backlog.take() == [event(21)], "a gap is told once"
    assert backlog.lost == 5


def test_what_the_queue_refuses_stays_refused_until_half_is_free(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bridge.daemon.recorder.BATCH", 1)
    backlog = Backlog(10 * (100 + OVERHEAD))
    for n in range(11):
        backlog.put(event(n))
    freed = []
    for _ in range(5):
        backlog.take()
        freed.append(backlog.put(event(50)))
    assert freed == [False] * 4 + [True]
    assert backlog.lost == 5


def test_all_that_was_given_is_in_the_file_after_close(rig: Rig) -> None:
    recorder = rig.recorder
    recorder.start()
    assert recorder.wants_start(5)
    recorder.begin_file(5, [STATE])
    assert not recorder.wants_start(5)
    packet = bytearray(b"first")
    recorder.outgoing(6, HERE, ("239.255.0.1", 5568), packet)
    packet[:] = b"later"
    recorder.incoming(7, THERE, HERE, b"/x\0\0")
    recorder.event(8, b"{}")
    assert recorder.close()
    ours = Datagram(6, False, HERE, ("239.255.0.1", 5568), b"first")
    assert read(rig.folder) == [[Event(5, STATE), ours, Datagram(7, True, THERE, HERE, b"/x\0\0"), Event(8, b"{}")]]
    assert (recorder.kept, recorder.lost, recorder.file, rig.said) == (3, 0, "", [])
    assert recorder.octets == sum(path.stat().st_size for path in rig.folder.iterdir())


def test_files_change_exactly_where_the_loop_said(rig: Rig) -> None:
    recorder = rig.recorder
    recorder.start()
    for n in range(3):
        rig.wall_us = WALL_US + n * S
        recorder.begin_file(n * 100, [b'{"state": %d}' % n])
        for k in range(1, 70):
            recorder.event(n * 100 + k, b"{}")
    assert recorder.close()
    expected = [[n * 100 + k for k in range(70)] for n in range(3)]
    assert [[entry.at_us for entry in file] for file in read(rig.folder)] == expected


def test_a_new_file_is_wanted_after_ten_minutes(rig: Rig) -> None:
    rig.recorder.begin_file(0, [STATE])
    rig.recorder.event(1, b"{}")
    rig.recorder.work()
    assert [rig.recorder.wants_start(s * S) for s in (0, 599, 600)] == [False, False, True]


def test_a_second_file_is_not_wanted_while_the_first_still_waits(rig: Rig) -> None:
    rig.recorder.begin_file(0, [STATE])
    assert not rig.recorder.wants_start(700 * S)
    rig.recorder.work()
    assert rig.recorder.wants_start(700 * S)


def test_a_new_file_is_wanted_when_it_is_large(tmp_path: Path) -> None:
    recorder = Rig(tmp_path, megabytes=1).recorder  # an eighth of it: 125,000 octets
    recorder.begin_file(0, [STATE])
    recorder.work()
    for n in range(120):
        recorder.event(n, bytes(900))
    assert not recorder.wants_start(6 * S)
    for n in range(20):
        recorder.event(n, bytes(900))
    assert [recorder.wants_start(s * S) for s in (4, 5)] == [False, True]


class StuckDisk:
    """Writes wait until `go`."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.reached, self.go, write = threading.Event(), threading.Event(), os.write

        def wait(handle: int, octets: bytes) -> int:
            self.reached.set()
            assert self.go.wait(30)
            return write(handle, octets)

        patch.setattr("bridge.daemon.recorder_files.os.write", wait)


def test_a_disk_that_hangs_costs_entries_and_never_the_loop(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bridge.daemon.recorder.POLL_S", 0.0)
    recorder, disk = rig.recorder, StuckDisk(monkeypatch)
    recorder._backlog._most = 100 * (6 + OVERHEAD)
    recorder.begin_file(0, [STATE])
    recorder.start()
    assert disk.reached.wait(30)
    for n in range(150):
        recorder.event(n * S // 3, b"{    }")
    assert recorder.lost == 50
    assert len(rig.said) == 1, "50 s of it are one line"
    assert "too slow" in rig.said[0]
    assert not recorder.wants_start(700 * S)
    assert not recorder.close(timeout_s=0.0)
    assert "100 entries were not written" in rig.said[-1]
    disk.go.set()
    assert recorder.close(30)
    assert (recorder.kept, recorder.lost) == (100, 50)


def test_after_a_gap_a_new_file_is_wanted_soon(rig: Rig) -> None:
    recorder = rig.recorder
    recorder.begin_file(0, [STATE])
    recorder.work()
    recorder._backlog._most = 3 * OVERHEAD
    recorder.event(1 * S, bytes(3 * OVERHEAD))
    assert [recorder.wants_start(s * S) for s in (4, 5)] == [False, True]
    recorder.event(2 * S, b"{}")
    assert not recorder.wants_start(5 * S), "a state would find no room"
    recorder.work()
    rig.wall_us += 6 * S
    recorder.begin_file(6 * S, [STATE])
    recorder.work()
    assert not recorder.wants_start(11 * S), "the gap is mended"
    assert read(rig.folder)[0] == [Event(0, STATE), capture.lost(2 * S, 1), Event(2 * S, b"{}")]


def test_a_folder_that_cannot_be_asks_again_every_five_seconds(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    rig = Rig(tmp_path / "file")
    recorder = rig.recorder
    recorder.begin_file(0, [STATE])
    recorder.event(1, b"{}")
    recorder.work()
    assert [recorder.wants_start(s * S) for s in (4, 5)] == [False, True]
    assert (recorder.kept, recorder.lost, recorder.file) == (0, 1, "")
    (tmp_path / "file").unlink()
    recorder.begin_file(5 * S, [STATE])
    recorder.work()
    assert not recorder.wants_start(10 * S)
    assert read(rig.folder) == [[capture.lost(5 * S, 1), Event(5 * S, STATE)]]
    assert len(rig.said) == 1


def test_what_came_before_the_first_file_is_counted(rig: Rig) -> None:
    rig.recorder.event(1, b"{}")
    rig.recorder.begin_file(2, [STATE])
    rig.recorder.work()
    assert read(rig.folder) == [[capture.lost(2, 1), Event(2, STATE)]]
    assert rig.recorder.lost == 1


class Shaky:
    """A disk that takes `room` octets more."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.room, write = 10**9, os.write

        def limited(handle: int, octets: bytes) -> int:
            if self.room == 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            count = write(handle, octets[: self.room])
            self.room -= count
            return count

        patch.setattr("bridge.daemon.recorder_files.os.write", limited)


STEP = st.one_of(
    st.tuples(st.just("put"), st.integers(1, 40)),
    st.tuples(st.just("work"), st.just(0)),
    st.tuples(st.just("room"), st.sampled_from([0, 100, 5000, 10**9])),
    st.tuples(st.just("wait"), st.sampled_from([1, 6, 700])),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(STEP, max_size=40))
def test_every_entry_is_in_a_file_or_in_a_gap_that_a_file_tells(steps: list[tuple[str, int]]) -> None:
    with tempfile.TemporaryDirectory() as name, pytest.MonkeyPatch.context() as patch:
        rig, disk = Rig(Path(name)), Shaky(patch)
        rig.recorder._backlog._most = 30 * (OVERHEAD + 10)
        now_us, given_n = 0, 0
        for what, n in [*steps, ("room", 10**9), ("work", 0), ("wait", 6), ("put", 1), ("work", 0)]:
            now_us += n * S if what == "wait" else 0
            rig.wall_us = WALL_US + now_us
            for _ in range(n if what == "put" else 1):
                if rig.recorder.wants_start(now_us):
                    rig.recorder.begin_file(now_us, [STATE])
                if what == "put":
                    given_n += 1
                    rig.recorder.event(given_n, b'{"n": %d}' % given_n)
            if what == "work":
                rig.recorder.work()
            disk.room = n if what == "room" else disk.room
        texts = [json.loads(entry.payload) for file in read(rig.folder) for entry in file]
        kept = [text["n"] for text in texts if "n" in text]
        lost = sum(text.get("lost", 0) for text in texts)
        assert kept == sorted(set(kept))
        assert (len(kept), lost) == (rig.recorder.kept, rig.recorder.lost)
        assert len(kept) + lost == given_n
        expected = 1
        for text in texts:  # each gap stands exactly where the entries are missing
            expected += text.get("lost", 0)
            assert text.get("n", expected) == expected
            expected += "n" in text
