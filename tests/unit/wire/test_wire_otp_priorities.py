"""E1.59's priorities and losses: who has a point, who takes it over, and how much is kept of whom."""

from __future__ import annotations

from bridge.wire.otp import MAX_POINTS, MAX_PRODUCERS, Reader
from bridge.wire.otp_send import Sent, transform
from tests.unit.wire.otp_said import FROM, ONE, PLACE, TWO, said, word


def test_the_highest_priority_has_the_point() -> None:
    reader = Reader(1)
    assert word(reader, said(1, priority=100), 0.0) == "taken"
    assert word(reader, said(1, cid=TWO, priority=99), 0.1) == "outranked"
    assert word(reader, said(2, cid=TWO, priority=101), 0.2) == "taken"
    assert word(reader, said(2, priority=100), 0.3) == "outranked"
    assert reader.point_counters["changed-producer"] == 1
    assert reader.points(0.3)[0].producer == "producer 2"


def test_equal_priorities_first_come() -> None:
    reader = Reader(1)
    assert word(reader, said(1)) == "taken"
    assert word(reader, said(1, cid=TWO), 0.1) == "equal-priority"
    assert word(reader, said(2), 0.2) == "taken"


def test_who_lowers_itself_gives_the_point_away() -> None:
    reader = Reader(1)
    word(reader, said(1, priority=150))
    word(reader, said(1, cid=TWO, priority=100), 0.1)
    assert word(reader, said(2, priority=50), 0.2) == "outranked"
    assert word(reader, said(2, cid=TWO, priority=100), 0.3) == "taken"


def test_who_lowers_itself_to_the_same_keeps_the_point() -> None:
    reader = Reader(1)
    word(reader, said(1, priority=100))
    word(reader, said(1, cid=TWO, priority=150), 0.1)
    assert word(reader, said(2, cid=TWO, priority=100), 0.2) == "taken"


def test_of_equals_whoever_was_heard_first_takes_over() -> None:
    reader, third = Reader(1), b"\3" * 16
    word(reader, said(1, priority=150), 0.0)
    word(reader, said(1, cid=TWO), 1.0)
    word(reader, said(1, cid=third), 2.0)
    assert word(reader, said(2, cid=third), 7.6) == "equal-priority"
    assert word(reader, said(2, cid=TWO), 7.7) == "taken"


def test_who_was_lost_comes_last_among_equals() -> None:
    reader, third = Reader(1), b"\3" * 16
    word(reader, said(1, cid=TWO), 0.0)
    for step in range(100):
        word(reader, said(step, priority=150), step / 10)
        word(reader, said(step, cid=third), step / 10)
    assert word(reader, said(500, cid=third), 12.0) == "outranked"
    assert word(reader, said(500, cid=TWO), 12.1) == "outranked"
    assert word(reader, said(501, cid=TWO), 17.5) == "equal-priority"
    assert word(reader, said(501, cid=third), 17.5) == "taken"


def test_a_producer_may_change_its_name_and_address() -> None:
    reader = Reader(1)
    for folio, name, host in ((1, "stage", "192.0.2.1"), (2, "hall", "192.0.2.2")):
        reader.take(transform(ONE, name, 1, folio, 0, [Sent(1, 7, PLACE)])[0], host, 0.0)
        assert (reader.points(0.0)[0].producer, reader.points(0.0)[0].host) == (name, host)


def test_the_lower_takes_over_when_the_higher_is_lost() -> None:
    reader = Reader(1)
    word(reader, said(1, priority=150), 0.0)
    for step in range(1, 80):
        expected = "outranked" if step <= 75 else "taken"
        assert word(reader, said(step, cid=TWO), step / 10) == expected, step
    assert reader.points(7.9)[0].producer == "producer 2"
    assert word(reader, said(100, priority=150), 8.0) == "taken", "and gives it back"


def test_priorities_are_of_each_point() -> None:
    reader = Reader(1)
    word(reader, transform(ONE, "x", 1, 1, 0, [Sent(1, 1, PLACE, priority=50), Sent(1, 2, PLACE, priority=150)])[0])
    both = transform(TWO, "x", 1, 1, 0, [Sent(1, 1, PLACE), Sent(1, 2, PLACE)])[0]
    assert [point.name for point in reader.take(both, FROM, 0.1)] == ["1/1"]


def test_a_producer_that_has_no_place_for_a_point_does_not_hold_it() -> None:
    reader = Reader(1)
    word(reader, said(1, None, priority=200))
    assert word(reader, said(1, cid=TWO, priority=1), 0.1) == "taken"


def test_lost_points_are_listed_for_a_minute() -> None:
    reader = Reader(1)
    word(reader, said(1), 0.0)
    word(reader, said(2, point=8), 10.0)
    assert [(row.name, row.age_s, row.lost) for row in reader.points(11.0)] == [
        ("1/7", 11.0, True),
        ("1/8", 1.0, False),
    ]
    assert [row.name for row in reader.points(60.1)] == ["1/8"]


def test_producers_never_outgrow_their_place_and_the_lost_make_room() -> None:
    reader = Reader(1)
    for number in range(2000):
        word(reader, said(1, cid=number.to_bytes(16, "big"), point=number), number / 1000)
    assert reader.counters == {"taken": MAX_PRODUCERS, "too-many": 2000 - MAX_PRODUCERS}
    assert len(reader.points(2.0)) == MAX_PRODUCERS
    assert word(reader, said(2, cid=(0).to_bytes(16, "big"), point=0), 2.0) == "taken", "who is there stays"
    assert word(reader, said(1), 9.6) == "taken"


def test_points_never_outgrow_their_place_and_the_lost_make_room() -> None:
    reader = Reader(1)
    for number in range(MAX_POINTS + 100):
        word(reader, said(number, point=number), number / 1000)
    assert reader.counters == {"taken": MAX_POINTS, "too-many": 100}
    assert word(reader, said(5000, cid=TWO, point=1, priority=120), 1.0) == "taken", "another has places of its own"
    assert word(reader, said(6000, point=9999), 9.0) == "taken"
    assert [row.name for row in reader.points(9.0)] == ["1/9999"]


def test_room_is_looked_for_once_a_second() -> None:
    """Else junk that fills every place costs a search through all of them a packet."""
    reader = Reader(1)
    for number in range(MAX_PRODUCERS):
        word(reader, said(1, cid=(100 + number).to_bytes(16, "big"), point=number), 0.0)
    assert [word(reader, said(1), at_s) for at_s in (7.4, 7.6, 8.3, 8.5)] == ["too-many"] * 3 + ["taken"]


def test_who_was_forgotten_has_no_point() -> None:
    reader = Reader(1)
    word(reader, said(1, priority=150), 0.0)
    word(reader, said(1, cid=TWO), 2.0)
    for number in range(MAX_PRODUCERS - 1):
        word(reader, said(1, cid=(100 + number).to_bytes(16, "big"), point=number + 100), 8.0)
    assert [row.producer for row in reader.points(20.0) if row.name == "1/7"] == ["producer 2"]
