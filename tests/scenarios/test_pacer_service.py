"""The service itself in virtual time: its sockets are lists, its clock is a number."""

from __future__ import annotations

import logging
import uuid
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.daemon.service import Parts, Service
from bridge.daemon.state import Remembered
from bridge.show import load
from bridge.wire import e131
from bridge.wire.stream import safe_start
from tests.unit.daemon.stand_ins import StubEncoder, StubEngine

SHOW = Path(__file__).resolve().parents[2] / "configs" / "harbour-hall-tour"
PERIOD = 1 / 44


class Frames(StubEngine):
    """Fails where it is told to; everything the service asks beyond frames is there, and empty."""

    switches = (False, False, 1.0)

    def __init__(self) -> None:
        super().__init__()
        self.fails = self.chore_fails = False

    def tick(self, now_s: float) -> int:
        if self.fails:
            raise ZeroDivisionError
        return super().tick(now_s)

    def whole(self, now_s: float) -> dict[str, Any]:
        if self.chore_fails:
            raise ZeroDivisionError
        return {"lasting": {}}

    def lasting(self) -> dict[str, Any]:
        return {}

    def restore(self, whole: dict[str, Any], now_s: float) -> None:
        raise KeyError("from another version")

    def restore_lasting(self, lasting: dict[str, Any]) -> None:
        self.any_still = True


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
    def __init__(self, tmp_path: Path, remembered: Remembered | None = None) -> None:
        self.now_s, self.engine, self.wire, self.rejoined = 100.0, Frames(), Wire(), 0
        self.ended = False
        ears = SimpleNamespace(contests=lambda now_s: {}, since_s=0.0, listen=lambda: None, rejoin=self.rejoin)
        loop = SimpleNamespace(call=lambda job: job(), end=self.end)
        folder = SimpleNamespace(
            cid=uuid.uuid4(), write_live=lambda d: None, write_lasting=lambda d: None, write_poses=lambda d: None
        )
        parts = Parts(loop, None, self.wire, ears, folder)  # type: ignore[arg-type]
        show = replace(load(SHOW), path=tmp_path)
        self.service = Service(
            show, self.engine, StubEncoder(30090), None, parts, remembered or Remembered()  # type: ignore[arg-type]
        )  # fmt: skip
        self.service._clock = lambda: self.now_s

    def rejoin(self) -> None:
        self.rejoined += 1

    def end(self) -> None:
        self.ended = True

    def frames(self, count: int) -> None:
        for _ in range(count):
            self.now_s = max(self.now_s, self.service._pacer.due_s()) + 1e-6
            self.service._frame()


@pytest.fixture
def bench(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> Bench:
    logging.getLogger("tetherlight").propagate = True
    bench = Bench(tmp_path)
    bench.service._begin(True, Remembered())
    bench.frames(1)
    assert len(bench.wire.out) == 1
    return bench


def test_a_frame_that_cannot_be_made_is_said_once_a_second_and_the_next_good_one_is_sent(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.clear()
    bench.engine.fails = True
    bench.frames(88)
    assert 1 <= len([r for r in caplog.records if "ZeroDivisionError() in tick line" in r.message]) <= 3
    bench.engine.fails, bench.engine.level = False, 7
    bench.frames(1)
    assert bench.wire.out[-1].slots[0] == 7


def test_what_may_wait_cannot_stop_the_frames(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    bench.engine.chore_fails = True
    for level in range(1, 100):
        bench.engine.level = level
        bench.frames(1)
    assert [packet.slots[0] for packet in bench.wire.out[-99:]] == list(range(1, 100))
    assert any("chore" in record.message for record in caplog.records)


def test_with_the_cable_out_every_frame_is_tried_and_the_last_look_goes_out_when_it_is_back(bench: Bench) -> None:
    bench.frames(10)
    bench.wire.pulled, bench.engine.level = True, 9
    before = bench.wire.tried
    bench.frames(44)
    assert bench.wire.tried - before == 44
    bench.wire.pulled = False
    bench.frames(1)
    assert bench.wire.out[-1].slots[0] == 9
    assert bench.rejoined == 1
    sent = bench.wire.tried
    bench.frames(10)
    assert bench.wire.tried - sent == 3, "three repeats, then silence"


def test_a_stop_ends_the_streams_and_then_the_loop_and_asking_twice_changes_nothing(bench: Bench) -> None:
    bench.service.stop()
    bench.service.stop()
    bench.frames(4)
    assert not bench.ended
    bench.frames(1)
    assert bench.ended
    assert [packet.terminated for packet in bench.wire.out[-3:]] == [True] * 3


def test_after_a_crash_sequences_are_safe_and_a_state_that_does_not_fit_is_survived(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    remembered = Remembered(live={"x": 1}, lasting={"y": 1}, sequences={30090: 17}, armed=True, crashed=True)
    bench = Bench(tmp_path, remembered)
    bench.service._begin(False, remembered)
    bench.frames(1)
    assert [packet.sequence for packet in bench.wire.out] == [safe_start(17)]
    assert any("does not fit" in record.message for record in caplog.records)
    assert bench.engine.any_still, "what lasts is taken up whatever became of the rest"
