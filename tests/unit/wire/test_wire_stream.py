"""What goes out and when, in virtual time; the counts of the standard itself are in tests/standards/test_e131.py."""

from __future__ import annotations

import numpy as np
import pytest

from bridge.wire import e131
from bridge.wire.stream import KEEP_ALIVE_S, SYNC_KEY, Streams

CID = bytes(range(16))
FRAME_S = 1 / 44


def streams(universes: int = 2, **more: object) -> tuple[Streams, np.ndarray]:
    return Streams(range(1, universes + 1), CID, "x", 100, **more), np.zeros((universes, 512), np.uint8)  # type: ignore[arg-type]


def idle(out: Streams, slots: np.ndarray, now_s: float) -> float:
    """Send until only keep-alives are left; returns the time then."""
    for _ in range(4):
        out.packets(slots, now_s)
        now_s += FRAME_S
    return now_s


def test_only_what_changed_is_sent() -> None:
    out, slots = streams(3)
    now_s = idle(out, slots, 0.0)
    assert out.packets(slots, now_s) == []
    slots[1, 511] = 1
    ((universe, packet),) = out.packets(slots, now_s)
    assert (universe, packet[637]) == (2, 1)


def test_a_change_within_the_period_is_held_and_goes_when_it_is_over() -> None:
    out, slots = streams(1)
    now_s = idle(out, slots, 0.0)
    slots[0, 0] = 1
    assert len(out.packets(slots, now_s)) == 1
    slots[0, 0] = 2
    assert out.packets(slots, now_s + 0.5 * FRAME_S) == []
    assert out.next_due_s == pytest.approx(now_s + FRAME_S)
    ((_, packet),) = out.packets(slots, out.next_due_s)
    assert packet[126] == 2


def test_a_change_taken_back_within_the_period_is_still_sent_as_what_holds_now() -> None:
    out, slots = streams(1)
    now_s = idle(out, slots, 0.0)
    slots[0, 0] = 1
    out.packets(slots, now_s)
    slots[0, 0] = 0
    out.packets(slots, now_s + 0.2 * FRAME_S)
    ((_, packet),) = out.packets(slots, now_s + FRAME_S)
    assert packet[126] == 0


def test_a_stall_is_followed_by_one_packet_not_by_a_burst() -> None:
    out, slots = streams(1)
    sent = [len(out.packets(slots, t)) for t in (0.0, 5.0, 5.001, 5.002, 5.003)]
    assert sent == [1, 1, 0, 0, 0]


def test_the_next_due_time_alone_keeps_a_still_show_alive() -> None:
    """A loop that sleeps until `next_due_s` sends at the right moments, and never spins."""
    out, slots = streams(2)
    now_s, calls, sent_s = 0.0, 0, []
    while now_s < 10.0:
        sent_s += [now_s] if out.packets(slots, now_s) else []
        assert out.next_due_s > now_s
        now_s, calls = out.next_due_s, calls + 1
    assert calls == len(sent_s)
    assert np.allclose(np.diff(sent_s)[3:], KEEP_ALIVE_S)


def test_keep_alives_that_are_almost_due_go_together() -> None:
    """Universes that came to rest at 60 different moments do not wake the loop 60 times in 0.9 s."""
    out, slots = streams(60)
    now_s = 0.0
    for row in range(60):  # one universe after the other moves and comes to rest
        slots[row, 0] = 1
        now_s = idle(out, slots, now_s) + 0.013
    wakes, sent_s = 0, {u: [t] for u, t in zip(out.universes, out.last_sent_s.tolist(), strict=True)}
    while now_s < 20.0:
        now_s, packets = out.next_due_s, out.packets(slots, out.next_due_s)
        assert packets
        wakes += now_s >= 15.0
        for universe, _ in packets:
            sent_s[universe].append(now_s)
    assert wakes <= 5.0 / 0.9 * 11
    gaps_s = np.concatenate([np.diff(times) for times in sent_s.values()])
    assert gaps_s.min() >= 0.8
    assert gaps_s.max() <= 1.0


def test_last_sent_is_told_per_universe() -> None:
    out, slots = streams(2)
    assert np.all(np.isneginf(out.last_sent_s))
    now_s = idle(out, slots, 0.0)
    slots[1, 0] = 1
    out.packets(slots, now_s)
    assert out.last_sent_s.tolist() == [pytest.approx(3 * FRAME_S), pytest.approx(now_s)]


def test_synchronisation_follows_the_data_with_a_count_of_its_own() -> None:
    out, slots = streams(2, synchronise=500)
    for i in range(300):
        slots[0, 0] = i % 256
        packets = out.packets(slots, i * FRAME_S)
        universe, last = packets[-1]
        assert universe == 500
        assert e131.parse(bytes(last)) == e131.Sync(CID, i % 256, 500)
        parsed = [e131.parse(bytes(p)) for _, p in packets[:-1]]
        assert all(isinstance(p, e131.Data) and p.sync_universe == 500 for p in parsed)


def test_without_synchronisation_data_names_no_synchronisation_universe() -> None:
    out, slots = streams(1)
    ((_, packet),) = out.packets(slots, 0.0)
    assert packet[109:111] == b"\0\0"


def test_no_synchronisation_when_nothing_was_sent() -> None:
    out, slots = streams(1, synchronise=500)
    now_s = idle(out, slots, 0.0)
    assert out.packets(slots, now_s) == []


def test_sequences_go_on_from_what_was_stored() -> None:
    out, slots = streams(2, synchronise=9, sequences={1: 254, SYNC_KEY: 255})
    now_s = idle(out, slots, 0.0)
    stored = out.sequences
    assert stored == {1: 2, 2: 4, SYNC_KEY: 3}
    again, _ = streams(2, synchronise=9, sequences=stored)
    assert [p[111] for _, p in again.packets(slots, now_s)[:-1]] == [2, 4]


def test_a_packet_that_the_network_did_not_take_goes_again_one_period_later() -> None:
    out, slots = streams(2)
    now_s = idle(out, slots, 0.0)
    slots[1, 0] = 1
    out.packets(slots, now_s)
    out.unsent(2)
    assert out.packets(slots, now_s + 0.5 * FRAME_S) == []
    ((universe, packet),) = out.packets(slots, now_s + FRAME_S)
    assert (universe, packet[126]) == (2, 1)


def test_a_packet_that_was_not_taken_is_new_data_with_all_its_repeats() -> None:
    out, slots = streams(2)
    now_s = idle(out, slots, 0.0)
    out.unsent(1)
    assert out.next_due_s == pytest.approx(now_s), "one period after the last"
    sent = [[u for u, _ in out.packets(slots, now_s + n * FRAME_S)] for n in range(6)]
    assert sent == [[1]] * 4 + [[]] * 2


def test_sequences_are_stored_as_octets_whatever_is_given() -> None:
    out, _ = streams(1, sequences={1: 256 + 5, SYNC_KEY: 256 + 6})
    assert out.sequences == {1: 5, SYNC_KEY: 6}


@pytest.mark.parametrize("rate", [30.0, 2.0, 0.5])
def test_a_slower_rate_is_kept_to(rate: float) -> None:
    """No universe is sent more often than asked, keep-alives included: below 1.1/s they are one period apart."""
    out, slots = streams(1, rate=rate)
    sent_s = []
    for frame in range(600):
        slots[0, 0] = frame % 256 if frame < 300 else 0
        sent_s += [frame / 50 for _ in out.packets(slots, frame / 50)]
    gaps_s = np.diff(sent_s)
    assert gaps_s.min() >= 1 / rate - 1e-6
    assert gaps_s.max() <= max(1 / rate, KEEP_ALIVE_S) + 1 / 50


def test_by_default_nothing_goes_faster_than_44_a_second() -> None:
    out, slots = streams(1)
    assert len(out.packets(slots, 0.0)) == 1
    slots[0, 0] = 1
    assert out.packets(slots, 1 / 44 - 2e-6) == [], "two microseconds early is early"
    assert len(out.packets(slots, 1 / 44 - 5e-7)) == 1, "half of one is a timer's rounding"


def test_a_keep_alive_is_sent_at_its_moment_and_not_before() -> None:
    out, slots = streams(1)
    last_s = idle(out, slots, 0.0) - FRAME_S
    assert out.packets(slots, last_s + KEEP_ALIVE_S - 1e-5) == []
    assert out.next_due_s == pytest.approx(last_s + KEEP_ALIVE_S)
    assert len(out.packets(slots, last_s + KEEP_ALIVE_S)) == 1


def test_a_universe_that_rests_is_no_reason_to_wake_for_one_that_moves() -> None:
    out, slots = streams(2)
    now_s = idle(out, slots, 0.0)
    slots[1, 0] = 1
    out.packets(slots, now_s)
    assert out.next_due_s == pytest.approx(now_s + FRAME_S), "its first repeat"
    for n in range(1, 4):
        assert [u for u, _ in out.packets(slots, now_s + n * FRAME_S)] == [2]
    assert out.next_due_s == pytest.approx(now_s - FRAME_S + KEEP_ALIVE_S), "the other's keep-alive"


def test_terminating_what_was_never_sent_is_silent() -> None:
    out, slots = streams(2)
    assert out.terminate(slots, 0.0) == []


def test_after_terminating_a_new_start_sends_everything_and_the_sequence_goes_on() -> None:
    out, slots = streams(2)
    idle(out, slots, 0.0)
    assert len(out.terminate(slots, 1.0)) == 6
    packets = out.packets(slots, 1.001)
    assert [(u, p[111], p[112]) for u, p in packets] == [(1, 7, 0), (2, 7, 0)]


def test_a_new_start_after_terminating_is_new_data_with_all_its_repeats() -> None:
    out, slots = streams(1)
    idle(out, slots, 0.0)
    out.terminate(slots, 1.0)
    assert [len(out.packets(slots, 1.0 + n * FRAME_S)) for n in range(6)] == [1, 1, 1, 1, 0, 0]


def test_only_what_was_sent_is_terminated_three_times_with_the_levels_given() -> None:
    out, slots = streams(2)
    out.packets(slots, 0.0)
    out.terminate(slots, 0.1)
    assert out.terminate(slots, 0.2) == [], "it has ended"
    assert out.next_due_s == -np.inf, "a new start may send at once"
    slots[1, 7] = 9
    out.packets(slots, 0.3)
    ended = out.terminate(slots, 0.4)
    assert [(u, p[112], p[126 + 7]) for u, p in ended] == [(1, 0x40, 0), (2, 0x40, 9)] * 3
    assert len({id(p) for _, p in ended}) == 6


def test_discovery_keeps_to_its_grid_and_does_not_catch_up_after_a_stall() -> None:
    out, _ = streams(1)
    assert out.discovery(3.0)
    assert out.discovery_due_s == 13.0
    assert out.discovery(12.999) == []
    assert out.discovery(13.4)
    assert out.discovery_due_s == 23.0
    assert out.discovery(100.0)
    assert out.discovery(100.1) == []
    assert out.discovery_due_s == 110.0


def test_no_universes_no_packets() -> None:
    out = Streams([], CID, "x", 100)
    assert out.packets(np.zeros((0, 512), np.uint8), 0.0) == []
    assert out.next_due_s == np.inf
    assert out.discovery(0.0) == []
