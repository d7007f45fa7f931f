"""The receiver's rules in virtual time: loss, priority, preview, start codes, sequence, bounds. Nobody waits here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from bridge.wire.e131 import Data, DataPacket, Discovery
from bridge.wire.receiver import Receiver
from bridge.wire.sources import LOSS_S

A, B, C = (bytes([n]) * 16 for n in (1, 2, 3))
BASE = Data(A, "a", 100, 0, 0, False, False, False, 1, 0, bytes([10]) * 512)
FROM = "192.0.2.1"


def packet(cid: bytes = A, sequence: int = 0, level: int = 10, **more: object) -> Data:
    return replace(BASE, cid=cid, sequence=sequence, slots=bytes([level]) * 512, **more)  # type: ignore[arg-type]


def receiver(*universes: int, **more: Any) -> Receiver:
    return Receiver(universes, sampling_s=0.0, **more)


def levels(heard: Receiver, now_s: float) -> bytes | None:
    """Those of universe 1 while somebody sends them."""
    frame = heard.frame(1, now_s)
    assert frame is None or len(frame.slots) == 512
    return None if frame is None or not frame.alive else frame.slots


def first(heard: Receiver, now_s: float) -> int | None:
    slots = levels(heard, now_s)
    return None if slots is None else slots[0]


def test_levels_come_from_the_newest_packet() -> None:
    heard = receiver(1)
    assert levels(heard, 0.0) is None
    assert heard.take(packet(sequence=0, level=1), FROM, 0.0) == "taken"
    assert heard.take(packet(sequence=1, level=2), FROM, 0.1) == "taken"
    assert first(heard, 0.1) == 2


def test_fewer_slots_leave_the_rest_at_zero() -> None:
    heard = receiver(1)
    heard.take(replace(BASE, slots=b"\x09\x08"), FROM, 0.0)
    assert levels(heard, 0.0) == b"\x09\x08" + bytes(510)


def test_another_universe_is_not_ours() -> None:
    heard = receiver(2)
    assert heard.take(packet(), FROM, 0.0) == "not-ours"
    assert levels(heard, 0.0) is None


@pytest.mark.parametrize(("sequence", "word"), [(21, "sequence"), (20, "sequence"), (2, "sequence"), (1, "taken")])
def test_out_of_sequence_is_discarded_per_source(sequence: int, word: str) -> None:
    heard = receiver(1)
    heard.take(packet(sequence=21, level=1), FROM, 0.0)
    assert heard.take(packet(sequence=sequence, level=9), FROM, 0.1) == word
    assert first(heard, 0.1) == (9 if word == "taken" else 1)
    assert heard.take(packet(B, sequence=21), FROM, 0.1) == "taken", "another source counts by itself"


def test_sequence_is_per_universe() -> None:
    heard = receiver(1, 2)
    heard.take(packet(sequence=21), FROM, 0.0)
    assert heard.take(packet(sequence=21, universe=2), FROM, 0.0) == "taken"


def test_a_source_is_lost_after_two_and_a_half_seconds_and_then_any_sequence_is_new() -> None:
    heard = receiver(1)
    heard.take(packet(sequence=21), FROM, 0.0)
    assert first(heard, LOSS_S) == 10
    assert first(heard, LOSS_S + 0.01) is None
    assert heard.take(packet(sequence=20, level=3), FROM, LOSS_S + 0.01) == "taken"
    assert first(heard, LOSS_S + 0.01) == 3


def test_a_terminated_packet_ends_the_source_and_its_levels_are_ignored() -> None:
    heard = receiver(1)
    heard.take(packet(sequence=0, level=1), FROM, 0.0)
    for sequence in (1, 2, 3):
        assert heard.take(packet(sequence=sequence, level=99, terminated=True), FROM, 0.1) == "terminated"
        assert levels(heard, 0.1) is None
    assert heard.heard(1, 0.1) == []


def test_preview_and_other_start_codes_never_drive_output_nor_keep_a_source_alive() -> None:
    heard = receiver(1)
    assert heard.take(packet(sequence=0, preview=True), FROM, 0.0) == "preview"
    assert heard.take(packet(sequence=1, start_code=0xCC), FROM, 0.0) == "start-code"
    assert levels(heard, 0.0) is None
    heard.take(packet(sequence=2, level=5), FROM, 0.0)
    heard.take(packet(sequence=3, level=99, preview=True), FROM, 2.0)
    heard.take(packet(sequence=4, level=99, start_code=0xCC), FROM, 2.0)
    assert first(heard, 2.0) == 5
    assert heard.take(packet(sequence=4, level=7), FROM, 2.1) == "sequence", "they count in the sequence"
    assert first(heard, 2.6) is None


def test_the_highest_priority_wins_and_the_next_takes_over_when_it_is_lost() -> None:
    heard = receiver(1)
    heard.take(packet(A, level=200, priority=100), FROM, 0.0)
    heard.take(packet(B, level=5, priority=110), FROM, 0.0)
    assert first(heard, 0.0) == 5
    heard.take(packet(A, sequence=1, level=201, priority=100), FROM, 2.0)
    assert first(heard, 2.0) == 5
    assert first(heard, 2.6) == 201


def test_equal_priorities_merge_slot_by_slot_highest_first() -> None:
    heard = receiver(1)
    heard.take(replace(BASE, cid=A, slots=b"\x01\x09\x03"), FROM, 0.0)
    heard.take(replace(BASE, cid=B, slots=b"\x05\x02"), FROM, 0.0)
    heard.take(replace(BASE, cid=C, slots=b"\xff" * 4, priority=99), FROM, 0.0)
    assert levels(heard, 0.0) == b"\x05\x09\x03\xff" + bytes(508), "what the stronger do not send is the weaker's"


def test_who_else_is_heard() -> None:
    heard = receiver(1)
    heard.take(packet(A), "192.0.2.1", 0.0)
    heard.take(packet(B, priority=120, source_name="desk"), "192.0.2.2", 1.0)
    assert [s.cid for s in heard.heard(1, 1.0)] == [B, A]
    other = heard.heard(1, 1.0)[0]
    assert (other.source_name, other.priority, other.sender, other.heard_s) == ("desk", 120, "192.0.2.2", 1.0)
    assert [s.cid for s in heard.heard(1, 1.2, within_s=1.0)] == [B]
    assert heard.heard(2, 1.0) == []


def test_junk_sources_cannot_fill_memory_nor_push_out_their_betters() -> None:
    heard = receiver(1, max_sources=4)
    heard.take(packet(B, level=7, priority=110), FROM, 0.0)
    words = [heard.take(packet(bytes([n]) * 16, priority=50), FROM, 0.0) for n in range(10, 110)]
    assert words == ["taken"] * 3 + ["too-many"] * 97
    assert len(heard.heard(1, 0.0)) == 4
    assert first(heard, 0.0) == 7
    assert heard.take(packet(C, priority=100), FROM, 0.1) == "taken", "a better one displaces the weakest"
    assert len(heard.heard(1, 0.1)) == 4
    assert heard.take(packet(bytes([9]) * 16, priority=50), FROM, 3.0) == "taken", "the lost make room"


def test_a_newcomer_displaces_the_oldest_of_the_weakest_and_nobody_of_its_own_priority() -> None:
    heard = receiver(1, max_sources=3)
    heard.take(packet(A, priority=50), FROM, 1.0)
    heard.take(packet(B, priority=50), FROM, 0.5)
    heard.take(packet(C, priority=90), FROM, 0.0)
    newcomer = bytes([9]) * 16
    assert heard.take(packet(newcomer, priority=50), FROM, 1.0) == "too-many"
    assert heard.take(packet(newcomer, priority=51), FROM, 1.0) == "taken"
    assert {s.cid for s in heard.heard(1, 1.0)} == {A, C, newcomer}


def test_only_the_lost_make_room() -> None:
    heard = receiver(1, max_sources=2)
    heard.take(packet(A, priority=50), FROM, 100.0)
    heard.take(packet(B, priority=50), FROM, 101.0)
    assert heard.take(packet(C, priority=50), FROM, 100.0 + LOSS_S) == "too-many"
    assert heard.take(packet(C, priority=50), FROM, 100.1 + LOSS_S) == "taken"
    assert {s.cid for s in heard.heard(1, 100.1 + LOSS_S)} == {B, C}


def test_every_universe_has_room_of_its_own_and_sixteen_places_unless_told() -> None:
    """Sixteen is a decision of ours: more sources than anybody patches to one universe, few enough for junk."""
    heard = receiver(1, 2)
    words = [heard.take(packet(bytes([n]) * 16, universe=u), FROM, 0.0) for u in (1, 2) for n in range(1, 18)]
    assert words == [*["taken"] * 16, "too-many"] * 2


def test_a_source_ends_by_its_own_word_only() -> None:
    heard = receiver(1)
    heard.take(packet(A, level=3), FROM, 0.0)
    assert heard.take(packet(B, terminated=True), FROM, 0.0) == "terminated"
    assert heard.take(packet(A, sequence=0, terminated=True), FROM, 0.1) == "sequence", "an old packet ends nothing"
    assert first(heard, 0.1) == 3


def test_everything_is_counted_by_what_became_of_it() -> None:
    heard = receiver(1)
    heard.take(packet(sequence=1), FROM, 0.0)
    heard.take(packet(sequence=1), FROM, 0.0)
    heard.take(packet(universe=2), FROM, 0.0)
    for _ in range(3):
        assert heard.take(Discovery(A, "a", 0, 0, (1,)), FROM, 0.0) == "discovery"
    assert heard.counters == {"taken": 1, "sequence": 1, "not-ours": 1, "discovery": 3}


def test_one_cid_from_two_senders_is_one_source_to_a_receiver_and_two_to_whoever_looks_for_copies() -> None:
    """E1.31 tells sources apart by their CID alone (clause 5.6, from memory)."""
    for by_sender, expected in ((False, ["10.0.0.1"]), (True, ["10.0.0.1", "10.0.0.2"])):
        heard = receiver(1, by_sender=by_sender)
        for sender in ("10.0.0.1", "10.0.0.2"):
            heard.take(packet(A, 7), sender, 0.0)
        assert sorted(source.sender for source in heard.heard(1, 0.0)) == expected


def test_malformed_packets_are_counted_by_reason_and_nothing_escapes() -> None:
    heard, good = receiver(1), bytes(DataPacket(A, "a", 100, 1).pack(bytes(512), 0))
    assert heard.take(good, FROM, 0.0) == "taken"
    assert heard.take(b"", FROM, 0.0) == "malformed-length"
    assert heard.take(good[:-1], FROM, 0.0) == "malformed-length"
    assert heard.take(b"\1" + good[1:], FROM, 0.0) == "malformed-not-e131"
    assert heard.take(good[:21] + b"\7" + good[22:], FROM, 0.0) == "malformed-vector"
    assert heard.take(good[:108] + b"\xc9" + good[109:], FROM, 0.0) == "malformed-range", "priority 201"
    assert heard.counters == {
        "taken": 1, "malformed-length": 2, "malformed-not-e131": 1, "malformed-vector": 1, "malformed-range": 1
    }  # fmt: skip


def test_the_last_look_stays_and_is_not_alive() -> None:
    heard = receiver(1)
    assert heard.frame(1, 0.0) is None, "never heard"
    heard.take(packet(A, level=3, source_name="desk", priority=90), FROM, 0.0)
    heard.take(packet(B, level=9), FROM, 1.0)
    assert heard.take(packet(B, 1, level=200, terminated=True), FROM, 1.5) == "terminated"
    frame = heard.frame(1, 1.5)
    assert frame is not None
    assert (frame.slots[0], frame.alive, frame.source, frame.priority) == (3, True, "desk", 90)
    assert heard.frame(1, LOSS_S) == frame
    frame = heard.frame(1, 9.0)
    assert frame is not None
    assert (frame.slots, frame.alive, frame.source, frame.sender) == (bytes([3]) * 512, False, "desk", FROM)


def test_what_was_left_is_told_also_when_nobody_looked_for_long() -> None:
    """The last look is that of the source which was lost last, in whatever order they were asked for."""
    heard = receiver(1)
    heard.take(packet(A, level=200, priority=150), FROM, 0.0)
    heard.take(packet(B, level=5), FROM, 0.1)
    frame = heard.frame(1, 60.0)
    assert frame is not None
    assert (frame.slots[0], frame.alive) == (5, False)


def test_equal_priorities_that_differ_are_said_and_those_that_agree_are_not() -> None:
    heard = receiver(1)
    heard.take(packet(A, level=7), FROM, 0.0)
    for sequence, level, priority, equal in ((0, 7, 100, False), (1, 8, 100, True), (2, 8, 99, False)):
        heard.take(packet(B, sequence, level, priority=priority), FROM, 0.0)
        frame = heard.frame(1, 0.0)
        assert frame is not None
        assert frame.equal == equal


def test_main_and_backup_desk() -> None:
    """Both send all the time: the main one counts, the backup takes over when it is lost and yields when it is back."""
    heard, sequence = receiver(1), 0
    seen = []
    for step in range(100):  # ten a second
        now_s, sequence = step / 10, sequence + 1
        if not 20 <= step < 60:
            heard.take(packet(A, sequence % 256, 1, priority=110), "10.0.0.1", now_s)
        heard.take(packet(B, sequence % 256, 2, priority=100), "10.0.0.2", now_s)
        seen.append(first(heard, now_s))
    assert seen[0] == 1
    lost = seen.index(2)
    assert lost / 10 == pytest.approx(1.9 + LOSS_S + 0.1), "2.5 s after its last packet at 1.9 s, and no sooner"
    assert seen[lost:60] == [2] * (60 - lost)
    assert seen[60:] == [1] * 40


def test_other_universes_are_listened_on_and_those_that_stay_are_kept() -> None:
    heard = receiver(1, 2)
    heard.take(packet(A, level=4), FROM, 0.0)
    heard.listen_on([1, 3])
    assert first(heard, 0.1) == 4
    assert heard.take(packet(A, universe=2), FROM, 0.1) == "not-ours"
    assert heard.take(packet(A, universe=3), FROM, 0.1) == "taken"
    assert heard.frame(2, 0.1) is None
    heard.listen_on([1])
    assert heard.changed(0.1) == (1,), "and of one that went nothing is told"


def test_equal_desks_that_are_lost_together_leave_their_look_and_fight_no_more() -> None:
    heard = receiver(1)
    heard.take(replace(BASE, cid=A, slots=b"\x01\x09"), FROM, 0.0)
    heard.take(replace(BASE, cid=B, slots=b"\x09\x01"), FROM, 0.0)
    for now_s, alive in ((1.0, True), (9.0, False)):
        frame = heard.frame(1, now_s)
        assert frame is not None
        assert (frame.slots[:2], frame.alive, frame.equal) == (b"\x09\x09", alive, alive)
