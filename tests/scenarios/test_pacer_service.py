"""The service itself in virtual time: its door is real, its sockets are lists, its clock is a number."""

from __future__ import annotations

import logging
import uuid
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.daemon.beside import DeskInput
from bridge.daemon.inputs import TrackingInputs
from bridge.daemon.parts import Parts
from bridge.daemon.remembered import Remembered
from bridge.daemon.service import Service
from bridge.door.door import Door, make
from bridge.door.events import OtherSource
from bridge.wire import e131, osc
from bridge.wire.stream import safe_start
from tests.unit.door.stand_ins import CID, small_show

HOST = "127.0.0.1"
LEVEL = 4  # among the slots, the coarse one of the first head's level: channels of tests/conftest.spot_profile


class Wire:
    """An output that can be pulled out."""

    def __init__(self) -> None:
        self.out: list[e131.Data] = []
        self.tried = 0
        self.pulled = False
        self.failing: tuple[str, ...] = ()
        self.errors = self.packets = 0

    def send(self, universe: int, packet: bytearray, now_s: float) -> bool:
        self.tried += 1
        self.failing = ("wire",) if self.pulled else ()
        if not self.pulled:
            self.out.append(e131.parse(bytes(packet)))  # type: ignore[arg-type]
        return not self.pulled

    def discover(self, packets: list[bytes], now_s: float) -> None:
        pass


class Bench:
    """One universe; a performer stands still, and `level` is the master's."""

    def __init__(self, tmp_path: Path, remembered: Remembered | None = None) -> None:
        self.now_s, self.wire, self.rejoined, self.ended = 100.0, Wire(), 0, False
        self.heard: dict[int, tuple[OtherSource, ...]] = {}
        ears = SimpleNamespace(
            since_s=0.0, heard=self.heard, changed=self.listen, rejoin=self.rejoin, listen_on=lambda universes: None
        )
        self.ears = ears
        loop = SimpleNamespace(call=lambda job: job(), end=self.end)
        self.on_disk: list[dict[str, Any]] = []
        folder = SimpleNamespace(
            cid=uuid.UUID(bytes=CID),
            folder=tmp_path,
            write_live=self.on_disk.append,
            write_lasting=lambda data: None,
            write_poses=lambda data: None,
        )
        self.posted: list[tuple[bytes, Any]] = []
        sock = SimpleNamespace(sendto=lambda data, address: self.posted.append((data, address)))
        self.door = Door(make(replace(small_show([30090]), path=tmp_path)), CID)
        desk = DeskInput(loop, self.door, CID, lambda: self.now_s)  # type: ignore[arg-type]
        inputs = TrackingInputs(loop, lambda: self.now_s, CID)  # type: ignore[arg-type]
        parts = Parts(loop, sock, self.wire, ears, desk, inputs, folder)  # type: ignore[arg-type]
        self.service = Service(self.door, parts, remembered or Remembered())
        self.service._clock = lambda: self.now_s

    def listen(self, now_s: float) -> bool:
        changed, self.ears.heard = self.heard != self.ears.heard, self.heard
        return changed

    def rejoin(self) -> None:
        self.rejoined += 1

    def end(self) -> None:
        self.ended = True

    def say(self, address: str, *args: osc.Argument) -> None:
        """As the loop does with what is read."""
        self.service._heard(osc.encode(address, *args), (HOST, 50000), self.now_s)
        while self.service._inbox.busy:
            if (message := self.service._inbox.work()) is not None:
                self.service._obeyed(message)

    def level(self, level: float) -> None:
        self.say("/target/lead/alive")
        self.say("/level", level)

    def frames(self, count: int) -> None:
        for _ in range(count):
            self.now_s = max(self.now_s, self.service._pacer.due_s()) + 1e-6
            self.service._frame()

    @property
    def told(self) -> list[osc.OscMessage]:
        return [message for data, _ in self.posted for message in osc.decode(data)]


@pytest.fixture
def bench(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> Bench:
    """Armed and lit for a while."""
    logging.getLogger("tetherlight").propagate = True
    bench = Bench(tmp_path)
    bench.service._begin(True, Remembered())
    bench.frames(1)
    assert len(bench.wire.out) == 1
    bench.say("/target/lead/position", 1.0, 3.0)
    for _ in range(4):
        bench.say("/target/lead/alive")
        bench.frames(44)
    assert bench.wire.out[-1].slots[LEVEL] > 0
    return bench


def test_a_frame_that_cannot_be_made_is_said_once_a_second_and_the_next_good_one_is_sent(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.clear()
    tick = bench.door.engine.tick
    sent = len(bench.wire.out)
    with pytest.MonkeyPatch.context() as broken:
        broken.setattr(bench.door.engine, "tick", lambda now_s: 1 / 0)
        bench.frames(88)
    assert len(bench.wire.out) == sent
    assert (
        1 <= len([r for r in caplog.records if "ZeroDivisionError" in r.message and " < tick line" in r.message]) <= 3
    )
    assert bench.door.engine.tick == tick
    bench.level(0.5)
    bench.frames(1)
    assert bench.wire.out[-1].slots[LEVEL] == 128


def test_what_may_wait_cannot_stop_the_frames(
    bench: Bench, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench.service._memory, "keep", lambda now_s: 1 / 0)
    sent = len(bench.wire.out)
    for step in range(1, 100):
        bench.level(step / 100)
        bench.frames(1)
    assert [packet.slots[LEVEL] for packet in bench.wire.out[sent:]] == [
        round(step / 100 * 65535) >> 8 for step in range(1, 100)
    ]
    assert any("chore" in record.message for record in caplog.records)


def test_with_the_cable_out_every_frame_is_tried_and_the_last_look_goes_out_when_it_is_back(bench: Bench) -> None:
    bench.frames(10)
    bench.wire.pulled = True
    bench.level(0.25)
    before = bench.wire.tried
    bench.frames(44)
    assert bench.wire.tried - before == 44
    bench.wire.pulled = False
    bench.frames(1)
    assert bench.wire.out[-1].slots[LEVEL] == 64
    assert bench.rejoined == 1
    sent = bench.wire.tried
    bench.frames(10)
    assert bench.wire.tried - sent == 3, "three repeats, then silence"


def test_every_new_source_is_told_but_no_flood_of_them(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    for name, count, lines in (("few", 3, 3), ("many", 100, 9)):
        caplog.clear()
        sources = tuple(OtherSource(f"{name} {number}", "10.0.0.9", 100) for number in range(count))
        bench.heard = {30090: sources}
        bench.frames(46)
        told = [record.message for record in caplog.records if record.levelname == "ERROR"]
        assert told[:3] == [
            f'universe 30090 is now also sent by "{name} {number}" at 10.0.0.9 (priority 100)' for number in range(3)
        ]
        assert len(told) == lines
        assert count == 3 or told[-1] == "and 92 more sources"
        bench.heard = {}
        bench.frames(46)


def test_who_is_heard_counts_from_the_very_frame_that_would_be_the_first(tmp_path: Path) -> None:
    """Else what came within the last tenth of a second of the listening would be sent over."""
    bench = Bench(tmp_path)
    bench.service._begin(False, Remembered())
    bench.frames(3)
    bench.heard = {30090: (OtherSource("Desk", "10.0.0.9", 100),)}
    bench.say("/arm", 1)
    bench.frames(1)
    assert bench.wire.out == []
    assert bench.door.transmission.contest.refused == bench.heard


def test_a_sign_of_life_is_obeyed_but_makes_no_frame_due(bench: Bench) -> None:
    bench.frames(60)  # to the silence between keep-alives
    taken, due_s = bench.service._inbox.taken, bench.service._pacer.due_s()
    bench.say("/target/lead/alive")
    assert (bench.service._inbox.taken, bench.service._pacer.due_s()) == (taken + 1, due_s)
    bench.say("/level", 0.5)
    assert bench.service._pacer.due_s() < due_s


def test_what_is_refused_is_counted_logged_once_a_second_and_told_to_its_host(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    bench.say("/feed/subscribe", 7000, 10)
    caplog.clear()
    for _ in range(5):
        bench.say("/level", 2.0)
    (line,) = [record.message for record in caplog.records]
    assert line.startswith("range: ")
    assert line.endswith(f"(from {HOST})")
    (refusal,) = [message for message in bench.told if message.address == "/feed/refused"]
    assert refusal.args[:2] == ("/level", "range")
    bench.frames(5)
    (state, *_) = [message.args for message in bench.told if message.address == "/feed/bridge"]
    assert (state[0], state[5], state[7], state[10]) == (True, 0, 5, False)


def test_the_feed_says_that_the_show_is_locked(bench: Bench) -> None:
    bench.say("/lock", 1)
    bench.say("/feed/subscribe", 7000, 10)
    bench.frames(1)
    (state,) = [message.args for message in bench.told if message.address == "/feed/bridge"]
    assert state[-1] is True


def test_whoever_switched_what_lasts_hears_whether_it_is_on_disk(bench: Bench) -> None:
    bench.say("/feed/subscribe", 7000, 10)
    bench.service._kept("still", True)
    bench.service._kept("trims", False)
    kept = [message.args for message in bench.told if message.address == "/feed/kept"]
    assert kept == [("still", 1), ("trim", 0)]


def test_a_stop_ends_the_streams_and_then_the_loop_and_asking_twice_changes_nothing(bench: Bench) -> None:
    bench.service.stop()
    bench.service.stop()
    bench.frames(4)
    assert not bench.ended
    bench.frames(1)
    assert bench.ended
    assert [packet.terminated for packet in bench.wire.out[-3:]] == [True] * 3


def crashed(armed: bool) -> Remembered:
    """What nobody would write, after a crash."""
    left = {"armed": armed, "engine": {"crew": 5, "place": [1]}, "refused": [], "locked": "x"}
    return Remembered(left, {"still": {"all": {"": ["10.0.0.5"]}}}, {30090: 17}, True, 1.0)


@pytest.mark.parametrize(("was", "option"), [(True, True), (True, False), (False, True), (False, False)])
def test_after_a_crash_it_goes_on_sending_only_when_it_was_and_is_started_with_armed(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, was: bool, option: bool
) -> None:
    """interface.md, Armed or not. Sequences are safe, and a state that does not fit is survived."""
    logging.getLogger("tetherlight").propagate = True
    bench = Bench(tmp_path)
    bench.ears.since_s = 99.9
    bench.service._begin(option, crashed(was))
    bench.frames(1)
    assert [packet.sequence for packet in bench.wire.out] == ([safe_start(17)] if was and option else [])
    assert bench.door.transmission.armed is option, "armed by the option it listens first"
    (going_on,) = [record.message for record in caplog.records if "as before the crash" in record.message]
    assert going_on.endswith(", not armed") is not option
    assert bench.door.engine.crew.still.any, "what lasts is taken up whatever became of the rest"
    assert any("STILL from before: everything (by 10.0.0.5)" in record.message for record in caplog.records)


def test_trims_that_are_in_force_at_the_start_are_named(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    logging.getLogger("tetherlight").propagate = True
    bench = Bench(tmp_path)
    heads, trusses = {"foh-1": [0.5, -0.25], "gone": [1.0, 1.0]}, {"mid": [0.0, 1.0]}
    bench.service._begin(False, Remembered(lasting={"trims": {"heads": heads, "trusses": trusses}}))
    (line,) = [record.message for record in caplog.records if "TRIMS" in record.message]
    assert "in force: foh-1 by x +0.50, y -0.25 m; truss mid by x +0.00, y +1.00 m; " in line


def test_without_trims_nothing_is_said_of_them(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    logging.getLogger("tetherlight").propagate = True
    Bench(tmp_path).service._begin(False, Remembered())
    assert not [record for record in caplog.records if "TRIMS" in record.message]
