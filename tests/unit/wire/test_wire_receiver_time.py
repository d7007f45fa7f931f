"""Sampling, per-address priority and what time alone changes, in virtual time. Rules: facts/protocols.md."""

from __future__ import annotations

import math

import pytest

from bridge.wire.receiver import SAMPLING_S, Receiver
from bridge.wire.sources import LOSS_S
from tests.unit.wire.heard import FROM, A, B, C, levels, priorities, slots


def sampled(*first: int) -> Receiver:
    """Universe 1 sampled at 1.5 s; A sends `first` from 0 s on."""
    receiver = Receiver([1])
    receiver.take(levels(A, 0, bytes(first)), FROM, 0.0)
    receiver.take(levels(A, 1, bytes(first)), FROM, 1.4)
    assert slots(receiver, SAMPLING_S) is not None
    return receiver


# Sampling


def test_nothing_is_output_while_a_universe_is_sampled_and_then_all_at_once() -> None:
    receiver = Receiver([1])
    assert receiver.next_due_s == math.inf
    receiver.take(levels(A, 0, 10), FROM, 100.0)
    receiver.take(levels(B, 0, 20, priority=90), FROM, 101.4)
    assert receiver.frame(1, 101.49) is None
    assert receiver.next_due_s == 100.0 + SAMPLING_S
    assert slots(receiver, 101.5) == 10


def test_the_sampling_begins_with_the_first_packet_of_the_universe_and_is_its_own() -> None:
    receiver = Receiver([1, 2])
    receiver.take(levels(A, 0, 10), FROM, 0.0)
    receiver.take(levels(A, 0, 10, universe=2), FROM, 1.0)
    assert receiver.frame(1, 1.5) is not None
    assert receiver.frame(2, 2.4) is None
    assert receiver.frame(2, 2.5) is not None


def test_who_ends_during_the_sampling_was_never_output() -> None:
    receiver = Receiver([1])
    receiver.take(levels(A, 0, 10), FROM, 0.0)
    receiver.take(levels(A, 1, 10, terminated=True), FROM, 1.0)
    assert receiver.frame(1, 2.0) is None


def test_sources_that_come_during_the_sampling_are_not_waited_for_beyond_it() -> None:
    receiver = Receiver([1])
    receiver.take(levels(A, 0, 10), FROM, 0.0)
    receiver.take(levels(B, 0, 20, priority=120), FROM, 1.4)
    assert slots(receiver, 1.5) == 20


# A new source's per-address priorities


def test_a_new_source_waits_for_its_per_address_priorities_and_those_who_were_there_go_on() -> None:
    receiver = sampled(10)
    receiver.take(levels(B, 0, 20, priority=120), FROM, 2.0)
    assert slots(receiver, 3.49) == 10
    receiver.take(levels(A, 2, 11), FROM, 3.4)
    assert slots(receiver, 3.49) == 11
    receiver.take(levels(B, 1, 21, priority=120), FROM, 3.4)
    assert slots(receiver, 3.5) == 21


def test_the_waiting_is_over_with_the_first_per_address_priorities() -> None:
    receiver = sampled(10, 10)
    receiver.take(levels(B, 0, bytes([20, 20]), priority=120), FROM, 2.0)
    assert receiver.take(priorities(B, 1, bytes([90, 110])), FROM, 2.1) == "priorities"
    assert slots(receiver, 2.1, 2) == bytes([10, 20])


def test_priorities_before_the_first_levels_spare_the_waiting() -> None:
    receiver = sampled(10, 10)
    receiver.take(priorities(B, 0, bytes([110, 0])), FROM, 2.0)
    assert slots(receiver, 2.0, 2) == bytes([10, 10])
    assert receiver.take(levels(B, 1, bytes([1, 1]), priority=0), FROM, 2.0) == "taken"
    assert slots(receiver, 2.0, 2) == bytes([1, 10])


# Per-address priority


def test_zero_is_to_be_ignored_there_and_a_slot_that_nobody_has_reads_zero() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(priorities(A, 0, bytes([100, 0, 1])), FROM, 0.0)
    receiver.take(levels(A, 1, bytes([5, 6, 7])), FROM, 0.0)
    assert slots(receiver, 0.0, 4) == bytes([5, 0, 7, 0])


def test_a_slot_beyond_the_priorities_has_none_from_this_source() -> None:
    receiver = sampled(10, 10, 10)
    receiver.take(priorities(B, 0, bytes([120, 120])), FROM, 2.0)
    receiver.take(levels(B, 1, bytes([1, 2, 3]), priority=200), FROM, 2.0)
    assert slots(receiver, 2.0, 3) == bytes([1, 2, 10])


def test_a_source_without_them_counts_with_its_packets_priority() -> None:
    receiver = sampled(10, 10, 10)
    receiver.take(priorities(B, 0, bytes([99, 100, 101])), FROM, 2.0)
    receiver.take(levels(B, 1, bytes([5, 5, 5])), FROM, 2.0)
    assert slots(receiver, 2.0, 3) == bytes([10, 10, 5]), "below: theirs; equal: the highest level; above: ours"


def test_its_packets_priority_counts_again_two_and_a_half_seconds_after_the_last_of_them() -> None:
    receiver = sampled(10)
    receiver.take(priorities(B, 0, 120), FROM, 2.0)
    receiver.take(levels(B, 1, 20, priority=50), FROM, 3.0)
    receiver.take(levels(A, 2, 10), FROM, 3.0)
    receiver.changed(3.0)
    assert slots(receiver, 2.0 + LOSS_S) == 20
    assert receiver.next_due_s == pytest.approx(2.0 + LOSS_S, abs=1e-5)
    assert receiver.changed(receiver.next_due_s) == (1,)
    assert slots(receiver, 2.01 + LOSS_S) == 10


def test_priorities_keep_nobody_alive() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(levels(A, 0, 9), FROM, 0.0)
    seen = []
    for step in range(1, 30):
        receiver.take(priorities(A, step, 100), FROM, step / 10)
        seen.append(slots(receiver, step / 10))
    assert seen == [9] * 25 + [None] * 4


def test_a_source_that_is_lost_with_its_priorities_leaves_the_look_that_it_had_with_them() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(priorities(A, 0, 0), FROM, 0.0)
    receiver.take(levels(A, 1, 9), FROM, 0.0)
    frame = receiver.frame(1, 9.0)
    assert frame is not None
    assert (frame.slots, frame.alive) == (bytes(512), False)


def test_what_was_due_before_the_loss_has_happened_also_when_nobody_looked() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(priorities(A, 0, 0), FROM, 0.0)
    receiver.take(levels(A, 1, 9), FROM, 1.0)
    frame = receiver.frame(1, 60.0)
    assert frame is not None
    assert (frame.slots[0], frame.alive) == (9, False), "its packet's priority from 2.5 s to 3.5 s"


def test_fewer_levels_than_before_under_the_same_priorities() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(levels(B, 0, 5, priority=90), FROM, 0.0)
    receiver.take(priorities(A, 0, 100), FROM, 0.0)
    for sequence, octets, expected in ((1, bytes([9] * 512), [9, 9, 9]), (2, bytes([9, 9]), [9, 9, 5])):
        receiver.take(levels(A, sequence, octets), FROM, 0.0)
        frame = receiver.frame(1, 0.0)
        assert frame is not None
        assert (list(frame.slots[:3]), len(frame.slots)) == (expected, 512)


def test_levels_and_priorities_share_the_sequence_of_the_universe() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    assert receiver.take(priorities(A, 21, 100), FROM, 0.0) == "priorities"
    assert receiver.take(levels(A, 21, 1), FROM, 0.0) == "sequence"
    assert receiver.take(levels(A, 22, 1), FROM, 0.0) == "taken"
    assert receiver.take(priorities(A, 10, 100), FROM, 0.0) == "sequence"


def test_preview_priorities_change_nothing() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(levels(A, 0, 5), FROM, 0.0)
    assert receiver.take(priorities(A, 1, 0, preview=True), FROM, 0.0) == "preview"
    assert slots(receiver, 0.0) == 5


def test_a_node_that_does_not_know_them_leaves_them_alone() -> None:
    receiver = Receiver([1], sampling_s=0.0, per_address=False)
    receiver.take(levels(B, 0, 7, priority=100), FROM, 0.0)
    assert receiver.take(priorities(A, 0, 120), FROM, 0.0) == "start-code"
    receiver.take(levels(A, 1, 9, priority=0), FROM, 0.0)
    assert slots(receiver, 0.0) == 7


def test_priorities_above_200_count_as_200() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(priorities(A, 0, 255), FROM, 0.0)
    receiver.take(levels(A, 1, 9), FROM, 0.0)
    frame = receiver.frame(1, 0.0)
    assert frame is not None
    assert (frame.priority, set(frame.priorities())) == (200, {200})


def test_both_words_of_one_source_end_with_its_terminated_packet() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    receiver.take(priorities(A, 0, 120), FROM, 0.0)
    receiver.take(levels(A, 1, 9), FROM, 0.0)
    receiver.take(levels(B, 0, 5), FROM, 0.0)
    assert slots(receiver, 0.0) == 9
    receiver.take(levels(A, 2, 0, terminated=True), FROM, 0.1)
    assert slots(receiver, 0.1) == 5
    receiver.take(levels(A, 3, 99, priority=90), FROM, 0.2)
    assert slots(receiver, 0.2) == 5, "new again: its packet's priority"


def test_sources_of_priorities_alone_defend_no_place_beyond_theirs_nor_fill_memory() -> None:
    receiver = Receiver([1], sampling_s=0.0, max_sources=2)
    for number in range(9):
        receiver.take(priorities(bytes([number] * 16), 0, 100), FROM, 0.0)
    assert receiver.counters == {"priorities": 2, "too-many": 7}
    assert receiver.take(levels(C, 0, 7, priority=101), FROM, 0.0) == "taken"
    assert slots(receiver, 0.0) == 7
    assert receiver.take(levels(B, 0, 8, priority=90), FROM, 2.6) == "taken", "forgotten 2.5 s after their last"


def test_a_place_is_won_and_kept_by_the_highest_priority_of_a_slot() -> None:
    full = Receiver([1], sampling_s=0.0, max_sources=1)
    full.take(levels(A, 0, 7, priority=100), FROM, 0.0)
    assert full.take(priorities(B, 0, bytes([0, 101]), priority=0), FROM, 0.0) == "priorities"
    assert full.take(levels(A, 0, 7, priority=101), FROM, 0.0) == "too-many"
    full = Receiver([1], sampling_s=0.0, max_sources=1)
    full.take(levels(A, 0, 7, priority=200), FROM, 0.0)
    assert full.take(priorities(B, 0, 255), FROM, 0.0) == "too-many", "nothing is above 200"


# What is told


def test_changed_names_a_universe_only_where_something_may_be_new() -> None:
    receiver = Receiver([1, 2], sampling_s=0.0)
    receiver.take(levels(A, 0, 9), FROM, 0.0)
    receiver.take(levels(A, 0, 9, universe=2), FROM, 0.0)
    assert receiver.changed(0.0) == (1, 2)
    assert receiver.changed(0.0) == ()
    receiver.take(levels(A, 1, 9), FROM, 0.1)
    assert receiver.changed(0.1) == (), "the same again"
    receiver.take(levels(A, 1, 8, universe=2), FROM, 0.1)
    assert receiver.changed(0.1) == (2,)
    receiver.take(priorities(A, 2, 100, universe=2), FROM, 0.1)
    assert receiver.changed(0.1) == (2,)
    receiver.take(priorities(A, 3, 100, universe=2), FROM, 0.1)
    assert receiver.changed(0.1) == (), "the same priorities again"
    for sequence, more in enumerate(({"priority": 101}, {"source_name": "x"})):
        receiver.take(levels(A, 2 + sequence, 9, **more), FROM, 0.1)
        assert receiver.changed(0.1) == (1,)
    receiver.take(levels(A, 4, 9, source_name="x"), "192.0.2.9", 0.2)
    assert receiver.changed(0.2) == (1,)
    frame = receiver.frame(1, 0.2)
    assert frame is not None
    assert frame.sender == "192.0.2.9"


def test_changed_names_a_universe_whose_source_was_displaced() -> None:
    receiver = Receiver([1], max_sources=1)
    receiver.take(levels(A, 0, 9), FROM, 0.0)
    assert receiver.changed(1.5) == (1,)
    receiver.take(levels(B, 0, 5, priority=101), FROM, 1.6)
    assert receiver.changed(1.6) == (1,)
    frame = receiver.frame(1, 1.6)
    assert frame is not None
    assert (frame.slots[0], frame.alive) == (9, False)


def test_time_alone_is_told_at_its_moment_and_asks_for_no_look_before() -> None:
    """Nobody has to look ten times a second: each look at `next_due_s` alone finds every loss at its time."""
    receiver = Receiver([1])
    receiver.take(levels(A, 0, 9), FROM, 0.0)
    receiver.take(levels(B, 0, 5, priority=90), FROM, 0.3)
    told = []
    for _ in range(20):
        if receiver.next_due_s == math.inf:
            break
        now_s = receiver.next_due_s
        if receiver.changed(now_s):
            frame = receiver.frame(1, now_s)
            assert frame is not None
            told.append((round(now_s, 3), frame.slots[0], frame.alive))
    assert told == [(1.5, 9, True), (2.5, 5, True), (2.8, 5, False)]
    assert receiver.next_due_s == math.inf
