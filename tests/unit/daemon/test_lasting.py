"""What lasts is on disk for sure and first; of two, the newer; and whoever switched it hears what became of it."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from bridge.daemon import lasting, state_file
from bridge.daemon.boot import Moment
from bridge.daemon.lasting import Lasting
from bridge.daemon.memory import Memory
from bridge.daemon.remembered import digest
from bridge.daemon.state import StateFolder
from bridge.daemon.worker import Worker
from tests.unit.door.stand_ins import say, small_door

LONG_S = 10.0


class Disk:
    """Writes when `let` is set, fails while `full`; keeps what was written and told."""

    def __init__(self) -> None:
        self.let, self.busy, self.often, self.heard = (threading.Event() for _ in range(4))
        self.full = False
        self.tried: list[Mapping[str, Any]] = []
        self.told: list[tuple[str, bool]] = []
        self.lasting = Lasting(self.write, self.tell)

    def write(self, parts: Mapping[str, Any], moment: Moment) -> None:
        self.busy.set()
        assert self.let.wait(LONG_S)
        self.tried.append(parts)
        if len(self.tried) == 3:
            self.often.set()
        if self.full:
            raise OSError("no space")

    def tell(self, part: str, on_disk: bool) -> None:
        self.told.append((part, on_disk))
        self.heard.set()

    def keep(self, **parts: object) -> None:
        self.lasting.keep(parts, Moment("b", 1.0))


def test_what_was_not_written_yet_is_replaced_by_the_newest() -> None:
    disk = Disk()
    disk.keep(still=0)
    assert disk.busy.wait(LONG_S)
    disk.keep(still=1)
    disk.keep(still=2)
    disk.keep(still=2)
    disk.let.set()
    disk.lasting.stop()
    assert disk.tried == [{"still": 0}, {"still": 2}]
    assert disk.told == [("still", True)], "of the change, not of how it was at first"


def test_only_parts_that_changed_are_told_and_what_is_so_already_is_not_written_again() -> None:
    disk = Disk()
    disk.let.set()
    disk.keep(still=0, dark=False)
    assert disk.busy.wait(LONG_S)
    disk.keep(still=0, dark=False)
    disk.keep(still=0, dark=True)
    disk.lasting.stop()
    assert disk.tried == [{"still": 0, "dark": False}, {"still": 0, "dark": True}]
    assert disk.told == [("dark", True)]


def test_a_full_disk_is_told_once_and_tried_again_until_it_takes_it(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    monkeypatch.setattr(lasting, "RETRY_S", 0.001)
    disk = Disk()
    disk.let.set()
    disk.full = True
    disk.keep(still=1)
    assert disk.often.wait(LONG_S)
    assert disk.told == [("still", False)]
    disk.heard.clear()
    disk.full = False
    assert disk.heard.wait(LONG_S)
    disk.lasting.stop()
    assert disk.told == [("still", False), ("still", True)]
    assert [record.message.split(":")[0] for record in caplog.records] == [
        "NOT ON DISK, a crash would lose it",
        "on disk now",
    ]


def test_a_lasting_state_is_synced_before_it_takes_its_name_and_so_is_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, done = StateFolder(tmp_path / "state", tmp_path), []
    sync, move = os.fsync, os.replace
    names = "/proc/self/fd/{}"
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append(os.readlink(names.format(handle))), sync(handle)))
    monkeypatch.setattr(os, "replace", lambda a, b: (done.append("rename"), move(a, b)))
    folder.write_lasting({"door": {}})
    assert done == [str(folder.folder / "lasting.new"), "rename", str(folder.folder)]
    folder.close()


def test_of_two_jobs_of_one_key_the_newer_is_done() -> None:
    worker, let, done = Worker(), threading.Event(), []
    worker.do(lambda: let.wait(LONG_S) and None)
    for number in range(3):
        worker.latest("state", lambda number=number: done.append(number))
    let.set()
    worker.stop()
    assert done == [2]


def test_what_was_switched_is_handed_on_at_once_and_not_behind_other_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker is stuck here, as behind a sighting on a slow disk, and no frame comes."""
    folder, door, worker, let = StateFolder(tmp_path / "state", tmp_path), small_door(), Worker(), threading.Event()
    told: list[tuple[str, bool]] = []
    all_told = threading.Event()

    def tell(part: str, on_disk: bool) -> None:
        told.append((part, on_disk))
        if len(told) == 6:
            all_told.set()

    written, write = threading.Event(), folder.write_lasting
    monkeypatch.setattr(folder, "write_lasting", lambda data: (write(data), written.set()))
    memory = Memory(folder, door, worker, lambda: Moment("b", 5.0), tell)

    def obey(address: str, *args: object) -> None:
        say(door, 1.0, address, *args)
        memory.obeyed(address)

    worker.do(lambda: let.wait(LONG_S) and None)
    memory.switch()
    assert written.wait(LONG_S)
    written.clear()
    obey("/level", 0.5)
    memory.switch()
    for address, *args in (
        ("/arm", 1),
        ("/fixture/foh-1/still", 1),
        ("/dark", 1),
        ("/fixture/foh-2/out", 1),
        ("/truss/mid/trim", 0.5, 0.25),
    ):
        obey(address, *args)
    memory.switch()
    assert all_told.wait(LONG_S)
    data, doubt = state_file.read(folder.folder / "lasting.json")
    assert data is not None
    assert data.pop("digest") == digest(data)
    assert (data, doubt) == (
        {
            "version": 1,
            "boot": "b",
            "boot_s": 5.0,
            "door": {
                "still": {"all": {}, "truss": {}, "fixture": {"foh-1": ["127.0.0.1"]}},
                "trims": {"heads": {}, "trusses": {"mid": [0.5, 0.25]}},
                "dark": True,
                "out": ["foh-2"],
                "angles": {"foh-1": door.lasting()["angles"]["foh-1"]},
                "armed": True,
            },
        },
        "",
    )
    assert sorted(told) == [(part, True) for part in ("angles", "armed", "dark", "out", "still", "trims")]
    let.set()
    memory.goodbye()
    worker.stop()
    folder.close()


@pytest.mark.parametrize(
    ("address", "at_once"),
    [
        ("/arm", True),
        ("/dark", True),
        ("/still", True),
        ("/truss/foh/still", True),
        ("/fixture/foh-1/still", True),
        ("/fixture/foh-1/out", True),
        ("/fixture/foh-1/trim", True),
        ("/truss/foh/trim", True),
        ("/level", False),
        ("/target/lead/position", False),
        ("/target/dark/alive", False),
    ],
)
def test_which_addresses_are_on_disk_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str, at_once: bool
) -> None:
    folder, worker, asked = StateFolder(tmp_path / "state", tmp_path), Worker(), list[dict[str, Any]]()
    door = small_door()
    memory = Memory(folder, door, worker, lambda: Moment("b", 5.0), lambda part, on_disk: None)
    memory.switch()
    monkeypatch.setattr(memory._lasting, "keep", lambda parts, moment: asked.append(parts))
    memory.obeyed(address)
    memory.switch()
    assert asked == ([door.lasting()] if at_once else [])
    memory.goodbye()
    worker.stop()
    folder.close()


def test_a_live_state_is_kept_every_second_and_sooner_after_what_was_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, worker, kept = StateFolder(tmp_path / "state", tmp_path), Worker(), list[str]()
    monkeypatch.setattr(worker, "latest", lambda key, job: kept.append(key))
    memory = Memory(folder, small_door(), worker, lambda: Moment("b", 5.0), lambda part, on_disk: None)
    assert [step for step in range(400) if memory.keep(step / 100)] == [0, 100, 200, 300]
    memory.obeyed("/target/lead/position")
    assert not memory.keep(3.99), "a place comes all the time"
    memory.obeyed("/level")
    assert memory.keep(4.0)
    memory.obeyed("/level")
    assert [step for step in range(401, 520) if memory.keep(step / 100)] == [410, 510]
    assert kept == ["live state"] * 7
    memory.goodbye()
    worker.stop()
    folder.close()


def test_after_a_goodbye_the_next_start_is_a_fresh_one_but_for_what_lasts(tmp_path: Path) -> None:
    folder, worker, door = StateFolder(tmp_path / "state", tmp_path), Worker(), small_door()
    memory = Memory(folder, door, worker, lambda: Moment("b", 5.0), lambda part, on_disk: None)
    say(door, 1.0, "/dark", 1)
    say(door, 1.0, "/still", 1)
    memory.keep(1.0)
    memory.goodbye()
    worker.stop()
    found = folder.remember(Moment("b", 5.1))
    assert (found.live, found.crashed, found.warnings) == (None, False, ())
    assert found.lasting is not None
    assert "dark" not in found.lasting
    assert found.lasting["still"]["all"] == {"": ["127.0.0.1"]}
    folder.close()


def test_what_is_switched_before_the_first_write_is_told_as_well() -> None:
    disk = Disk()
    disk.let.set()
    with disk.lasting._wake:  # the thread has not come to it yet
        disk.keep(still=0, dark=0)
        disk.keep(still=1, dark=0)
    disk.lasting.stop()
    assert disk.told == [("still", True)]
