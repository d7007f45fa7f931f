"""Armed or not, contested or not, and how streams end: in virtual time, packets parsed again."""

import logging
from collections.abc import Mapping

import pytest

from bridge.daemon.transmission import LISTEN_S, Phase, Transmission
from bridge.errors import Refused
from bridge.wire import e131
from bridge.wire.settings import SacnSettings
from tests.unit.daemon.stand_ins import CID, StubEncoder, StubEngine

PERIOD = 1 / 44


class Bench:
    """A transmission whose `heard` is what other sources are heard where."""

    def __init__(self, contested: str = "refuse", sequences: Mapping[int, int] | None = None) -> None:
        self.heard: dict[int, tuple[str, ...]] = {}
        self.engine = StubEngine()
        self.transmission = Transmission(
            self.engine,
            StubEncoder(30000, 30001),
            SacnSettings(contested=contested),
            CID,
            lambda now_s: self.heard,
            sequences or {},
            listening_since_s=0.0,
        )

    def tick(self, now_s: float) -> list[e131.Data]:
        packets = [e131.parse(bytes(packet)) for _, packet in self.transmission.tick(now_s)]
        return [packet for packet in packets if isinstance(packet, e131.Data)]

    def universes(self, now_s: float) -> list[int]:
        return [packet.universe for packet in self.tick(now_s)]


def test_a_fresh_start_ticks_but_sends_nothing() -> None:
    bench = Bench()
    assert bench.tick(5.0) == []
    assert bench.engine.ticks == [5.0]
    assert bench.transmission.discovery(5.0) == []


def test_armed_it_listens_for_its_time_and_then_sends_everything() -> None:
    bench = Bench()
    bench.transmission.arm()
    assert bench.transmission.armed
    assert bench.tick(LISTEN_S - 0.01) == []
    assert bench.universes(LISTEN_S) == [30000, 30001]
    assert bench.transmission.discovery(LISTEN_S) != []


def test_a_contested_universe_is_not_sent_and_said_with_who_sends(caplog: pytest.LogCaptureFixture) -> None:
    logging.getLogger("tetherlight").propagate = True
    bench = Bench()
    bench.heard = {30001: ('"Desk" at 10.0.0.9 (priority 100)',)}
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000]
    assert bench.transmission.universes == (30000,)
    text = "\n".join(record.message for record in caplog.records)
    assert 'universe 30001 is NOT SENT: "Desk" at 10.0.0.9' in text


def test_arming_again_looks_again_and_the_others_keep_their_spacing() -> None:
    bench = Bench()
    bench.heard = {30001: ("Desk",)}
    bench.transmission.arm()
    (first,) = bench.tick(2.0)
    bench.heard = {}
    bench.transmission.arm()
    assert bench.universes(2.0 + PERIOD / 2) == [30001]
    (again,) = bench.tick(2.0 + PERIOD)
    assert (again.universe, again.sequence) == (30000, first.sequence + 1)


def test_arming_again_never_takes_away_what_is_sent_already() -> None:
    bench = Bench()
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000, 30001]
    bench.heard = {30000: ("Desk",)}
    bench.transmission.arm()
    bench.engine.level = 9
    assert bench.universes(3.0) == [30000, 30001]
    assert bench.transmission.contested == {}


def test_where_the_show_says_so_a_contested_universe_is_sent() -> None:
    bench = Bench(contested="send")
    bench.heard = {30001: ("Desk",)}
    bench.transmission.arm()
    assert bench.universes(2.0) == [30000, 30001]


def test_a_source_that_appears_later_is_told_once() -> None:
    bench = Bench()
    assert bench.transmission.newcomers(1.0) == []
    bench.transmission.arm()
    bench.tick(2.0)
    bench.heard = {30000: ("Desk",)}
    assert bench.transmission.newcomers(3.0) == ["universe 30000 is now also sent by Desk"]
    assert bench.transmission.newcomers(4.0) == []
    bench.heard = {}
    assert bench.transmission.newcomers(5.0) == []
    bench.heard = {30000: ("Desk",)}
    assert bench.transmission.newcomers(6.0) == []
    bench.heard = {}
    assert bench.transmission.newcomers(17.0) == []
    bench.heard = {30000: ("Desk",)}
    assert bench.transmission.newcomers(18.0) == ["universe 30000 is now also sent by Desk"]


def test_a_refused_source_that_comes_back_on_what_is_ours_by_then_is_told() -> None:
    bench = Bench()
    bench.heard = {30000: ("Desk",)}
    bench.transmission.arm()
    assert bench.universes(2.0) == [30001]
    bench.heard = {}
    bench.transmission.arm()
    bench.tick(3.0)
    bench.heard = {30000: ("Desk",)}
    assert bench.transmission.newcomers(4.0) == ["universe 30000 is now also sent by Desk"]


def test_disarming_ends_dark_with_three_terminated_packets_each() -> None:
    bench = Bench()
    bench.engine.level = 200
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
    bench = Bench(sequences={30000: 100})
    bench.transmission.arm()
    assert [packet.sequence for packet in bench.tick(2.0)] == [100, 0]
    bench.transmission.disarm()
    now_s = 2.0
    while not bench.transmission.ended:
        now_s += PERIOD
        bench.tick(now_s)
    bench.transmission.arm()
    assert [packet.sequence for packet in bench.tick(now_s + PERIOD)] == [106, 6]


def test_disarming_is_refused_while_anything_is_still_but_a_stop_is_not() -> None:
    bench = Bench()
    bench.transmission.arm()
    bench.tick(2.0)
    bench.engine.any_still = True
    with pytest.raises(Refused, match="still"):
        bench.transmission.disarm()
    assert bench.transmission.phase is Phase.LIVE
    bench.transmission.disarm(stopping=True)
    assert bench.transmission.phase is Phase.ENDING


def test_arming_while_ending_is_refused() -> None:
    bench = Bench()
    bench.transmission.arm()
    bench.tick(2.0)
    bench.transmission.disarm()
    with pytest.raises(Refused, match="ending"):
        bench.transmission.arm()


def test_disarming_what_never_sent_is_at_once() -> None:
    bench = Bench()
    bench.transmission.arm()
    bench.transmission.disarm()
    assert bench.transmission.ended


def test_a_resumed_daemon_sends_at_once_and_leaves_out_what_was_refused() -> None:
    bench = Bench(sequences={30000: 7, 30001: 8})
    bench.transmission.resume(refused=[30001])
    assert [(packet.universe, packet.sequence) for packet in bench.tick(0.1)] == [(30000, 7)]
    bench.transmission.arm()
    assert bench.universes(0.1 + PERIOD) == [30000]
    assert 30001 in bench.universes(LISTEN_S)


def test_what_the_network_did_not_take_is_sent_again() -> None:
    bench = Bench()
    bench.transmission.arm()
    now_s = 2.0
    for _ in range(5):  # changed, three repeats, then silence
        bench.tick(now_s)
        now_s += PERIOD
    assert bench.tick(now_s) == []
    bench.transmission.unsent(30001)
    assert bench.universes(now_s + PERIOD) == [30001]
