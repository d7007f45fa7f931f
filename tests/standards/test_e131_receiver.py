"""ANSI E1.31-2018, what it asks of a receiver: every clause with its test, or the reason why there is none.

The clauses are from memory (number and sense, not words); what they ask is also collected in facts/protocols.md.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
UNIT = "unit/wire/test_wire_receiver.py"
TIME = "unit/wire/test_wire_receiver_time.py"
SYNC = "unit/wire/test_wire_receiver_sync.py"
MERGE = "unit/wire/test_wire_merge.py"
FUZZ = "unit/wire/test_wire_receiver_fuzz.py"
DESK = "unit/daemon/test_desk_ears.py"
PACKETS = "standards/test_e131_receiver_packets.py"
FIELDS = f"{PACKETS}::test_a_packet_with_a_field_that_is_not_the_standards_is_discarded"
NO = "none: "

# (clause, what a receiver does, tests or the reason why none). All from memory of the 2018 edition.
CLAUSES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("5.1", "preamble size other than 0x0010: discard", (FIELDS,)),
    ("5.2", "post-amble size other than 0: discard", (FIELDS,)),
    ("5.3", "another ACN packet identifier: discard", (FIELDS,)),
    ("5.4", "root flags and length", (FIELDS,)),
    ("5.5", "root vector other than data or extended: discard", (FIELDS,)),
    (
        "5.6",
        "a source is its CID, whatever address it sends from",
        (f"{UNIT}::test_one_cid_from_two_senders_is_one_source_to_a_receiver_and_two_to_whoever_looks_for_copies",),
    ),
    ("6.1", "framing flags and length", (FIELDS,)),
    ("6.2.1", "framing vector other than data: discard", (FIELDS,)),
    (
        "6.2.2",
        "source name: UTF-8, for people only, need not be unique",
        (f"{PACKETS}::test_any_source_name_is_taken",),
    ),
    ("6.2.3", "priority 0 to 200, others discarded", (FIELDS, f"{MERGE}::test_examples")),
    (
        "6.2.3",
        "the highest priority wins; the next takes over when it is lost",
        (
            f"{UNIT}::test_the_highest_priority_wins_and_the_next_takes_over_when_it_is_lost",
            f"{UNIT}::test_main_and_backup_desk",
        ),
    ),
    (
        "6.2.3.1, 6.2.3.4",
        "several sources of the highest priority: merge or arbitrate, and say how",
        (
            f"{UNIT}::test_equal_priorities_merge_slot_by_slot_highest_first",
            f"{UNIT}::test_equal_priorities_that_differ_are_said_and_those_that_agree_are_not",
            f"{PACKETS}::test_two_sources_of_the_librarys_packets_merge_by_the_highest_level",
        ),
    ),
    (
        "6.2.3.3, 6.2.3.5",
        "more sources than a receiver takes: a rule, and a way to see it",
        (
            f"{UNIT}::test_junk_sources_cannot_fill_memory_nor_push_out_their_betters",
            f"{UNIT}::test_a_newcomer_displaces_the_oldest_of_the_weakest_and_nobody_of_its_own_priority",
            f"{FUZZ}::test_sources_never_outgrow_their_place",
        ),
    ),
    ("6.2.3.6", "devices with several modes", (f"{NO}there is one mode",)),
    (
        "6.2.4",
        "synchronisation address 0: not synchronised",
        (f"{SYNC}::test_another_address_or_none_ends_the_waiting",),
    ),
    (
        "6.2.5, 6.7.2",
        "discard B after A when -20 < B - A <= 0, signed",
        (f"{PACKETS}::test_the_librarys_sequence_of_21",),
    ),
    (
        "6.7.2",
        "per source, universe and kind of packet",
        (
            f"{UNIT}::test_out_of_sequence_is_discarded_per_source",
            f"{UNIT}::test_sequence_is_per_universe",
            f"{SYNC}::test_an_old_sync_releases_nothing_and_its_sequence_is_that_of_its_address",
            f"{TIME}::test_levels_and_priorities_share_the_sequence_of_the_universe",
        ),
    ),
    (
        "6.2.6 bit 7",
        "preview data is never put out",
        (
            f"{UNIT}::test_preview_and_other_start_codes_never_drive_output_nor_keep_a_source_alive",
            f"{TIME}::test_preview_priorities_change_nothing",
        ),
    ),
    (
        "6.2.6 bit 6",
        "stream terminated: its levels are ignored, its source is gone at once",
        (
            f"{UNIT}::test_a_terminated_packet_ends_the_source_and_its_levels_are_ignored",
            f"{UNIT}::test_a_source_ends_by_its_own_word_only",
            f"{TIME}::test_both_words_of_one_source_end_with_its_terminated_packet",
            f"{DESK}::test_a_desk_that_ends_is_gone_at_once",
        ),
    ),
    (
        "6.2.6 bit 5",
        "Force_Synchronization 0: held after the loss of the sync",
        (f"{SYNC}::test_the_sync_lost_levels_that_force_it_are_held_until_it_is_back",),
    ),
    (
        "6.2.6 bit 5",
        "Force_Synchronization 1: goes on after the loss of the sync",
        (f"{SYNC}::test_the_sync_lost_levels_go_on_without_where_the_packet_allows",),
    ),
    ("6.2.6 bits 0-4", "reserved: ignored", (f"{PACKETS}::test_reserved_bits_and_octets_are_ignored",)),
    ("6.2.7", "universe 1 to 63999, others discarded", (FIELDS, f"{UNIT}::test_another_universe_is_not_ours")),
    ("6.3.1, 6.3.3", "sync packets: vector, address", (FIELDS,)),
    (
        "6.3.3",
        "syncs of no address in use are nothing",
        (f"{SYNC}::test_anothers_sync_and_another_address_release_nothing",),
    ),
    ("6.3.4", "reserved: ignored", (f"{PACKETS}::test_reserved_bits_and_octets_are_ignored",)),
    (
        "6.4, 8",
        "universe discovery: a receiver need not act on it",
        (f"{FUZZ}::test_twenty_thousand_mutated_packets_leave_a_receiver_that_works",),
    ),
    ("6.6", "rate, repetition, keep-alive", (f"{NO}of the source; ours is in standards/test_e131.py",)),
    (
        "6.7.1",
        "network data loss after 2.5 s",
        (
            f"{UNIT}::test_a_source_is_lost_after_two_and_a_half_seconds_and_then_any_sequence_is_new",
            f"{TIME}::test_time_alone_is_told_at_its_moment_and_asks_for_no_look_before",
            f"{DESK}::test_a_lost_desk_is_told_when_its_time_has_come_and_its_return_too",
        ),
    ),
    (
        "6.7.1",
        "what is put out after the loss is the device's choice: ours is the last look",
        (f"{UNIT}::test_the_last_look_stays_and_is_not_alive",),
    ),
    ("7.1-7.6", "DMP lengths, vector, types, first address, increment, count: others discarded", (FIELDS,)),
    ("7.6", "fewer than 512 slots", (f"{UNIT}::test_fewer_slots_leave_the_rest_at_zero", f"{MERGE}::test_examples")),
    (
        "7.7",
        "start code 0 is levels; others are not levels",
        (f"{UNIT}::test_preview_and_other_start_codes_never_drive_output_nor_keep_a_source_alive",),
    ),
    (
        "9.1",
        "a receiver works with one universe or many",
        (f"{UNIT}::test_other_universes_are_listened_on_and_those_that_stay_are_kept",),
    ),
    ("9.2", "UDP port 5568", (f"{PACKETS}::test_where_a_receiver_listens",)),
    (
        "9.3.1, 9.3.2",
        "multicast: joins 239.255.high.low of each universe",
        (f"{PACKETS}::test_where_a_receiver_listens", f"{DESK}::test_the_groups_are_joined_again"),
    ),
    (
        "9.3.3",
        "unicast is heard too, and the universe is the packet's",
        (f"{DESK}::test_unicast_is_heard_where_it_is_wanted",),
    ),
    ("9.4", "IPv6", (f"{NO}the show's networks are IPv4, as design/interface.md has it",)),
    ("10", "to and from DMX512-A lines", (f"{NO}there is no such line here; nodes do it",)),
    (
        "11.1.1",
        "before the first sync on its address, data is used as it comes",
        (f"{SYNC}::test_levels_are_used_as_they_come_until_a_sync_on_their_address_was_heard",),
    ),
    (
        "11.1.2",
        "from then on data waits for the sync, which releases all universes at once",
        (
            f"{SYNC}::test_then_they_wait_for_the_next_and_the_newest_counts",
            f"{SYNC}::test_one_sync_releases_every_universe_that_waits_on_it",
            f"{PACKETS}::test_the_librarys_sync_releases_the_librarys_levels",
        ),
    ),
    (
        "11.2",
        "syncs come to the group of their address",
        (f"{DESK}::test_the_group_of_a_synchronisation_address_is_joined_once_it_is_learnt",),
    ),
)

# Start code 0xDD and the sampling period, of facts/protocols.md: common practice beside the standard.
PRACTICE: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("priority per slot", "the highest wins, equal ones by highest level", (f"{MERGE}::test_examples",)),
    ("0", "to be ignored there", (f"{TIME}::test_zero_is_to_be_ignored_there_and_a_slot_that_nobody_has_reads_zero",)),
    (
        "without",
        "counts with its packet's priority",
        (f"{TIME}::test_a_source_without_them_counts_with_its_packets_priority",),
    ),
    (
        "1.5 s",
        "a new source is waited for; after the sampling only",
        (
            f"{TIME}::test_a_new_source_waits_for_its_per_address_priorities_and_those_who_were_there_go_on",
            f"{TIME}::test_sources_that_come_during_the_sampling_are_not_waited_for_beyond_it",
        ),
    ),
    (
        "2.5 s",
        "falls back",
        (f"{TIME}::test_its_packets_priority_counts_again_two_and_a_half_seconds_after_the_last_of_them",),
    ),
    (
        "sampling",
        "1.5 s, nothing is put out",
        (f"{TIME}::test_nothing_is_output_while_a_universe_is_sampled_and_then_all_at_once",),
    ),
    ("unknown", "a node that does not know them", (f"{TIME}::test_a_node_that_does_not_know_them_leaves_them_alone",)),
)


@pytest.mark.parametrize(("clause", "asks", "tests"), CLAUSES + PRACTICE)
def test_every_clause_has_a_test_that_exists_or_a_reason(clause: str, asks: str, tests: tuple[str, ...]) -> None:
    assert tests, f"{clause} {asks}: neither a test nor a reason"
    for named in tests:
        if named.startswith(NO):
            assert len(named) > len(NO) + 10
            continue
        path, name = named.split("::")
        functions = {
            node.name for node in ast.parse((TESTS / path).read_text()).body if isinstance(node, ast.FunctionDef)
        }
        assert name in functions, f"{clause} {asks}: no {name} in {path}"
