"""The receiver's rules in virtual time: loss, priority, preview, start codes, sequence, bounds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.wire.e131 import Data, Discovery, Sync
from bridge.wire.sources import LOSS_S, Sources

A, B, C = (bytes([n]) * 16 for n in (1, 2, 3))
BASE = Data(A, "a", 100, 0, 0, False, False, False, 1, 0, bytes([10]) * 512)
FROM = "192.0.2.1"


def packet(cid: bytes = A, sequence: int = 0, level: int = 10, **more: object) -> Data:
    return replace(BASE, cid=cid, sequence=sequence, slots=bytes([level]) * 512, **more)  # type: ignore[arg-type]


def first(sources: Sources, now_s: float) -> int | None:
    levels = sources.levels(1, now_s)
    assert levels is None or len(levels) == 512
    return None if levels is None else levels[0]


def test_levels_come_from_the_newest_packet() -> None:
    sources = Sources([1])
    assert sources.levels(1, 0.0) is None
    assert sources.accept(packet(sequence=0, level=1), FROM, 0.0) == "taken"
    assert sources.accept(packet(sequence=1, level=2), FROM, 0.1) == "taken"
    assert first(sources, 0.1) == 2


def test_fewer_slots_leave_the_rest_at_zero() -> None:
    sources = Sources([1])
    sources.accept(replace(BASE, slots=b"\x09\x08"), FROM, 0.0)
    assert sources.levels(1, 0.0) == b"\x09\x08" + bytes(510)


def test_another_universe_is_not_ours() -> None:
    sources = Sources([2])
    assert sources.accept(packet(), FROM, 0.0) == "not-ours"
    assert sources.levels(1, 0.0) is None


@pytest.mark.parametrize(("sequence", "word"), [(21, "sequence"), (20, "sequence"), (2, "sequence"), (1, "taken")])
def test_out_of_sequence_is_discarded_per_source(sequence: int, word: str) -> None:
    sources = Sources([1])
    sources.accept(packet(sequence=21, level=1), FROM, 0.0)
    assert sources.accept(packet(sequence=sequence, level=9), FROM, 0.1) == word
    assert first(sources, 0.1) == (9 if word == "taken" else 1)
    assert sources.accept(packet(B, sequence=21), FROM, 0.1) == "taken", "another source counts by itself"


def test_sequence_is_per_universe() -> None:
    sources = Sources([1, 2])
    sources.accept(packet(sequence=21), FROM, 0.0)
    assert sources.accept(packet(sequence=21, universe=2), FROM, 0.0) == "taken"


def test_a_source_is_lost_after_two_and_a_half_seconds_and_then_any_sequence_is_new() -> None:
    sources = Sources([1])
    sources.accept(packet(sequence=21), FROM, 0.0)
    assert first(sources, LOSS_S) == 10
    assert first(sources, LOSS_S + 0.01) is None
    assert sources.accept(packet(sequence=20, level=3), FROM, LOSS_S + 0.01) == "taken"
    assert first(sources, LOSS_S + 0.01) == 3


def test_a_terminated_packet_ends_the_source_and_its_levels_are_ignored() -> None:
    sources = Sources([1])
    sources.accept(packet(sequence=0, level=1), FROM, 0.0)
    for sequence in (1, 2, 3):
        assert sources.accept(packet(sequence=sequence, level=99, terminated=True), FROM, 0.1) == "terminated"
        assert sources.levels(1, 0.1) is None
    assert sources.heard(1, 0.1) == []


def test_preview_and_other_start_codes_never_drive_output_nor_keep_a_source_alive() -> None:
    sources = Sources([1])
    assert sources.accept(packet(sequence=0, preview=True), FROM, 0.0) == "preview"
    assert sources.accept(packet(sequence=1, start_code=0xDD), FROM, 0.0) == "start-code"
    assert sources.levels(1, 0.0) is None
    sources.accept(packet(sequence=2, level=5), FROM, 0.0)
    sources.accept(packet(sequence=3, level=99, preview=True), FROM, 2.0)
    sources.accept(packet(sequence=4, level=99, start_code=0xDD), FROM, 2.0)
    assert first(sources, 2.0) == 5
    assert sources.accept(packet(sequence=4, level=7), FROM, 2.1) == "sequence", "they count in the sequence"
    assert first(sources, 2.6) is None


def test_the_highest_priority_wins_and_the_next_takes_over_when_it_is_lost() -> None:
    sources = Sources([1])
    sources.accept(packet(A, level=200, priority=100), FROM, 0.0)
    sources.accept(packet(B, level=5, priority=110), FROM, 0.0)
    assert first(sources, 0.0) == 5
    sources.accept(packet(A, sequence=1, level=201, priority=100), FROM, 2.0)
    assert first(sources, 2.0) == 5
    assert first(sources, 2.6) == 201


def test_equal_priorities_merge_slot_by_slot_highest_first() -> None:
    sources = Sources([1])
    sources.accept(replace(BASE, cid=A, slots=b"\x01\x09\x03"), FROM, 0.0)
    sources.accept(replace(BASE, cid=B, slots=b"\x05\x02"), FROM, 0.0)
    sources.accept(packet(C, level=255, priority=99), FROM, 0.0)
    assert sources.levels(1, 0.0) == b"\x05\x09\x03" + bytes(509)


def test_who_else_is_heard() -> None:
    sources = Sources([1])
    sources.accept(packet(A), "192.0.2.1", 0.0)
    sources.accept(packet(B, priority=120, source_name="desk"), "192.0.2.2", 1.0)
    assert [s.cid for s in sources.heard(1, 1.0)] == [B, A]
    (other,) = sources.heard(1, 1.0, exclude_cid=A)
    assert (other.source_name, other.priority, other.sender, other.heard_s) == ("desk", 120, "192.0.2.2", 1.0)
    assert [s.cid for s in sources.heard(1, 1.2, within_s=1.0)] == [B]
    assert sources.heard(2, 1.0) == []


def test_junk_sources_cannot_fill_memory_nor_push_out_their_betters() -> None:
    sources = Sources([1], max_sources=4)
    sources.accept(packet(B, level=7, priority=110), FROM, 0.0)
    words = [sources.accept(packet(bytes([n]) * 16, priority=50), FROM, 0.0) for n in range(10, 110)]
    assert words == ["taken"] * 3 + ["too-many"] * 97
    assert len(sources.heard(1, 0.0)) == 4
    assert first(sources, 0.0) == 7
    assert sources.accept(packet(C, priority=100), FROM, 0.1) == "taken", "a better one displaces the weakest"
    assert len(sources.heard(1, 0.1)) == 4
    assert sources.accept(packet(bytes([9]) * 16, priority=50), FROM, 3.0) == "taken", "the lost make room"


def test_synchronisation_has_a_sequence_and_a_bound_of_its_own() -> None:
    sources = Sources([1], max_sources=2)
    sources.accept(packet(sequence=21), FROM, 0.0)
    assert sources.accept(Sync(A, 21, 7), FROM, 0.0) == "sync"
    assert sources.accept(Sync(A, 20, 7), FROM, 0.1) == "sequence"
    assert sources.accept(Sync(A, 20, 8), FROM, 0.1) == "sync"
    assert sources.accept(Sync(B, 0, 7), FROM, 0.1) == "sync"
    assert sources.accept(Sync(C, 0, 7), FROM, 0.1) == "too-many"
    assert sources.accept(Sync(C, 0, 7), FROM, 3.0) == "sync"


def test_a_lost_source_of_synchronisation_makes_room_and_a_live_one_does_not() -> None:
    sources = Sources([1], max_sources=2)
    sources.accept(Sync(A, 9, 7), FROM, 100.0)
    sources.accept(Sync(B, 9, 7), FROM, 102.0)
    assert sources.accept(Sync(C, 9, 7), FROM, 100.0 + LOSS_S) == "too-many"
    assert sources.accept(Sync(C, 9, 7), FROM, 100.1 + LOSS_S) == "sync"
    assert sources.accept(Sync(B, 9, 7), FROM, 102.0 + LOSS_S) == "sequence", "still known, and not yet lost"
    assert sources.accept(Sync(B, 9, 7), FROM, 102.1 + LOSS_S) == "sync", "lost: any sequence is new"
    assert sources.accept(Sync(A, 9, 7), FROM, 102.1 + LOSS_S) == "too-many"


def test_a_newcomer_displaces_the_oldest_of_the_weakest_and_nobody_of_its_own_priority() -> None:
    sources = Sources([1], max_sources=3)
    sources.accept(packet(A, priority=50), FROM, 1.0)
    sources.accept(packet(B, priority=50), FROM, 0.5)
    sources.accept(packet(C, priority=90), FROM, 0.0)
    newcomer = bytes([9]) * 16
    assert sources.accept(packet(newcomer, priority=50), FROM, 1.0) == "too-many"
    assert sources.accept(packet(newcomer, priority=51), FROM, 1.0) == "taken"
    assert {s.cid for s in sources.heard(1, 1.0)} == {A, C, newcomer}


def test_only_the_lost_make_room() -> None:
    sources = Sources([1], max_sources=2)
    sources.accept(packet(A, priority=50), FROM, 100.0)
    sources.accept(packet(B, priority=50), FROM, 101.0)
    assert sources.accept(packet(C, priority=50), FROM, 100.0 + LOSS_S) == "too-many"
    assert sources.accept(packet(C, priority=50), FROM, 100.1 + LOSS_S) == "taken"
    assert {s.cid for s in sources.heard(1, 100.1 + LOSS_S)} == {B, C}


def test_every_universe_has_room_of_its_own_and_sixteen_places_unless_told() -> None:
    """Sixteen is a decision of ours: more sources than anybody patches to one universe, few enough for junk."""
    sources = Sources([1, 2])
    words = [sources.accept(packet(bytes([n]) * 16, universe=u), FROM, 0.0) for u in (1, 2) for n in range(1, 18)]
    assert words == [*["taken"] * 16, "too-many"] * 2


def test_a_source_ends_by_its_own_word_only() -> None:
    sources = Sources([1])
    sources.accept(packet(A, level=3), FROM, 0.0)
    assert sources.accept(packet(B, terminated=True), FROM, 0.0) == "terminated"
    assert sources.accept(packet(A, sequence=0, terminated=True), FROM, 0.1) == "sequence", "an old packet ends nothing"
    assert first(sources, 0.1) == 3


def test_everything_is_counted_by_what_became_of_it() -> None:
    sources = Sources([1])
    sources.accept(packet(sequence=1), FROM, 0.0)
    sources.accept(packet(sequence=1), FROM, 0.0)
    sources.accept(packet(universe=2), FROM, 0.0)
    for _ in range(3):
        assert sources.accept(Discovery(A, "a", 0, 0, (1,)), FROM, 0.0) == "discovery"
    assert sources.counters == {"taken": 1, "sequence": 1, "not-ours": 1, "discovery": 3}


def test_one_cid_from_two_senders_is_one_source_to_a_receiver_and_two_to_whoever_looks_for_copies() -> None:
    """E1.31 tells sources apart by their CID alone (clause 5.6)."""
    for by_sender, expected in ((False, ["10.0.0.1"]), (True, ["10.0.0.1", "10.0.0.2"])):
        sources = Sources([1], by_sender=by_sender)
        for sender in ("10.0.0.1", "10.0.0.2"):
            sources.accept(packet(A, 7), sender, 0.0)
        assert sorted(source.sender for source in sources.heard(1, 0.0)) == expected
