"""Armed or not, contested or not, and how streams end: in virtual time, packets parsed again."""

from collections.abc import Mapping

import pytest

from bridge.door.transmission import LISTEN_S, Phase
from bridge.errors import Refused
from bridge.wire.settings import SacnSettings
from tests.unit.door.stand_ins import DESK, OTHER, PERIOD, Sender

DESK_IS = '"Desk" at 10.0.0.9 (priority 100)'


def bench_of(contested: str = "refuse", sequences: Mapping[int, int] | None = None) -> Sender:
    """Two universes, listened to since 0 s."""
    bench = Sender(30000, 30001, settings=SacnSettings(contested=contested), sequences=sequences)
    bench.transmission.listening_since(0.0)
    return bench


def test_a_fresh_start_ticks_but_sends_nothing() -> None:
    bench = bench_of()
    assert bench.tick(5.0) == []
    assert bench.out(5.1).discovery == []


def test_armed_it_listens_for_its_time_and_then_sends_everything() -> None:
    bench = bench_of()
    bench.transmission.arm()
    assert bench.transmission.armed
    assert bench.out(LISTEN_S - 0.01) == ([], [])
    first = bench.out(LISTEN_S)
    assert [universe for universe, _ in first.packets] == [30000, 30001]
    assert first.discovery != []


def test_a_contested_universe_is_not_sent_and_said_with_who_sends() -> None:
    bench = bench_of()
    bench.transmission.hear({30001: (DESK,)}, 0.5)
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000]
    assert bench.transmission.universes == (30000,)
    said, armed = bench.texts
    assert said.startswith(f"universe 30001 is NOT SENT: {DESK_IS}")
    assert armed == (
        "ARMED: sending universes 30000, NOT 30001. Heads move without warning; "
        f"refused are 30001: {DESK_IS}. End what sends there and send /arm 1 again"
    )


def test_armed_where_all_is_contested_says_that_nothing_is_sent_and_why() -> None:
    bench = bench_of()
    bench.transmission.hear({30000: (DESK,), 30001: (DESK,)}, 0.5)
    bench.transmission.arm()
    assert bench.universes(2.0) == []
    (notice,) = [notice for notice in bench.news.take() if notice.key == "armed"]
    assert (notice.level, notice.text) == (
        "error",
        "ARMED, BUT NOTHING IS SENT: every universe of the rig is contested, so no head will move; "
        f"refused are 30000-30001: {DESK_IS}. End what sends there and send /arm 1 again",
    )


def test_arming_again_looks_again_and_the_others_keep_their_spacing() -> None:
    bench = bench_of()
    bench.transmission.hear({30001: (DESK,)}, 0.5)
    bench.transmission.arm()
    (first,) = bench.tick(2.0)
    bench.transmission.hear({}, 2.0)
    bench.transmission.arm()
    assert bench.universes(2.0 + PERIOD / 2) == [30001]
    (again,) = bench.tick(2.0 + PERIOD)
    assert (again.universe, again.sequence) == (30000, first.sequence + 1)


def test_arming_again_never_takes_away_what_is_sent_already() -> None:
    bench = bench_of()
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000, 30001]
    bench.transmission.hear({30000: (DESK,)}, 2.5)
    bench.transmission.arm()
    bench.level = 9
    assert bench.universes(3.0) == [30000, 30001]
    assert bench.transmission.contest.refused == {}


def test_where_the_show_says_so_a_contested_universe_is_sent() -> None:
    bench = bench_of(contested="send")
    bench.transmission.hear({30001: (DESK,)}, 0.5)
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000, 30001]


def heard(bench: Sender, now_s: float, *universes: int) -> list[str]:
    """What is told when the desk is heard on just these universes from now on."""
    bench.transmission.hear(dict.fromkeys(universes, (DESK,)), now_s)
    return bench.texts


def test_a_source_that_appears_later_is_told_once_and_again_after_ten_seconds_of_silence() -> None:
    bench = bench_of()
    assert heard(bench, 1.0, 30000) == [], "before anything is sent it takes nothing from us"
    heard(bench, 1.1)
    bench.transmission.arm()
    bench.tick(15.0)
    assert len(bench.texts) == 1
    assert heard(bench, 16.0, 30000) == [f"universe 30000 is now also sent by {DESK_IS}"]
    assert heard(bench, 17.0, 30000) == []
    assert heard(bench, 18.0) == []
    assert heard(bench, 19.0, 30000) == []
    assert heard(bench, 20.0) == []
    assert heard(bench, 29.9, 30000) == []
    assert heard(bench, 30.0) == []
    assert heard(bench, 40.1, 30000) == [f"universe 30000 is now also sent by {DESK_IS}"]


def test_a_source_that_appears_on_many_universes_is_told_for_all_of_them_and_each_source_by_itself() -> None:
    bench = bench_of()
    bench.transmission.arm()
    bench.tick(2.0)
    bench.news.take()
    bench.transmission.hear({30000: (DESK, OTHER), 30001: (DESK,)}, 3.0)
    assert bench.texts == [
        f"universes 30000-30001 are now also sent by {DESK_IS}",
        'universe 30000 is now also sent by "Other" at 10.0.0.8 (priority 100)',
    ]


def test_a_refused_source_that_comes_back_on_what_is_ours_by_then_is_told() -> None:
    bench = bench_of()
    heard(bench, 0.5, 30000)
    bench.transmission.arm()
    assert bench.universes(2.0) == [30001]
    heard(bench, 2.5)
    bench.transmission.arm()
    bench.tick(3.0)
    bench.news.take()
    assert heard(bench, 12.6, 30000) == [f"universe 30000 is now also sent by {DESK_IS}"]


def test_disarming_ends_dark_with_three_terminated_packets_each() -> None:
    bench = bench_of()
    bench.level = 200
    bench.transmission.arm()
    now_s = 2.0
    bench.tick(now_s)
    bench.transmission.disarm()
    assert not bench.transmission.armed
    packets = []
    while not bench.transmission.ended:
        now_s += PERIOD
        packets += bench.tick(now_s)
    for universe in (30000, 30001):
        own = [packet for packet in packets if packet.universe == universe]
        assert [packet.terminated for packet in own] == [False, False, True, True, True]
        assert [packet.slots[0] for packet in own] == [0] * 5
        assert [packet.sequence for packet in own] == [1, 2, 3, 4, 5]
    assert bench.tick(now_s + 1) == []
    assert bench.transmission.phase is Phase.OFF


def test_sequences_go_on_after_disarm_and_arm() -> None:
    bench = bench_of(sequences={30000: 100})
    bench.transmission.arm()
    assert [packet.sequence for packet in bench.tick(2.0)] == [100, 0]
    bench.transmission.disarm()
    now_s = 2.0
    while not bench.transmission.ended:
        now_s += PERIOD
        bench.tick(now_s)
    bench.transmission.arm()
    assert [packet.sequence for packet in bench.tick(now_s + PERIOD)] == [106, 6]


def test_arming_while_ending_is_refused() -> None:
    bench = bench_of()
    bench.transmission.arm()
    bench.tick(2.0)
    bench.transmission.disarm()
    with pytest.raises(Refused, match="ending"):
        bench.transmission.arm()


def test_disarming_what_never_sent_is_at_once() -> None:
    bench = bench_of()
    bench.transmission.arm()
    bench.transmission.disarm()
    assert bench.transmission.ended


def test_a_resumed_daemon_sends_at_once_and_leaves_out_what_was_refused() -> None:
    bench = bench_of(sequences={30000: 7, 30001: 8})
    bench.transmission.resume(refused=[30001])
    (line,) = bench.texts
    assert "sending universes 30000, NOT 30001." in line
    assert "refused are 30001: refused before the restart." in line
    assert [(packet.universe, packet.sequence) for packet in bench.tick(0.1)] == [(30000, 7)]
    bench.transmission.arm()
    assert bench.universes(0.1 + PERIOD) == [30000]
    assert 30001 in bench.universes(LISTEN_S)


def test_what_the_network_did_not_take_is_sent_again() -> None:
    bench = bench_of()
    bench.transmission.arm()
    now_s = 2.0
    for _ in range(5):  # changed, three repeats, then silence
        bench.tick(now_s)
        now_s += PERIOD
    assert bench.tick(now_s) == []
    bench.transmission.unsent([30001])
    assert bench.universes(now_s + PERIOD) == [30001]
