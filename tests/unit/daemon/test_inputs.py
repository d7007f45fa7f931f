"""Tracking inputs in the loop, heard by real sockets: what is followed becomes events, and nothing hurts another."""

from __future__ import annotations

import logging
import math
import socket
import time
from collections.abc import Iterator
from typing import Any

import pytest

from bridge.daemon import clock
from bridge.daemon.inputs import InputWays, TrackingInputs
from bridge.daemon.link import LinkWatch
from bridge.daemon.loop import Loop
from bridge.door.events import Tracked
from bridge.geometry.stage import Source, Target
from bridge.wire import adm, otp, otp_send, psn
from bridge.wire.settings import InputSettings, Network, OscSettings, SacnSettings
from tests.workers import WORKER

SYSTEM = 1 + WORKER % 200
GROUP = (f"236.10.11.{1 + WORKER % 200}", 56565)
CID = bytes(range(16))
TAGS = InputSettings("otp", "127.0.0.1", SYSTEM)
STAGE = InputSettings("psn", "127.0.0.1", host=GROUP[0], port=GROUP[1])
SOUND = InputSettings("adm-osc", host="127.0.0.1", port=0)
LEAD = Target("lead", sources=(Source("tags", "1/7"), Source("stage", "3"), Source("sound", "9")))


def a_free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Bench:
    """The loop's readers called by hand, and a sender of everything."""

    def __init__(self) -> None:
        self.loop, self.folio, self.frame = Loop(), 0, 0
        self.events: list[Tracked] = []
        self.observed: list[float] = []
        self.refused: list[Any] = []
        self.inputs = TrackingInputs(self.loop, clock.now_s, CID)
        self.sends = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.sends.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        self.inputs.begin(
            InputWays(
                self.events.append,
                self.observed.append,
                lambda refusal, count: self.refused.append((refusal.reason, refusal.text, count)),
                lambda: -math.inf,
                lambda: math.inf,
            )
        )

    def take(self, allow: str = "127.0.0.0/8", targets: tuple[Target, ...] = (LEAD,), **inputs: InputSettings) -> None:
        self.inputs.take(Network(OscSettings(allow=(allow,)), inputs=inputs), targets)

    def turn(self) -> None:
        """What the loop does with all that has come."""
        time.sleep(0.01)
        for number in self.loop._ready(clock.now_s(), at_once=True):
            self.loop._readers[number]()

    def tag(self, point: int, x: float, sampled_us: int | None = None) -> None:
        self.folio += 1
        stamp = round(clock.now_s() * 1e6) if sampled_us is None else sampled_us
        sent = otp_send.Sent(1, point, (x, 2.0, 1.0), (0.5, 0.0, 0.0), sampled_us=stamp)
        for page in otp_send.transform(CID, "venue", SYSTEM, self.folio, stamp, [sent]):
            self.sends.sendto(page, (otp.transform_group(SYSTEM), otp.PORT))

    def tracker(self, number: int, x: float) -> None:
        self.frame = (self.frame + 1) % 256
        for page in psn.data([psn.Tracker(number, (x, 2.0, 1.0))], round(clock.now_s() * 1e6), self.frame):
            self.sends.sendto(page, GROUP)

    def sound(self, number: int, x: float, port: int) -> None:
        self.sends.sendto(adm.position(number, x, 0.5), ("127.0.0.1", port))

    def places(self) -> list[tuple[str, str, float]]:
        """(input, point, x) of everything that was applied."""
        return [(event.input, one.point, round(one.place[0], 3)) for event in self.events for one in event.seen]


@pytest.fixture
def bench() -> Iterator[Bench]:
    bench = Bench()
    yield bench
    bench.inputs.close()
    bench.loop.close()
    bench.sends.close()


@pytest.fixture
def said(caplog: pytest.LogCaptureFixture) -> pytest.LogCaptureFixture:
    logging.getLogger("tetherlight").propagate = True
    caplog.set_level(logging.INFO)
    return caplog


def test_points_that_are_followed_become_events_with_when_they_came(bench: Bench) -> None:
    port = a_free_port()
    bench.take(tags=TAGS, stage=STAGE, sound=InputSettings("adm-osc", host="127.0.0.1", port=port))
    before_s = clock.now_s()
    bench.tag(7, 1.25)
    bench.tracker(3, 2.5)
    bench.sound(9, 0.75, port)
    bench.turn()
    assert sorted(bench.places()) == [("sound", "9", 0.75), ("stage", "3", 2.5), ("tags", "1/7", 1.25)]
    assert bench.observed == [event.at_s for event in bench.events]
    assert all(before_s <= event.at_s <= before_s + 0.009 for event in bench.events)  # not when it was read
    (tag,) = [event for event in bench.events if event.input == "tags"]
    assert (tag.seen[0].at_s, tag.seen[0].velocity, tag.seen[0].host) == (tag.at_s, (0.5, 0.0, 0.0), "127.0.0.1")


def test_others_are_listed_only(bench: Bench) -> None:
    bench.take(tags=TAGS)
    bench.tag(8, 4.0)
    bench.turn()
    now_s = clock.now_s()
    assert bench.events == []
    assert bench.inputs.points("tags", now_s) == ["1/8"]
    (seen,) = bench.inputs.last_second("tags", "1/8", now_s)
    assert seen[1] == (4.0, 2.0, 1.0)
    assert bench.inputs.last_second("tags", "1/9", now_s) == bench.inputs.last_second("none", "1", now_s) == []
    assert bench.inputs.last_second("tags", "1/8", now_s + 1.1) == []


def test_what_came_together_is_one_event(bench: Bench) -> None:
    bench.take(tags=TAGS)
    for n in range(5):
        bench.tag(7, float(n))
    bench.turn()
    assert [len(event.seen) for event in bench.events] == [5]
    assert bench.events[0].at_s == max(one.at_s for one in bench.events[0].seen)


def test_the_row_tells_rate_age_and_what_is_missing(bench: Bench) -> None:
    bench.take(tags=TAGS, targets=(LEAD, Target("two", sources=(Source("tags", "1/8"),))))
    assert bench.inputs.rows(clock.now_s())[0] == ("tags", "otp", 0, 0.0, 0.0, -1.0, False, "1/7 1/8", "1/7 1/8", 0)
    for n in range(130):
        bench.tag(7, float(n))
        time.sleep(0.01)
        bench.turn() if n % 2 else None
    bench.turn()
    (row,) = bench.inputs.rows(clock.now_s(), {"tags"})
    assert row[:3] == ("tags", "otp", 1)
    assert 30.0 < row.rate_hz < 100.0  # 10 ms after every one, and 10 more after every second: 66 Hz
    assert 0.0 < row.jitter_ms < 20.0
    assert 0.0 <= row.age_ms < 1000.0
    assert row[6:] == (True, "1/7 1/8", "1/8", 0)


def test_points_are_told_followed_ones_first_and_no_more_than_a_share_of_each_input(bench: Bench) -> None:
    bench.take(tags=TAGS, stage=STAGE)
    for number in (*range(1, 41), 7):
        bench.tag(number, float(number))
    bench.tracker(3, 2.5)
    bench.turn()
    told = bench.inputs.points_told(clock.now_s())
    assert told[0][:5] == ("tags", "1/7", 7.0, 2.0, 1.0)
    assert [len([one for one in told if one.input == name]) for name in ("tags", "stage")] == [32, 1]
    assert all(0.0 <= one.age_ms < 5000.0 for one in told)
    assert bench.inputs.points_told(clock.now_s() + 4.0) == [], "nobody is heard any more"


def test_a_stranger_is_not_heard_and_said_once_with_how_many(bench: Bench) -> None:
    bench.take(allow="10.0.0.0/8", tags=TAGS)
    for _ in range(3):
        bench.tag(7, 1.0)
    bench.turn()
    bench.inputs.look(clock.now_s())
    bench.inputs.look(clock.now_s())
    assert bench.events == []
    assert bench.inputs.rows(clock.now_s())[0].points == 0
    text = "input tags: 127.0.0.1 is not in `osc: allow` of network.yaml (3 packets)"
    assert bench.refused == [("sender", text, 3)]


def test_what_cannot_be_read_is_counted_and_said(bench: Bench) -> None:
    bench.take(tags=TAGS)
    for _ in range(4):
        bench.sends.sendto(b"OTP-E1.59\0\0\0" + b"\xff" * 100, (otp.transform_group(SYSTEM), otp.PORT))
    bench.turn()
    bench.inputs.look(clock.now_s())
    ((reason, text, count),) = bench.refused
    assert (reason, count) == ("malformed", 4)
    assert text.startswith("input tags: 4 malformed: ")
    assert bench.inputs.rows(clock.now_s())[0].refused == 4
    bench.tag(7, 1.0)
    bench.turn()
    assert bench.places() == [("tags", "1/7", 1.0)]


def test_an_input_that_cannot_be_opened_costs_itself_alone_and_is_tried_again(
    bench: Bench, said: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s = [100.0]
    bench.inputs._clock = lambda: now_s[0]
    holder = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    holder.bind(("127.0.0.1", 0))
    port = holder.getsockname()[1]
    bench.take(
        sound=InputSettings("adm-osc", host="127.0.0.1", port=port),
        far=InputSettings("psn", "nosuch0", host=GROUP[0], port=GROUP[1]),
        tags=TAGS,
    )
    assert list(bench.inputs.open) == ["tags"]
    errors = [record.message for record in said.records if record.levelname == "ERROR"]
    assert len(errors) == 2
    assert errors[0].startswith(f"input sound is not heard: cannot listen on 127.0.0.1:{port}: another program")
    assert errors[1].startswith("input far is not heard: found 'nosuch0', which is no interface")
    bench.tag(7, 3.0)
    bench.turn()
    assert bench.places() == [("tags", "1/7", 3.0)]
    holder.close()
    bench.inputs.look(100.5)
    assert "sound" not in bench.inputs.open
    now_s[0] = 101.1
    bench.inputs.look(now_s[0])
    assert [record.message for record in said.records if record.levelname == "ERROR"] == errors  # said once
    bench.sound(9, -0.25, port)
    bench.turn()
    assert bench.places()[-1] == ("sound", "9", -0.25)


def test_a_show_that_is_read_again_loses_nothing_on_what_stays(bench: Bench) -> None:
    bench.take(tags=TAGS, stage=STAGE)
    bench.tag(7, 1.0)
    bench.tracker(3, 1.0)
    bench.take(tags=TAGS, stage=InputSettings("psn", "127.0.0.1", host="236.10.12.1", port=GROUP[1]))
    bench.tag(7, 2.0)
    bench.tracker(3, 2.0)
    bench.turn()
    assert bench.places() == [("tags", "1/7", 1.0), ("tags", "1/7", 2.0)]
    bench.take(stage=STAGE, targets=(Target("lead", sources=(Source("stage", "4"),)),))
    bench.tag(7, 3.0)
    bench.tracker(3, 3.0)
    bench.tracker(4, 4.0)
    bench.turn()
    assert bench.places()[2:] == [("stage", "4", 4.0)]
    assert list(bench.inputs.open) == ["stage"]


def test_a_sample_that_is_sent_again_is_no_observation(bench: Bench) -> None:
    """Once its clock is believed; before that nobody knows what a stamp means."""
    bench.take(tags=TAGS)
    for _ in range(24):
        bench.tag(7, 1.0)
        time.sleep(0.05)
        bench.turn()
    stamp = round(clock.now_s() * 1e6)
    taken = len(bench.places())
    for _ in range(3):
        bench.tag(7, 2.0, sampled_us=stamp)
    bench.turn()
    assert len(bench.places()) == taken + 1


def test_we_say_to_producers_which_modules_we_take(bench: Bench) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as hears:
        hears.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        hears.bind((otp.ADVERTISEMENT_GROUP, otp.PORT))
        group = socket.inet_aton(otp.ADVERTISEMENT_GROUP) + socket.inet_aton("127.0.0.1")
        hears.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group)
        hears.setblocking(False)
        bench.take(tags=TAGS)
        for now_s in (50.0, 51.0, 59.9, 60.1):
            bench.inputs.look(now_s)
        time.sleep(0.02)
        packets = [hears.recv(2048) for _ in range(2)]
        assert packets == [otp_send.module_advertisement(CID, "Tetherlight", n) for n in (0, 1)]
        with pytest.raises(BlockingIOError):
            hears.recv(2048)


def test_a_flood_of_points_is_bounded(bench: Bench) -> None:
    bench.take(tags=TAGS)
    for first in range(0, 450, 30):
        sent = [otp_send.Sent(2, first + n + 1, (1.0, 1.0, 1.0)) for n in range(30)]
        bench.folio += 1
        for page in otp_send.transform(CID, "venue", SYSTEM, bench.folio, 1, sent, full=False):
            bench.sends.sendto(page, (otp.transform_group(SYSTEM), otp.PORT))
        bench.turn()
    assert len(bench.inputs.points("tags", clock.now_s())) == 256
    bench.tag(7, 1.5)  # a target follows it
    bench.turn()
    assert bench.places() == [("tags", "1/7", 1.5)]


def test_a_fault_of_ours_is_said_and_the_next_packet_is_taken(bench: Bench, said: pytest.LogCaptureFixture) -> None:
    def fails(event: Tracked) -> None:
        if event.seen[0].place[0] == 1.0:
            raise ZeroDivisionError("made up")
        bench.events.append(event)

    assert bench.inputs._ways is not None
    bench.inputs.begin(bench.inputs._ways._replace(apply=fails))
    bench.take(tags=TAGS)
    bench.tag(7, 1.0)
    bench.turn()
    bench.tag(7, 2.0)
    bench.turn()
    assert bench.places() == [("tags", "1/7", 2.0)]
    (text,) = [record.message for record in said.records if record.levelname == "ERROR"]
    assert text == "input tags: a fault of this program, please report it: ZeroDivisionError('made up')"


def test_an_interface_that_is_the_inputs_alone_is_watched_and_joined_again(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.take(tags=TAGS)
    assert bench.inputs.look_at_links() == []
    assert bench.inputs._links == {}, "the chores watch sacn's"
    down = [""]
    monkeypatch.setattr("bridge.daemon.inputs.LinkWatch", lambda at, **words: LinkWatch(at, lambda _: down[0], **words))
    bench.inputs.take(Network(sacn=SacnSettings("127.0.0.9"), inputs={"tags": TAGS}), (LEAD,))
    assert bench.inputs.look_at_links() == []
    down[0] = "the cable is out"
    assert bench.inputs.look_at_links() == [("error", "TRACKING IS NOT HEARD: the cable is out")]
    assert bench.inputs.look_at_links() == []
    ears = bench.inputs._inputs["tags"].ears
    assert ears is not None
    group = socket.inet_aton(ears.at.host) + socket.inet_aton("127.0.0.1")
    ears.socket.setsockopt(socket.IPPROTO_IP, socket.IP_DROP_MEMBERSHIP, group)  # as an interface does that goes
    down[0] = ""
    text = "the link of 127.0.0.1 is back, tracking is listened to again"
    assert bench.inputs.look_at_links() == [("warning", text)]
    bench.tag(7, 1.0)
    bench.turn()
    assert bench.places() == [("tags", "1/7", 1.0)]


def test_reading_stops_for_a_frame_that_is_due(bench: Bench) -> None:
    assert bench.inputs._ways is not None
    bench.inputs.begin(bench.inputs._ways._replace(due_s=lambda: -math.inf, rests=lambda: math.inf))
    bench.take(tags=TAGS)
    for n in range(200):
        bench.tag(7, float(n))
    number = next(iter(bench.loop._rests))
    assert bench.loop._rests[number]() == math.inf  # nothing is known to wait: it may wait for the frame
    for _ in range(500):
        bench.loop._readers[number]()
        if len(bench.places()) == 200:
            break
        assert bench.loop._rests[number]() == -math.inf  # more has come than was read
    assert [x for _, _, x in bench.places()] == [float(n) for n in range(200)]
    assert len(bench.events) >= 4
