"""Who else sends on our universes: told once, refused or not, overruled and no more."""

from __future__ import annotations

import json

import pytest

from bridge.door.contest import FORGET_S, NEWCOMERS_TOLD, ranges
from bridge.door.events import OtherSource
from tests.unit.door.stand_ins import DESK, OTHER, SENT, Watched

LOUD, LOUDER = OtherSource("Loud", "10.0.0.7", 111), OtherSource("Louder", "10.0.0.6", 150)
EQUAL = OtherSource("Equal", "10.0.0.5", 110)


def test_before_the_first_packet_what_is_contested_is_refused_universe_by_universe() -> None:
    watched = Watched()
    assert watched.hear(1.0, {2: (DESK, OTHER), 7: (DESK,)}, sent=()) == []
    assert [line[:60] for line in watched.check(2.0)] == [
        'error: universe 2 is NOT SENT: "Desk" at 10.0.0.9 (priority ',
        'error: universe 7 is NOT SENT: "Desk" at 10.0.0.9 (priority ',
    ]
    assert watched.contest.refused == {2: (DESK, OTHER), 7: (DESK,)}
    assert watched.hear(2.1, {2: (DESK, OTHER), 7: (DESK,)}, sent=(1, 3)) == [], "who was named is no newcomer"


def test_armed_again_what_is_ours_stays_ours_and_who_has_gone_is_refused_no_more() -> None:
    watched = Watched()
    watched.hear(1.0, {2: (DESK,)}, sent=())
    watched.check(2.0)
    watched.hear(3.0, {1: (DESK,)}, sent=(1, 3, 7))
    (line,) = watched.check(4.0, sent=(1, 3, 7))
    assert line.startswith("error: universe 1 is also sent by")
    assert line.endswith("sent all the same (it was ours before)")
    assert watched.contest.refused == {}


def test_where_the_show_says_send_nothing_is_refused_but_it_is_said() -> None:
    watched = Watched("send")
    watched.hear(1.0, {2: (DESK,)}, sent=())
    (line,) = watched.check(2.0)
    assert line.endswith("sent all the same (`contested: send`)")
    assert watched.contest.refused == {}


def test_a_newcomer_is_one_line_over_all_its_universes_and_each_source_has_its_own() -> None:
    assert Watched().hear(1.0, {1: (DESK,), 2: (DESK, OTHER), 3: (DESK,), 7: (DESK,)}) == [
        'error: universes 1-3, 7 are now also sent by "Desk" at 10.0.0.9 (priority 100)',
        'error: universe 2 is now also sent by "Other" at 10.0.0.8 (priority 100)',
    ]


def test_a_source_on_what_we_do_not_send_takes_nothing_from_us() -> None:
    watched = Watched()
    assert watched.hear(1.0, {2: (LOUDER,)}, sent=(1,)) == []
    assert watched.contest.row(2, waiting=False) == (2, "sent", "Louder", 150)


@pytest.mark.parametrize(("silent_s", "lines"), [(FORGET_S - 0.1, 0), (FORGET_S, 1)])
def test_a_source_is_told_again_only_after_ten_seconds_of_silence(silent_s: float, lines: int) -> None:
    """Sources are heard as changes: silence counts from the change, however long the source was there before."""
    watched = Watched()
    assert len(watched.hear(1.0, {1: (DESK,)})) == 1
    assert watched.hear(100.0, {}) == []
    assert len(watched.hear(100.0 + silent_s, {1: (DESK,)})) == lines


def test_a_flood_of_sources_does_not_fill_the_log() -> None:
    sources = tuple(OtherSource(f"S{n}", "10.0.0.9", 100) for n in range(50))
    told = Watched().hear(1.0, {1: sources})
    assert len(told) == NEWCOMERS_TOLD + 1
    assert told[-1] == f"error: and {50 - NEWCOMERS_TOLD} more sources"


def test_overruled_begins_and_ends_with_one_line_each() -> None:
    watched = Watched()
    heard = {1: (LOUD, LOUDER), 2: (LOUD,), 3: (EQUAL,), 7: (LOUDER,)}
    told = [line for line in watched.hear(1.0, heard) if "OVERRULED" in line]
    why = "above our 110: heads obey that source, not us"
    assert told == [
        f'error: OVERRULED: universes 1, 7 are sent by "Louder" at 10.0.0.6 (priority 150) {why}',
        f'error: OVERRULED: universe 2 is sent by "Loud" at 10.0.0.7 (priority 111) {why}',
    ], "each universe beside the source that has it"
    rows = [watched.contest.row(u, waiting=False) for u in (1, 2, 3, 7)]
    assert [row[1:] for row in rows] == [
        *(("overruled", "Louder", 150), ("overruled", "Loud", 111), ("sent", "Equal", 110)),
        ("overruled", "Louder", 150),
    ]
    assert watched.hear(2.0, heard) == []
    assert watched.hear(2.5, {u: s for u, s in heard.items() if u < 7}, sent=(1, 2, 3)) == [], "7 is ours no more"
    assert watched.hear(3.0, {1: (LOUD,)}) == ["warning: universe 2 is ours again: no higher priority is heard"]
    assert watched.hear(4.0, {}) == ["warning: universe 1 is ours again: no higher priority is heard"]
    assert watched.hear(5.0, {}) == []


def test_that_many_sources_overrule_is_said_without_filling_the_log() -> None:
    sources = [OtherSource(f"S{n}", "10.0.0.9", 150) for n in range(NEWCOMERS_TOLD + 3)]
    sent = tuple(range(1, len(sources) + 1))
    told = Watched().hear(1.0, {n: (source,) for n, source in zip(sent, sources, strict=True)}, sent)
    told = [line for line in told if "OVERRULED" in line]
    assert len(told) == NEWCOMERS_TOLD + 1
    assert told[-1] == "error: OVERRULED: universes 9-11 are sent by others above our 110"


def test_each_overruling_has_a_key_of_its_own_so_that_none_is_held_back_for_another() -> None:
    watched = Watched()
    watched.contest.hear({1: (LOUD,), 2: (LOUDER,)}, SENT, 1.0)
    watched.contest.hear({}, SENT, 1.1)
    notices = [notice for notice in watched.news.take() if "also sent" not in notice.text]
    assert len(notices) == 3
    assert len({notice.key for notice in notices}) == 3


def test_a_priority_that_rises_overrules_though_the_source_is_known() -> None:
    watched = Watched()
    watched.hear(1.0, {1: (DESK,)})
    told = watched.hear(2.0, {1: (DESK._replace(priority=200),)})
    assert any("OVERRULED: universe 1 is" in line for line in told)


def test_opened_under_a_higher_priority_it_is_overruled_from_the_first_packet() -> None:
    watched = Watched("send")
    watched.hear(1.0, {1: (LOUDER,)}, sent=())
    assert any("OVERRULED: universe 1 is" in line for line in watched.check(2.0))
    assert watched.contest.row(1, waiting=False)[1] == "overruled"


def test_the_words_of_a_universe_and_the_strongest_other_source() -> None:
    watched = Watched()
    assert watched.contest.row(1, waiting=True) == (1, "waiting", "", 0)
    watched.hear(1.0, {1: (DESK, LOUDER, LOUD)}, sent=())
    assert watched.contest.row(1, waiting=True) == (1, "waiting", "Louder", 150)
    watched.check(2.0)
    assert watched.contest.row(1, waiting=True) == (1, "refused", "Louder", 150)
    watched.hear(3.0, {}, sent=(2, 3))
    assert watched.contest.row(1, waiting=False) == (1, "refused", "Louder", 150), "until /arm 1 looks again"
    assert watched.contest.row(2, waiting=False) == (2, "sent", "", 0)
    watched.hear(4.0, {1: (LOUD,)}, sent=(2, 3))
    assert watched.contest.row(1, waiting=False) == (1, "refused", "Loud", 111), "who is heard now"
    watched.hear(5.0, {}, sent=(2, 3))
    watched.contest.forget()
    assert watched.contest.row(1, waiting=True) == (1, "waiting", "", 0)


def test_why_universes_are_refused_names_each_source_once() -> None:
    watched = Watched()
    assert watched.contest.why_refused() == ""
    watched.hear(1.0, {1: (DESK,), 2: (DESK,), 7: (DESK, LOUDER)}, sent=())
    watched.check(2.0)
    assert watched.contest.why_refused() == (
        '1-2: "Desk" at 10.0.0.9 (priority 100); 7: "Louder" at 10.0.0.6 (priority 150)'
    )


def test_what_was_refused_before_a_restart_stays_so() -> None:
    watched = Watched()
    watched.contest.refuse_again([7, 2])
    assert watched.contest.row(7, waiting=False) == (7, "refused", "refused before the restart", 0)
    assert list(watched.contest.refused) == [2, 7]
    watched.check(2.0)
    assert watched.contest.refused == {}


def test_its_state_through_json_tells_nothing_twice_and_nothing_less() -> None:
    watched, fresh = Watched(), Watched()
    watched.hear(1.0, {2: (DESK,)}, sent=())
    watched.check(2.0)
    watched.hear(3.0, {1: (LOUDER,), 2: (DESK,)}, sent=(1, 3, 7))
    fresh.contest.restore(json.loads(json.dumps(watched.contest.state())))
    assert fresh.contest.state() == watched.contest.state()
    for now_s, heard in ((4.0, {1: (LOUDER,), 3: (OTHER,)}), (5.0, {}), (16.0, {1: (LOUDER,)})):
        told = watched.hear(now_s, heard, sent=(1, 3, 7))
        assert told
        assert fresh.hear(now_s, heard, sent=(1, 3, 7)) == told


def test_universes_are_short_for_people() -> None:
    assert ranges((1, 2, 3, 7, 9, 10)) == "1-3, 7, 9-10"
    assert ranges((5,)) == "5"
    assert ranges(()) == ""
