"""Inbox, pacer and transmission together in virtual time: one scenario per way that input or the machine misbehaves.

The loop here does what `bridge.daemon.loop` and `service` do, with a clock that is a number. Seeds are in the ids.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterable
from dataclasses import dataclass, field

import pytest

from bridge.daemon.pacer import Pacer
from bridge.door.events import Message
from bridge.door.inbox import Inbox, Refusal
from bridge.door.transmission import LISTEN_S
from bridge.wire import e131, osc
from bridge.wire.settings import SacnSettings
from tests.unit.door.stand_ins import Sender

RATE = 44.0
PERIOD = 1 / RATE


@dataclass
class World:
    """A daemon without sockets. `out` holds (time left, packet); `carried` the delay of every observation sent."""

    cost_s: tuple[float, float] = (0.0003, 0.0006)
    seed: int = 1
    now_s: float = 0.0
    out: list[tuple[float, e131.Data]] = field(default_factory=list)
    carried: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.sender = Sender(30080, settings=SacnSettings(rate=RATE))
        self.pacer = Pacer(RATE)
        self.refusals: list[Refusal] = []
        self.inbox = Inbox(["127.0.0.0/8"], self.handle, self.refusals.append)
        self.waiting: list[float] = []
        self.sender.transmission.listening_since(-LISTEN_S)
        self.sender.transmission.arm()

    def handle(self, message: Message) -> None:
        self.sender.level = message.args[0]
        self.waiting.append(message.at_s)

    def run(
        self, inputs: Iterable[tuple[float, bytes]], until_s: float, stalls: Iterable[tuple[float, float]] = ()
    ) -> None:
        """Inputs (time, datagram) in order; a stall (time, seconds) is the machine doing something else."""
        left, stalls = list(inputs), list(stalls)
        while self.now_s < until_s:
            self.now_s = max(self.now_s, min(self.pacer.due_s(), left[0][0] if left else math.inf))
            if stalls and self.now_s >= stalls[0][0]:
                self.now_s += stalls.pop(0)[1]
            while left and left[0][0] <= self.now_s:
                self.inbox.datagram(left.pop(0)[1], "127.0.0.1", self.now_s)
                while self.inbox.busy:
                    if self.inbox.work() is not None:
                        self.pacer.observe()
            if self.now_s >= self.pacer.due_s():
                self.frame()

    def frame(self) -> None:
        start_s = self.now_s
        packets = self.sender.tick(start_s)
        self.now_s += self.random.uniform(*self.cost_s)
        ready_s, sent_s = self.now_s, None
        if packets:
            self.now_s = max(self.now_s, self.pacer.allowed_s)
            self.out += [(self.now_s, packet) for packet in packets]
            self.carried += [self.now_s - at_s for at_s in self.waiting]
            self.waiting.clear()
            sent_s = self.now_s
        self.pacer.ticked(start_s, ready_s, sent_s)

    @property
    def gaps(self) -> list[float]:
        times = [at_s for at_s, _ in self.out]
        return [b - a for a, b in itertools.pairwise(times)]

    def assert_legal(self) -> None:
        """No packet early, none missing in the sequence."""
        assert min(self.gaps) >= PERIOD - 1e-9
        assert [packet.sequence for _, packet in self.out] == [n % 256 for n in range(len(self.out))]


def steady(rate_hz: float, from_s: float, to_s: float, jitter: random.Random) -> list[tuple[float, bytes]]:
    count = int((to_s - from_s) * rate_hz)
    times = sorted(from_s + (n + jitter.random()) / rate_hz for n in range(count))
    return [(at_s, osc.encode("/x", 1 + n % 250)) for n, at_s in enumerate(times)]


@pytest.mark.parametrize("seed", range(4))
def test_a_thousand_messages_a_second_leave_as_44_frames(seed: int) -> None:
    world = World(seed=seed)
    world.run(steady(1000, 0.0, 20.0, random.Random(seed)), 20.0)
    world.assert_legal()
    assert len(world.out) == pytest.approx(20 * RATE, rel=0.01)
    assert max(world.gaps) <= PERIOD + 0.0015
    assert len(world.sender.ticks) <= len(world.out) + 1
    assert max(world.carried) <= PERIOD + 0.001


@pytest.mark.parametrize("seed", range(4))
def test_a_hundred_a_second_wait_at_most_one_frame(seed: int) -> None:
    world = World(seed=seed)
    world.run(steady(100, 0.0, 20.0, random.Random(seed)), 20.0)
    world.assert_legal()
    assert sorted(world.carried)[int(0.95 * len(world.carried))] <= 0.023
    assert max(world.carried) <= PERIOD + 0.001


def test_an_observation_after_silence_leaves_with_the_cost_of_one_tick() -> None:
    world = World()
    times = [2.0 + 1.37 * n for n in range(20)]
    world.run([(at_s, osc.encode("/x", n + 1)) for n, at_s in enumerate(times)], 35.0)
    world.assert_legal()
    quick = [delay for delay in world.carried if delay <= 0.0017]
    assert len(quick) >= 18  # the others fell within a period of a keep-alive, and had to wait for its end
    assert max(world.carried) <= PERIOD + 0.001


def test_silence_is_three_repeats_and_keep_alives() -> None:
    """E1.31: unchanged data three more times, then once every 800 to 1000 ms."""
    world = World()
    world.run([], 20.0)
    world.assert_legal()
    assert [round(gap, 3) for gap in world.gaps[:3]] == [round(PERIOD, 3)] * 3
    assert all(0.8 <= gap <= 1.0 for gap in world.gaps[3:])
    assert len(world.sender.ticks) >= 20 * RATE * 0.97


def test_a_stall_is_followed_by_one_frame_and_the_newest_observation() -> None:
    world = World()
    inputs = steady(100, 0.0, 10.0, random.Random(5))
    world.run(inputs, 10.0, stalls=[(3.0, 0.5), (6.0, 2.0)])
    world.assert_legal()
    assert max(world.gaps) == pytest.approx(2.0, abs=2.5 * PERIOD)
    after = next(packet for at_s, packet in world.out if at_s >= 8.0)
    newest = [osc.decode(data)[0].args[0] for at_s, data in inputs if at_s <= 8.0][-1]
    assert abs(after.slots[0] - newest) <= 2


@pytest.mark.parametrize("seed", range(3))
def test_junk_among_the_input_changes_no_timing(seed: int) -> None:
    rng = random.Random(seed)
    inputs = steady(1000, 0.0, 10.0, rng)
    junk = [(rng.uniform(0, 10), rng.randbytes(rng.randrange(200))) for _ in range(100)]
    world = World(seed=seed)
    world.run(sorted(inputs + junk), 10.0)
    world.assert_legal()
    assert max(world.gaps) <= PERIOD + 0.0015
    assert len(world.refusals) == 100


def test_a_rig_whose_ticks_take_half_a_period_still_holds_the_rate() -> None:
    world = World(cost_s=(0.009, 0.0095))
    world.run(steady(100, 0.0, 60.0, random.Random(1)), 60.0)
    world.assert_legal()
    late = world.gaps[len(world.gaps) // 2 :]
    assert sum(late) / len(late) <= PERIOD * 1.02
