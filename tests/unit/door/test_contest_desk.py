"""A desk that is expected on our universes: below us it is no stranger; level with us or above, what to do is said."""

from __future__ import annotations

import pytest

from bridge.door.armed import tell_armed
from bridge.door.events import OtherSource
from tests.unit.door.stand_ins import DESK, OTHER, SENT, Watched

LEVEL, LOUD, TOP = (OtherSource("Desk", "10.0.0.9", priority) for priority in (110, 150, 200))
RAISE = "raise `sacn: priority` above 150 in network.yaml, or give the desk a universe of its own"


def test_a_desk_below_us_is_neither_refused_nor_told_nor_shown() -> None:
    watched = Watched(expected=(1, 2))
    assert watched.hear(1.0, {1: (DESK,), 2: (DESK, OTHER)}, sent=()) == []
    assert watched.check(2.0) == []
    assert watched.contest.refused == {}
    assert watched.contest.row(1, waiting=False) == (1, "sent", "", 0)
    assert watched.hear(3.0, {1: (DESK, OTHER), 2: (DESK, OTHER)}) == []
    assert watched.check(4.0, sent=SENT) == [], "armed again"


def test_on_other_universes_it_is_a_stranger_as_ever() -> None:
    watched = Watched(expected=(1, 2))
    assert watched.hear(1.0, {2: (DESK,), 3: (DESK,)}) == [
        'error: universe 3 is now also sent by "Desk" at 10.0.0.9 (priority 100)'
    ]
    (line,) = watched.check(2.0)
    assert line.startswith("error: universe 3 is NOT SENT")
    assert line.endswith("End that source and send /arm 1 again, or set `sacn: contested: send` in network.yaml")


@pytest.mark.parametrize(
    ("source", "what"),
    [
        (LEVEL, RAISE.replace("150", "110")),
        (LOUD, RAISE),
        (TOP, "lower the desk's priority below 200, or give the desk a universe of its own"),
    ],
)
def test_a_desk_that_is_not_below_us_is_refused_with_what_to_do(source: OtherSource, what: str) -> None:
    watched = Watched(expected=(1, 2))
    watched.hear(1.0, {1: (source, DESK)}, sent=())
    assert watched.check(2.0) == [
        f'error: universe 1 is NOT SENT: "Desk" at 10.0.0.9 (priority {source.priority}) already sends there, '
        f"not below our 110; {what}, then /reload and /arm 1"
    ]
    assert watched.contest.refused == {1: (source,)}
    assert watched.contest.row(1, waiting=False) == (1, "refused", "Desk", source.priority)
    tell_armed(watched.news, (2, 3, 7), watched.contest, {})
    (armed,) = watched.told
    assert armed.endswith(f"(priority {source.priority}). {what[0].upper()}{what[1:]}, then /reload and /arm 1")


def test_where_the_desk_and_a_stranger_are_in_the_way_both_ways_out_are_said() -> None:
    watched = Watched(expected=(1, 2))
    watched.hear(1.0, {1: (LOUD,), 3: (DESK,)}, sent=())
    watched.check(2.0)
    assert watched.contest.what_to_do() == f"End what sends there and send /arm 1 again; beside the desk {RAISE}"


def test_a_desk_that_rises_above_us_later_overrules_with_what_to_do_and_nothing_else_is_said() -> None:
    watched = Watched(expected=(1, 2))
    watched.hear(1.0, {1: (DESK,), 2: (DESK,)})
    assert watched.hear(2.0, {1: (LOUD,), 2: (LOUD,)}) == [
        'error: OVERRULED: universes 1-2 are sent by "Desk" at 10.0.0.9 (priority 150) above our 110: heads obey that '
        f"source, not us; {RAISE}"
    ]
    assert watched.contest.row(1, waiting=False) == (1, "overruled", "Desk", 150)
    assert watched.hear(3.0, {1: (DESK,), 2: (LOUD,)}) == [
        "warning: universe 1 is ours again: no higher priority is heard"
    ]


def test_a_desk_that_comes_to_our_own_priority_overrules_as_well_but_elsewhere_it_does_not() -> None:
    watched = Watched(expected=(1, 2))
    told = watched.hear(1.0, {1: (LEVEL,), 3: (LEVEL,)})
    assert told == [
        'error: universe 3 is now also sent by "Desk" at 10.0.0.9 (priority 110)',
        'error: OVERRULED: universe 1 is sent by "Desk" at 10.0.0.9 (priority 110) and our priority is 110, too: on '
        f"every slot the higher level counts; {RAISE.replace('150', '110')}",
    ]


def test_one_source_above_us_with_the_desk_below_and_without_is_told_for_each_by_itself() -> None:
    told = Watched(expected=(1, 2)).hear(1.0, {1: (LOUD,), 3: (LOUD,)})
    assert [line.partition(" are sent by")[0].partition(" is sent by")[0] for line in told] == [
        'error: universe 3 is now also sent by "Desk" at 10.0.0.9 (priority 150)',
        "error: OVERRULED: universe 1",
        "error: OVERRULED: universe 3",
    ]


def test_where_contested_universes_are_sent_the_desk_above_us_is_said_and_overrules_at_once() -> None:
    watched = Watched("send", (1, 2))
    watched.hear(1.0, {1: (LOUD,)}, sent=())
    told = watched.check(2.0)
    assert told[0].endswith("sent all the same (`contested: send`)")
    assert told[1].endswith(RAISE)
    assert watched.contest.refused == {}


def test_a_universe_that_is_expected_no_more_has_strangers_again() -> None:
    watched = Watched(expected=(1, 2))
    watched.hear(1.0, {1: (DESK,)})
    watched.contest.expect([])
    assert watched.contest.row(1, waiting=False) == (1, "sent", "Desk", 100)
    (line,) = watched.check(2.0)
    assert line.startswith("error: universe 1 is NOT SENT")
