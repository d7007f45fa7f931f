"""E1.59 over time: folios out of order, pages, and producers that start again."""

from __future__ import annotations

import random

import pytest

from bridge.wire.otp import Reader
from bridge.wire.otp_folios import back
from bridge.wire.otp_send import Sent, transform
from tests.unit.wire.otp_said import FROM, ONE, PLACE, said, word

ALL = 1 << 32
PERIOD_S = 1 / 60


def pages(folio: int, points: int = 40) -> list[bytes]:
    """Folio of several pages; every point stands at x = folio."""
    sent = [Sent(1, number, (float(folio), 0.0, 0.0), (0.0, 0.0, 0.0)) for number in range(points)]
    return transform(ONE, "tags", 1, folio, 10_000_000 + folio * 16_667, sent)


@pytest.mark.parametrize("last", [0, 3, 1000, ALL - 1, ALL - 3, ALL // 2])
def test_behind_and_ahead_round_the_end_of_the_numbers(last: int) -> None:
    for behind in (-70_000, -1, 0, 1, 5, 65_535, 65_536):
        assert back((last - behind) % ALL, last) == behind


@pytest.mark.parametrize("start", [0, 1000, ALL - 50])
def test_folios_that_rise_are_taken_also_over_the_end_of_the_numbers(start: int) -> None:
    reader = Reader(1)
    for step in range(100):
        packet = said((start + step) % ALL, timestamp_us=10_000_000 + step * 16_667)
        assert word(reader, packet, step * PERIOD_S) == "taken"


@pytest.mark.parametrize(
    ("behind", "expected"),
    [
        *((behind, "old") for behind in (1, 4, 5, 65_535)),
        *((behind, "taken") for behind in (65_536, -1, -9999)),
        (0, "duplicate"),
    ],
)
def test_a_folio_beside_the_last(behind: int, expected: str) -> None:
    reader, last = Reader(1), 100_000
    assert word(reader, said(last)) == "taken"
    assert word(reader, said(last - behind), 0.001) == expected


@pytest.mark.parametrize(("behind", "expected"), [(4, "taken"), (5, "old"), (6, "old")])
def test_what_comes_late_within_the_window_is_taken_where_nothing_newer_was_seen(behind: int, expected: str) -> None:
    reader = Reader(1)
    word(reader, said(100))
    assert word(reader, said(100 - behind, point=8), 0.001) == expected


def test_what_comes_late_does_not_move_the_window() -> None:
    reader = Reader(1)
    words = [word(reader, said(folio, point=point), 0.001) for folio, point in ((100, 1), (97, 2), (94, 3), (96, 4))]
    assert words == ["taken", "taken", "old", "taken"]


def test_pages_are_taken_as_they_come_and_no_point_goes_back() -> None:
    reader = Reader(1)
    first, second = pages(1), pages(2)
    order = [first[0], second[1], first[1], second[0], first[2], first[0], second[2]]
    gave = [len(reader.take(page, FROM, 0.0)) for page in order]
    assert gave == [18, 18, 0, 18, 4, 0, 4]
    assert reader.point_counters["old"] == 18 + 18
    assert reader.counters == {"taken": 5, "old": 2}


def test_any_order_with_copies_gives_each_point_rising() -> None:
    """Late by up to 8 packets, every third a copy: whatever is given of a point is newer than what was given before."""
    rng = random.Random(20261126)
    packets = [page for folio in range(200) for page in pages(folio)]
    packets += rng.sample(packets, len(packets) // 3)
    packets.sort(key=lambda packet: int.from_bytes(packet[34:38], "big") * 3 + packet[39] + 8 * rng.random())
    reader, last = Reader(1), dict[str, float]()
    for number, packet in enumerate(packets):
        for point in reader.take(packet, FROM, number * PERIOD_S / 4):
            assert point.place[0] > last.get(point.name, -1.0)
            last[point.name] = point.place[0]
    assert set(last.values()) == {199.0}
    assert reader.point_counters["taken"] > 0.6 * 200 * 40


def test_a_copy_gives_nothing_twice() -> None:
    reader = Reader(1)
    word(reader, said(1))
    assert [word(reader, said(1)) for _ in range(3)] == ["duplicate"] * 3


def test_a_point_named_twice_in_a_message_counts_once() -> None:
    (packet,) = transform(ONE, "x", 1, 1, 1_000_000, [Sent(1, 7, PLACE), Sent(1, 7, (9.0, 9.0, 9.0))])
    assert [point.place for point in Reader(1).take(packet, FROM, 0.0)] == [PLACE]


@pytest.mark.parametrize("last", [30, 60_000, 10_000_000])
def test_a_producer_that_starts_again_is_heard_within_a_third_of_a_second(last: int) -> None:
    reader = Reader(1)
    for step in range(20):
        word(reader, said(last - 19 + step), step * PERIOD_S)
    words = [word(reader, said(step, timestamp_us=1 + step * 16_667), 2.0 + step * PERIOD_S) for step in range(60)]
    first = words.index("taken")
    assert first * PERIOD_S <= 0.3
    assert set(words[first:]) == {"taken"}
    if last > 65_535 + 60:
        assert first == 0


def test_late_copies_of_old_packets_are_no_restart() -> None:
    """A second way through the network that is a second late: two series rise beside each other."""
    reader = Reader(1)
    for step in range(300):
        assert word(reader, said(1000 + step), step * PERIOD_S) == "taken"
        if step >= 60:
            assert word(reader, said(1000 + step - 60), step * PERIOD_S) == "old"


def test_old_packets_are_no_restart_in_a_burst_nor_falling() -> None:
    burst, falling = Reader(1), Reader(1)
    word(burst, said(1000))
    word(falling, said(1000))
    assert {word(burst, said(500 + step), 0.1 + step / 1000) for step in range(200)} == {"old"}
    assert {word(falling, said(900 - step), 0.1 + step / 100) for step in range(200)} == {"old"}


def test_a_single_old_packet_after_a_pause_is_old() -> None:
    reader = Reader(1)
    word(reader, said(1000))
    assert [word(reader, said(folio), at_s) for folio, at_s in ((900, 1.0), (900, 1.3), (900, 1.6))] == ["old"] * 3
    assert word(reader, said(1001), 2.0) == "taken"


def test_after_a_loss_any_folio_is_new() -> None:
    reader = Reader(1)
    word(reader, said(1000))
    assert word(reader, said(500), 7.5) == "old"
    assert word(reader, said(500), 7.6) == "taken"


@pytest.mark.parametrize("behind", [0, 3])
def test_after_a_loss_a_folio_within_the_window_is_new_too(behind: int) -> None:
    reader = Reader(1)
    word(reader, said(1000))
    assert word(reader, said(1000 - behind), 7.6) == "taken"


def test_a_sample_from_before_the_last_is_old_in_a_newer_folio() -> None:
    reader = Reader(1)
    word(reader, said(1, timestamp_us=5_000_000, sampled_us=4_990_000))
    assert word(reader, said(2, timestamp_us=5_010_000, sampled_us=4_980_000), 0.01) == "old"
    assert word(reader, said(3, timestamp_us=5_020_000, sampled_us=4_990_000), 0.02) == "taken"
    assert reader.point_counters["repeated"] == 1
    assert word(reader, said(4, timestamp_us=2_000_000, sampled_us=1_990_000), 0.03) == "taken", "a clock set back"
