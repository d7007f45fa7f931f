"""Universe synchronisation at the receiver (E1.31-2018, 6.2.6 and section 11: from memory), in virtual time."""

from __future__ import annotations

import math

from bridge.wire.e131 import Data, Sync
from bridge.wire.receiver import Receiver
from bridge.wire.sources import LOSS_S
from tests.unit.wire.heard import FROM, A, B, levels, priorities, slots


def held(sequence: int, level: int, **more: object) -> Data:
    return levels(A, sequence, level, **{"sync_universe": 7} | more)


def synchronised(force: bool = False) -> Receiver:
    """A sends 1 on address 7 and its sync was heard, at 0 s."""
    receiver = Receiver([1], sampling_s=0.0)
    assert receiver.take(held(0, 1, force_sync=force), FROM, 0.0) == "taken"
    assert receiver.take(Sync(A, 0, 7), FROM, 0.0) == "sync"
    return receiver


def test_levels_are_used_as_they_come_until_a_sync_on_their_address_was_heard() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    for sequence in range(5):
        assert receiver.take(held(sequence, sequence), FROM, 0.0) == "taken"
        assert slots(receiver, 0.0) == sequence


def test_then_they_wait_for_the_next_and_the_newest_counts() -> None:
    receiver = synchronised()
    receiver.changed(0.0)
    assert receiver.take(held(1, 2), FROM, 0.1) == "held"
    assert receiver.take(held(2, 3), FROM, 0.1) == "held"
    assert receiver.changed(0.1) == ()
    assert slots(receiver, 0.1) == 1
    assert receiver.take(Sync(A, 1, 7), FROM, 0.2) == "sync"
    assert receiver.changed(0.2) == (1,)
    assert slots(receiver, 0.2) == 3
    receiver.take(Sync(A, 2, 7), FROM, 0.3)
    assert receiver.changed(0.3) == (), "nothing waited"


def test_one_sync_releases_every_universe_that_waits_on_it() -> None:
    receiver = Receiver([1, 2, 3], sampling_s=0.0)
    for sequence, level in ((0, 1), (1, 9)):
        for universe in (1, 2):
            receiver.take(held(sequence, level, universe=universe), FROM, 0.0)
        receiver.take(held(sequence, level, universe=3, sync_universe=8), FROM, 0.0)
        receiver.changed(0.0)
        if sequence == 0:
            receiver.take(Sync(A, 0, 7), FROM, 0.0)
            receiver.take(Sync(A, 0, 8), FROM, 0.0)
    receiver.take(Sync(A, 1, 7), FROM, 0.1)
    assert receiver.changed(0.1) == (1, 2)
    assert [frame.slots[0] for u in (1, 2, 3) if (frame := receiver.frame(u, 0.1))] == [9, 9, 1]


def test_anothers_sync_and_another_address_release_nothing() -> None:
    receiver = synchronised()
    receiver.take(held(1, 2), FROM, 0.1)
    assert receiver.take(Sync(B, 1, 7), FROM, 0.1) == "not-ours"
    assert receiver.take(Sync(A, 1, 8), FROM, 0.1) == "not-ours"
    assert slots(receiver, 0.1) == 1


def test_an_old_sync_releases_nothing_and_its_sequence_is_that_of_its_address() -> None:
    receiver = synchronised()
    receiver.take(Sync(A, 21, 7), FROM, 0.1)
    receiver.take(held(1, 2), FROM, 0.1)
    assert receiver.take(Sync(A, 20, 7), FROM, 0.1) == "sequence"
    assert slots(receiver, 0.1) == 1
    assert receiver.take(Sync(A, 22, 7), FROM, 0.1) == "sync"
    assert slots(receiver, 0.1) == 2


def test_an_old_sync_is_old_also_where_a_universe_has_only_just_joined() -> None:
    receiver = Receiver([1, 2], sampling_s=0.0)
    receiver.take(held(0, 1), FROM, 0.0)
    receiver.take(Sync(A, 21, 7), FROM, 0.0)
    receiver.take(held(0, 1, universe=2), FROM, 0.1)
    assert receiver.take(Sync(A, 20, 7), FROM, 0.1) == "sequence"


def test_the_sync_lost_levels_that_force_it_are_held_until_it_is_back() -> None:
    """Force_Synchronization 0: no update with new packets until synchronisation resumes."""
    receiver = synchronised()
    for step in range(1, 50):
        assert receiver.take(held(step, step), FROM, step / 10) == "held"
    assert slots(receiver, 4.9) == 1
    receiver.take(Sync(A, 200, 7), FROM, 5.0)
    assert slots(receiver, 5.0) == 49


def test_the_sync_lost_levels_go_on_without_where_the_packet_allows() -> None:
    """Force_Synchronization 1: need not wait. What waits then is used at the loss, and nobody must look before."""
    receiver = synchronised(force=True)
    receiver.take(Sync(A, 1, 7), FROM, 1.0)
    assert receiver.take(held(1, 2, force_sync=True), FROM, 2.4) == "held"
    assert receiver.changed(2.6) == (1,), "the levels of 0 s, told late"
    assert slots(receiver, 1.0 + LOSS_S) == 1
    assert 1.0 + LOSS_S < receiver.next_due_s < 1.001 + LOSS_S
    assert receiver.changed(receiver.next_due_s) == (1,)
    assert slots(receiver, 1.001 + LOSS_S) == 2
    assert receiver.take(held(2, 3, force_sync=True), FROM, 3.6) == "taken"
    receiver.take(Sync(A, 9, 7), FROM, 3.7)
    assert receiver.take(held(3, 4, force_sync=True), FROM, 3.8) == "held", "it is back"


def test_another_address_or_none_ends_the_waiting() -> None:
    for address in (0, 8):
        receiver = synchronised()
        receiver.take(held(1, 2), FROM, 0.1)
        assert receiver.take(held(2, 3, sync_universe=address), FROM, 0.2) == "taken"
        assert slots(receiver, 0.2) == 3
        for heard in (7, 8):
            receiver.take(Sync(A, 1, heard), FROM, 0.3)
            assert slots(receiver, 0.3) == 3, "what waited is older and gone"


def test_priorities_terminated_packets_and_other_sources_never_wait() -> None:
    receiver = synchronised()
    receiver.take(levels(B, 0, 9, priority=90), FROM, 0.1)
    receiver.take(priorities(A, 1, 80, sync_universe=7), FROM, 0.1)
    assert slots(receiver, 0.1) == 9
    receiver.take(priorities(A, 2, 95, sync_universe=7), FROM, 0.1)
    assert slots(receiver, 0.1) == 1
    receiver.take(held(3, 5), FROM, 0.2)
    receiver.take(held(4, 5, terminated=True), FROM, 0.2)
    assert slots(receiver, 0.2) == 9
    receiver.take(Sync(A, 1, 7), FROM, 0.3)
    assert slots(receiver, 0.3) == 9


def test_held_levels_keep_their_source_alive() -> None:
    receiver = synchronised()
    receiver.take(held(1, 2), FROM, 2.0)
    assert slots(receiver, 4.0) == 1
    assert slots(receiver, 4.6) is None


def test_the_addresses_to_join_are_those_of_live_sources() -> None:
    receiver = synchronised()
    assert receiver.sync_addresses == {7}
    receiver.take(levels(B, 0, 9), FROM, 0.0)
    receiver.changed(9.0)
    assert receiver.sync_addresses == set()
    assert receiver.next_due_s == math.inf
