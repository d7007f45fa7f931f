"""Priorities by slot beside the levels, in virtual time (facts/protocols.md; start code 0xDD is common practice)."""

from __future__ import annotations

import json

import numpy as np
import pytest

from bridge.wire import e131
from bridge.wire.stream import KEEP_ALIVE_S, REPEATS, Streams

CID = bytes(range(16))
FRAME_S = 1 / 44
OURS = 110


class Sent:
    """Streams with priorities; `send` gives (universe, start code, sequence, first slot) of what leaves."""

    def __init__(self, universes: int = 2, **more: object) -> None:
        self.streams = Streams(range(1, universes + 1), CID, "x", 0, **more)  # type: ignore[arg-type]
        self.slots, self.priorities = np.zeros((2, universes, 512), np.uint8)
        self.priorities[:, :3] = OURS
        self.at_s: list[tuple[float, int]] = []

    def send(self, now_s: float) -> list[tuple[int, int, int, int]]:
        out = []
        for universe, packet in self.streams.packets(self.slots, now_s, self.priorities):
            data = e131.parse(bytes(packet))
            assert isinstance(data, e131.Data)
            assert (data.universe, data.priority, len(data.slots)) == (universe, 0, 512)
            out.append((universe, data.start_code, data.sequence, data.slots[0]))
            self.at_s.append((now_s, data.start_code))
        return out

    def rest(self, now_s: float) -> float:
        """Until only keep-alives are left."""
        for _ in range(REPEATS + 1):
            assert self.send(now_s)
            now_s += FRAME_S
        assert self.send(now_s) == []
        return now_s + FRAME_S


def test_priorities_go_directly_before_the_first_levels_in_one_sequence() -> None:
    assert Sent().send(0.0) == [(1, 0xDD, 0, OURS), (1, 0, 1, 0), (2, 0xDD, 0, OURS), (2, 0, 1, 0)]


def test_a_packet_of_priorities_is_one_of_levels_but_for_its_start_code_and_slots() -> None:
    levels = bytes(e131.DataPacket(CID, "x", 0, 7, 9).pack(bytes(512), 5))
    by_slot = bytes(e131.DataPacket(CID, "x", 0, 7, 9, start_code=0xDD).pack(bytes([200]) * 512, 5))
    assert [at for at in range(638) if by_slot[at] != levels[at]] == list(range(125, 638))
    data = e131.parse(by_slot)
    assert isinstance(data, e131.Data)
    assert (data.start_code, data.slots) == (0xDD, bytes([200]) * 512)


def test_a_change_of_priorities_alone_sends_them_and_the_levels_with_all_repeats() -> None:
    sent = Sent()
    now_s = sent.rest(0.0)
    sent.priorities[1, 2] = 0
    frames = [[(u, code) for u, code, _, _ in sent.send(now_s + n * FRAME_S)] for n in range(REPEATS + 2)]
    assert frames == [[(2, 0xDD), (2, 0)]] * (REPEATS + 1) + [[]]


def test_levels_that_flow_carry_no_priorities_but_for_the_repeats_and_the_keep_alive() -> None:
    """44 a second for 20 s: never longer without priorities than a keep-alive, and not often either."""
    sent = Sent(1)
    for frame in range(880):
        sent.slots[0, 0] = frame % 256
        sent.send(frame * FRAME_S)
    times_s = np.array([at_s for at_s, code in sent.at_s if code == 0xDD])
    assert times_s[:4] == pytest.approx([n * FRAME_S for n in range(4)]), "the first ones with their repeats"
    assert np.diff(times_s)[3:].min() > 0.8
    assert np.diff(times_s).max() <= KEEP_ALIVE_S
    assert sum(code == 0 for _, code in sent.at_s) == 880


@pytest.mark.parametrize("rate", [44.0, 10.0, 2.0, 0.5])
@pytest.mark.parametrize("seed", [1, 2])
def test_priorities_are_never_older_than_a_keep_alive_whenever_levels_come(rate: float, seed: int) -> None:
    """A loop that wakes at `next_due_s` and at changes at random moments; every packet counts on by one."""
    rng, sent, now_s, numbers = np.random.default_rng(seed), Sent(1, rate=rate), 0.0, []
    change_s = 0.0
    while now_s < 60.0:
        numbers += [number for _, _, number, _ in sent.send(now_s)]
        assert sent.streams.next_due_s > now_s, "never spins"
        if now_s >= change_s:
            change_s = now_s + rng.exponential(0.5)
        now_s = min(sent.streams.next_due_s, change_s)
        if now_s == change_s:
            sent.slots[0, 0] += 1
    assert numbers == [n % 256 for n in range(len(numbers))]
    times_s = [at_s for at_s, code in sent.at_s if code == 0xDD]
    assert np.diff(times_s).max() <= max(KEEP_ALIVE_S, 1 / rate) + 1e-6
    assert np.diff([at_s for at_s, code in sent.at_s if code == 0]).min() >= 1 / rate - 2e-6, "levels keep their rate"
    assert all((at_s, 0) in sent.at_s for at_s in times_s), "never without levels"


def test_a_change_of_priorities_within_the_period_waits_for_its_end() -> None:
    sent = Sent(1)
    sent.send(0.0)
    sent.priorities[0, 0] = 0
    assert sent.send(0.5 * FRAME_S) == []
    sent.priorities[0, 0] = OURS
    assert sent.send(FRAME_S) == [(1, 0xDD, 2, OURS), (1, 0, 3, 0)], "what holds now goes out"


def test_what_the_network_did_not_take_goes_again_with_its_priorities() -> None:
    sent = Sent()
    now_s = sent.rest(0.0)
    sent.slots[1, 0] = 1
    assert [code for _, code, _, _ in sent.send(now_s)] == [0]
    sent.streams.unsent(2)
    assert [(u, code) for u, code, _, _ in sent.send(now_s + FRAME_S)] == [(2, 0xDD), (2, 0)]


def test_terminated_packets_are_levels_and_a_new_start_begins_with_priorities() -> None:
    sent = Sent(1)
    sent.send(0.0)
    ended = [e131.parse(bytes(p)) for _, p in sent.streams.terminate(sent.slots, 0.1)]
    assert [(p.terminated, p.start_code, p.sequence) for p in ended if isinstance(p, e131.Data)] == [
        (True, 0, number) for number in (2, 3, 4)
    ]
    assert sent.send(0.2) == [(1, 0xDD, 5, OURS), (1, 0, 6, 0)]


def test_only_some_universes_are_terminated_and_the_others_go_on() -> None:
    sent = Sent(3)
    now_s = sent.rest(0.0)
    ended = sent.streams.terminate(sent.slots, now_s, [3, 1, 9])
    assert [(u, p[112]) for u, p in ended] == [(1, 0x40), (3, 0x40)] * 3
    sent.slots[1, 0] = 5
    packets = sent.send(now_s)
    assert [row for row in packets if row[0] == 2] == [(2, 0, 8, 5)], "its priorities are not due"
    assert [row[:2] for row in packets if row[0] != 2] == [(1, 0xDD), (1, 0), (3, 0xDD), (3, 0)], "as new"


def test_synchronisation_comes_last_after_both_kinds() -> None:
    sent = Sent(1, synchronise=500)
    packets = sent.streams.packets(sent.slots, 0.0, sent.priorities)
    assert [universe for universe, _ in packets] == [1, 1, 500]
    assert {bytes(p[109:111]) for _, p in packets[:2]} == {(500).to_bytes(2, "big")}


def test_its_state_through_json_goes_on_byte_for_byte() -> None:
    sent, fresh = Sent(2, synchronise=9), Sent(2, synchronise=9)
    rng, now_s = np.random.default_rng(3), 0.0
    for frame in range(300):
        now_s += rng.exponential(0.1)
        if frame % 5 == 0:
            sent.priorities[frame % 2, frame % 9] ^= OURS
        if frame % 3 == 0:
            sent.slots[frame % 2, 0] += 1
        if frame % 7 == 0:
            fresh.streams.restore(json.loads(json.dumps(sent.streams.state())))
        both = [s.streams.packets(sent.slots, now_s, sent.priorities) for s in (sent, fresh)]
        assert [(u, bytes(p)) for u, p in both[0]] == [(u, bytes(p)) for u, p in both[1]]


def test_other_streams_of_the_same_source_take_over_what_was_said() -> None:
    sent = Sent(2)
    now_s = sent.rest(0.0)
    fewer = Streams([2], CID, "x", 0, sequences=sent.streams.sequences)
    fewer.go_on_from(sent.streams)
    assert fewer.packets(sent.slots[1:], now_s, sent.priorities[1:]) == []
    more = Streams([2, 3], CID, "x", 0, sequences=fewer.sequences)
    more.go_on_from(fewer)
    packets = more.packets(sent.slots, now_s, sent.priorities)
    assert [(u, p[125]) for u, p in packets] == [(3, 0xDD), (3, 0)]


def test_without_priorities_nothing_is_said_of_them_any_more() -> None:
    sent = Sent(1)
    now_s = sent.rest(0.0)
    alone = Streams([1], CID, "x", 0)
    for frame in range(200):
        packets = [*sent.streams.packets(sent.slots, now_s + frame * FRAME_S)]
        assert all(p[125] == 0 for _, p in [*packets, *alone.packets(sent.slots, now_s + frame * FRAME_S)])
    assert sent.streams.state()["by_slot"] is None
