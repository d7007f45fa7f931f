"""Beside a desk: priorities by slot, universes that wait for it, and how streams end above it. In virtual time."""

from __future__ import annotations

import json

import numpy as np
import pytest

from bridge.door.events import OtherSource
from bridge.door.transmission import LISTEN_S, Out, Phase
from bridge.wire import e131
from bridge.wire.settings import SacnSettings
from tests.unit.door.stand_ins import DESK, PERIOD, Sender, data_of

LOUD = OtherSource("Loud", "10.0.0.7", 150)


def armed(*universes: int, waiting: dict[int, int] | None = None, live: bool = True) -> Sender:
    """Armed since 0 s on these; `live`: they are lit and sent since 2 s."""
    bench = Sender(*universes)
    bench.transmission.listening_since(0.0)
    assert bench.transmission.hold_back(waiting or {}, 0.0) == ()
    bench.transmission.arm()
    bench.level = 200
    if live:
        bench.tick(2.0)
    return bench


def ending(bench: Sender, now_s: float) -> list[list[tuple[int, bool, int]]]:
    """Until the end, each tick's (universe, terminated, sequence)."""
    ticks = []
    while not bench.transmission.ended:
        now_s += PERIOD
        assert len(ticks) < 20
        ticks.append([(p.universe, p.terminated, p.sequence) for p in bench.tick(now_s)])
    return ticks


def test_above_a_desk_streams_end_at_once_and_the_others_dark_first() -> None:
    bench = armed(1, 2, 3)
    bench.transmission.disarm(desk_below={2})
    assert ending(bench, 2.0) == [
        [(1, False, 1), (3, False, 1), (2, True, 1)],
        [(1, False, 2), (3, False, 2), (2, True, 2)],
        [(1, True, 3), (3, True, 3), (2, True, 3)],
        [(1, True, 4), (3, True, 4)],
        [(1, True, 5), (3, True, 5)],
    ]
    assert [bench.transmission.sequences[u] for u in (1, 2, 3)] == [6, 4, 6]


def test_above_a_desk_everywhere_the_end_takes_three_ticks() -> None:
    bench = armed(1, 2)
    bench.transmission.disarm(desk_below=[1, 2, 77])
    assert ending(bench, 2.0) == [[(1, True, n), (2, True, n)] for n in (1, 2, 3)]
    assert bench.transmission.phase is Phase.OFF
    bench.transmission.arm()
    assert [(p.universe, p.sequence) for p in bench.tick(9.0)] == [(1, 4), (2, 4)]


def test_an_end_that_is_asked_for_twice_is_that_of_the_first() -> None:
    bench = armed(1)
    bench.transmission.disarm(desk_below=[1])
    first = bench.tick(2.1)
    bench.transmission.disarm()
    assert [p.terminated for p in first] == [True]
    assert [len(tick) for tick in ending(bench, 2.1)] == [1, 1]


@pytest.mark.parametrize("at", range(5))
def test_the_state_in_the_middle_of_an_end_goes_on_byte_for_byte(at: int) -> None:
    bench, fresh = armed(1, 2, 3, waiting={3: 103}), Sender(1, 2, 3)
    bench.transmission.disarm(desk_below={2})
    ticks = []
    for number in range(5):
        if number == at:
            fresh.transmission.restore(json.loads(json.dumps(bench.transmission.state())))
        ticks.append(_octets(bench.out(3.0 + number * PERIOD)))
        if number >= at:
            assert _octets(fresh.out(3.0 + number * PERIOD)) == ticks[-1]
    assert [len(tick) for tick in ticks] == [2, 2, 2, 1, 1]
    assert fresh.transmission.ended
    assert bench.transmission.ended


def _octets(out: Out) -> list[bytes]:
    return [bytes(packet) for _, packet in out.packets]


def test_a_universe_that_a_new_show_leaves_ends_at_once_above_a_desk() -> None:
    bench, dark = armed(1, 2, 3), np.zeros((3, 512), np.uint8)
    bench.transmission.take((1,), SacnSettings(), dark, 2.1, desk_below={2})
    seen = [[(p.universe, p.terminated) for p in bench.tick(2.1 + n * PERIOD) if p.universe > 1] for n in range(6)]
    assert seen == [
        *[[(2, True), (3, False)]] * 2,
        [(2, True), (3, True)],
        *[[(3, True)]] * 2,
        [],
    ]
    assert [bench.transmission.sequences[u] for u in (2, 3)] == [4, 6]


def test_a_stop_while_a_universe_is_being_left_waits_for_its_last_packet() -> None:
    bench, dark = armed(1, 2), np.zeros((2, 512), np.uint8)
    bench.transmission.take((1,), SacnSettings(), dark, 2.1)
    bench.transmission.disarm(desk_below={1})
    assert ending(bench, 2.1) == [
        [(2, False, 1), (1, True, 1)],
        [(2, False, 2), (1, True, 2)],
        [(2, True, 3), (1, True, 3)],
        [(2, True, 4)],
        [(2, True, 5)],
    ]


def test_a_universe_that_waits_for_the_desk_is_not_sent_and_said_once() -> None:
    bench = armed(1, 2, 3, waiting={1: 101, 3: 3})
    assert bench.universes(2.1) == [2]
    assert bench.texts == [
        "ARMED: sending universes 2, waiting for the desk on universes 3, 101 under 1. Heads move without warning."
    ]
    assert [row[:2] for row in bench.transmission.rows()] == [(1, "waiting"), (2, "sent"), (3, "waiting")]
    assert bench.transmission.hold_back({1: 101, 3: 3}, 2.2) == ()
    assert bench.texts == []


def test_once_the_desk_is_heard_its_universe_begins_and_the_others_keep_their_spacing() -> None:
    bench = armed(1, 2, waiting={1: 101})
    bench.news.take()
    assert bench.transmission.hold_back({}, 2.0 + PERIOD / 4) == (1,)
    assert bench.texts == ["the desk is heard on universe 101 under 1: sending universes 1 from now on"]
    assert bench.universes(2.0 + PERIOD / 2) == [1]
    assert [(p.universe, p.sequence) for p in bench.tick(2.0 + PERIOD)] == [(2, 1)]
    assert [row[1] for row in bench.transmission.rows()] == ["sent", "sent"]
    assert bench.transmission.hold_back({}, 2.2) == ()


def test_where_all_wait_nothing_is_sent_and_an_end_is_quiet() -> None:
    bench = armed(1, waiting={1: 101})
    (text,) = bench.texts
    assert text == (
        "ARMED: nothing is sent yet, waiting for the desk on universe 101 under 1. Heads move without warning."
    )
    assert bench.out(2.5) == ([], [])
    bench.transmission.disarm()
    assert [tick for tick in ending(bench, 2.5) if tick] == []


def test_a_desk_that_is_heard_before_it_is_armed_makes_nothing_wait() -> None:
    bench = armed(1, waiting={1: 101}, live=False)
    assert bench.tick(LISTEN_S - 0.1) == []
    assert bench.transmission.hold_back({}, LISTEN_S - 0.1) == (), "it begins with the others"
    assert bench.universes(LISTEN_S) == [1]


def test_a_universe_that_waits_and_is_contested_by_then_is_refused() -> None:
    bench = armed(1, 2, waiting={1: 101})
    bench.transmission.hear({1: (DESK,)}, 2.5)
    bench.news.take()
    assert bench.transmission.hold_back({}, 3.0) == ()
    (text,) = bench.texts
    assert text.startswith('universe 1 is NOT SENT: "Desk"')
    assert [row[1] for row in bench.transmission.rows()] == ["refused", "sent"]
    assert bench.universes(3.0) == [2], "its keep-alive"


def test_what_was_refused_when_armed_does_not_begin_by_itself() -> None:
    bench = armed(1, 2, waiting={1: 101}, live=False)
    bench.transmission.hear({1: (DESK,)}, 0.5)
    bench.tick(2.0)
    bench.transmission.hear({}, 3.0)
    assert bench.transmission.hold_back({}, 3.1) == ()
    assert bench.transmission.universes == (2,)


def test_a_universe_that_has_to_wait_again_pauses_and_its_numbers_go_on() -> None:
    bench = armed(1, 2)
    assert bench.transmission.hold_back({1: 101}, 2.1) == ()
    assert bench.universes(2.2) == [2]
    assert bench.transmission.hold_back({}, 3.0) == (1,)
    assert (1, 1) in [(p.universe, p.sequence) for p in bench.tick(3.1)]


def test_after_a_crash_waiting_universes_wait() -> None:
    bench = Sender(1, 2)
    bench.transmission.hold_back({2: 102}, 0.0)
    bench.transmission.resume()
    assert bench.universes(0.1) == [1]
    assert bench.texts == [
        "ARMED: sending universes 1, waiting for the desk on universe 102 under 2. Heads move without warning."
    ]
    assert bench.transmission.hold_back({}, 0.5) == (2,)


def test_priorities_go_with_the_rows_that_are_sent_under_a_packet_priority_of_nought() -> None:
    bench = Sender(1, 2, by_slot=True)
    bench.transmission.listening_since(0.0)
    bench.transmission.contest.expect([1])
    bench.transmission.hear({1: (LOUD,)}, 1.0)
    bench.transmission.arm()
    bench.transmission.open(2.0)
    assert bench.transmission.universes == (2,)
    slots, priorities = np.zeros((2, 2, 512), np.uint8)
    slots[:, 4], priorities[:, 4] = 77, [110, 111]
    seen = data_of(bench.transmission.packets(slots, 2.0, priorities))
    assert [(p.universe, p.priority, p.start_code, p.sequence, p.slots[4]) for p in seen] == [
        (2, 0, 0xDD, 0, 111),
        (2, 0, 0, 1, 77),
    ]


def test_by_slot_and_back_is_one_source_whose_numbers_go_on() -> None:
    bench, slots = armed(1), np.full((1, 512), 50, np.uint8)
    settings = SacnSettings()
    seen = []
    for step, by_slot in enumerate((True, False)):
        bench.transmission.take((1,), settings, slots, 3.0 + step, by_slot=by_slot)
        out = bench.transmission.packets(slots, 3.0 + step, slots if by_slot else None)
        seen += [(p.start_code, p.priority, p.sequence, p.cid == bytes(range(16))) for p in data_of(out)]
    assert seen == [(0xDD, 0, 1, True), (0, 0, 2, True), (0, settings.priority, 3, True)]


def test_an_end_by_slot_sends_levels_alone() -> None:
    bench = Sender(1, by_slot=True)
    bench.transmission.listening_since(0.0)
    bench.transmission.arm()
    bench.transmission.open(2.0)
    slots = np.full((1, 512), 50, np.uint8)
    bench.transmission.packets(slots, 2.0, slots)
    bench.transmission.disarm()
    packets: list[e131.Data] = []
    for tick in range(5):
        packets += data_of(bench.transmission.end(0 * slots, 3.0 + tick))
    assert [(p.start_code, p.terminated, p.sequence) for p in packets] == [
        *((0, False, n) for n in (2, 3)),
        *((0, True, n) for n in (4, 5, 6)),
    ]
