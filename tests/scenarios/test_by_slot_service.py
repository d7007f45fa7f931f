"""The service with priorities by slot: both packets of a universe leave together, at the rate of the levels."""

from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bridge.daemon.remembered import Remembered
from bridge.door.events import Event, Unsent
from bridge.door.transmission import Transmission
from bridge.wire import e131
from tests.scenarios.test_pacer_service import Bench

OURS = 110
SEND_S = 0.0004
"""What it takes to send one packet here: the clock stands still otherwise."""


class Slow(Bench):
    """Every packet takes a while to leave; `left` are (second, packet)."""

    def __init__(self, tmp_path: Path) -> None:
        super().__init__(tmp_path)
        self.left: list[tuple[float, e131.Data]] = []
        send = self.wire.send

        def later(universe: int, packet: bytearray, now_s: float) -> bool:
            self.now_s += SEND_S
            self.left.append((self.now_s, e131.parse(bytes(packet))))  # type: ignore[arg-type]
            return send(universe, packet, now_s)

        self.wire.send = later  # type: ignore[method-assign]


@pytest.fixture
def slow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Slow:
    """Armed, every slot below 100 is ours; asleep, the clock goes on by what is slept."""
    packets = Transmission.packets

    def by_slot(self: Transmission, slots: Any, now_s: float, priorities: Any = None) -> Any:
        priorities = np.zeros_like(slots)
        priorities[:, :100] = OURS
        return packets(self, slots, now_s, priorities)

    monkeypatch.setattr(Transmission, "packets", by_slot)
    bench = Slow(tmp_path)

    def sleep(seconds: float) -> None:
        bench.now_s += max(seconds, 1e-6)

    monkeypatch.setattr(time, "sleep", sleep)
    bench.service._begin(True, Remembered())
    bench.frames(1)
    assert [packet.start_code for packet in bench.wire.out] == [0xDD, 0]
    bench.say("/target/lead/position", 1.0, 3.0)
    for _ in range(4):
        bench.say("/target/lead/alive")
        bench.frames(44)
    bench.left.clear()
    return bench


def test_priorities_leave_directly_before_their_levels_and_cost_the_levels_no_rate(slow: Slow) -> None:
    for step in range(1, 101):
        slow.level(step / 100)
        slow.frames(1)
    kinds = [packet.start_code for _, packet in slow.left]
    assert kinds.count(0) == 100
    assert 2 <= kinds.count(0xDD) <= 3, "the keep-alives of 2.3 s"
    numbers = [packet.sequence for _, packet in slow.left]
    assert {(b - a) % 256 for a, b in pairwise(numbers)} == {1}
    for (at_s, packet), (next_s, _) in pairwise(slow.left):
        if packet.start_code:
            assert next_s - at_s == pytest.approx(SEND_S), "nothing between the two, no sleep either"
    levels_s = [at_s for at_s, packet in slow.left if packet.start_code == 0]
    gaps_s = np.diff(levels_s)
    assert gaps_s.min() >= 1 / 44 - 1e-6
    assert gaps_s.max() <= 1 / 44 + 2 * SEND_S + 1e-4


def test_what_the_network_did_not_take_is_told_once_and_both_go_again(slow: Slow) -> None:
    slow.frames(10)
    told: list[Event] = []
    apply = slow.service._apply
    slow.service._apply = lambda event: (told.append(event), apply(event))[1]  # type: ignore[method-assign,func-returns-value]
    slow.wire.pulled = True
    slow.level(0.5)
    slow.frames(2)
    unsent = [event.universes for event in told if isinstance(event, Unsent)]
    assert unsent == [(30090,), (30090,)]
    slow.wire.pulled = False
    slow.frames(1)
    assert [packet.start_code for packet in slow.wire.out[-2:]] == [0xDD, 0]
