"""A capture again: the same packets, and each way in which they are not is said."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from bridge.door import record
from bridge.door.events import Event, NewPoses, NewShow, OthersHeard, Start, Stop, Unsent
from bridge.door.inbox import Inbox
from bridge.door.replay import MOST_DIFFERENCES, Replay, Verdict, belongs_to_daemon, difference
from bridge.errors import CaptureError
from bridge.wire import capture, e131, osc
from bridge.wire.capture import Datagram
from bridge.wire.capture import Event as Entry
from tests.unit.door.stand_ins import CID, DESK, HOST, PERIOD, octets_of, small_door, small_show

WALL_US = 1_700_000_000_000_000
SHOW, OTHER_SHOW = small_show(), small_show(seed=2)
SHOWS = {"first": SHOW, "second": OTHER_SHOW}


class Tape:
    """A run of a door as a recorder keeps it."""

    def __init__(self) -> None:
        self.door, self.now_s = small_door(SHOW), 10.0
        self.entries: list[Any] = []
        self.inbox = Inbox(["127.0.0.0/8"], self.door.apply, lambda refusal: None)
        self.begin("first")

    def begin(self, name: str) -> None:
        self.inbox.obeyed = 0
        self._event(record.begin({"name": name}, CID, self.door.state()))

    def _event(self, payload: bytes) -> None:
        self.entries.append(Entry(round(self.now_s * 1e6), payload))

    def _obeyed(self) -> int:
        count, self.inbox.obeyed = self.inbox.obeyed, 0
        return count

    def apply(self, event: Event) -> None:
        self._event(record.event(event, self._obeyed()))
        self.door.apply(event)

    def say(self, address: str, *args: osc.Argument) -> None:
        data = osc.encode(address, *args)
        self.entries.append(Datagram(round(self.now_s * 1e6), True, (HOST, 50000), (HOST, 9000), data))
        self.inbox.datagram(data, HOST, round(self.now_s * 1e6) / 1e6)
        while self.inbox.busy:
            self.inbox.work()

    def ticks(self, count: int, lost: tuple[int, ...] = ()) -> None:
        """Frames; packets of the universes `lost` are not taken by the network."""
        for _ in range(count):
            self.now_s = round((self.now_s + PERIOD) * 1e6) / 1e6
            self._event(record.tick(self.now_s, self._obeyed()))
            out = octets_of(self.door.tick(self.now_s))
            unsent = tuple(universe for universe, _ in out if universe in lost)
            if unsent:
                self.apply(Unsent(self.now_s, unsent))
            for universe, packet in out:
                if universe not in unsent:
                    to = (e131.multicast_group(universe), e131.PORT)
                    self.entries.append(Datagram(round(self.now_s * 1e6), False, (HOST, 40000), to, packet))


@pytest.fixture(scope="module")
def whole() -> list[Any]:
    """Start, a performer, other sources, a lost packet, new poses, another show, the end."""
    tape = Tape()
    tape.apply(Start(tape.now_s, armed=True, listening_since_s=tape.now_s, sequences={1: 250}))
    tape.ticks(20)
    tape.say("/target/lead/position", 1.0, 3.0)
    tape.say("/level", 2.0)
    tape.apply(OthersHeard(tape.now_s, {2: (DESK,)}))
    tape.ticks(80)
    tape.apply(OthersHeard(tape.now_s, {}))
    tape.say("/arm", 1)
    tape.say("/target/lead/velocity", 0.5, 0.25)
    tape.ticks(20)
    tape.ticks(2, lost=(1,))
    tape.say("/sight/foh-1/record", "A")
    name = "foh-2"
    tape.apply(NewPoses(tape.now_s, {name: OTHER_SHOW.poses[name]}, {"Z": (1.0, 2.0, 0.0)}))
    tape.ticks(20)
    tape.begin("first")
    tape.ticks(5)
    tape.apply(NewShow(tape.now_s, OTHER_SHOW, {"name": "second"}))
    tape.say("/dark", 1)
    tape.ticks(20)
    tape.say("/dark", 0)
    tape.ticks(20)
    tape.apply(Stop(tape.now_s))
    tape.ticks(8)
    assert tape.door.transmission.ended
    return tape.entries


def octets(entries: list[Any]) -> bytes:
    parts = [capture.opening(0, WALL_US, "tests")]
    return b"".join([*parts, *(block for entry in entries for block in capture.blocks(entry, WALL_US))])


def replayed(entries: list[Any], cut: int | None = None, show: Any = None) -> Verdict:
    """Through the octets of a file, of which `cut` are missing at the end."""
    replay = Replay(lambda files: SHOWS[files["name"]], show)
    data = octets(entries)
    replay.take(capture.read(io.BytesIO(data[: len(data) - cut] if cut else data)))
    return replay.verdict


def packets(entries: list[Any]) -> list[int]:
    """Where packets stand that went out."""
    return [at for at, entry in enumerate(entries) if isinstance(entry, Datagram) and not entry.inbound]


def test_the_same_packets_come_out_and_are_counted(whole: list[Any]) -> None:
    verdict = replayed(whole)
    assert verdict.equal, verdict.differences
    assert verdict.differences == []
    assert verdict.packets == verdict.same == len(packets(whole))
    assert (verdict.ticks, verdict.messages, verdict.parts) == (195, 7, 2)
    assert (verdict.gaps, verdict.lost, verdict.truncated) == (0, 0, False)


def changed(entries: list[Any], at: int, octet: int) -> list[Any]:
    payload = bytearray(entries[at].payload)
    payload[octet] ^= 1
    return [*entries[:at], entries[at]._replace(payload=bytes(payload)), *entries[at + 1 :]]


@pytest.mark.parametrize(
    ("octet", "where"), [(126, "address 1: "), (637, "address 512: "), (111, "sequence: "), (44, "octet 44: ")]
)
def test_a_changed_octet_is_said_with_its_place(whole: list[Any], octet: int, where: str) -> None:
    """126 is slot 1, 111 the sequence number, 44 the first of the source name (E1.31 table 4-1, facts/protocols.md)."""
    at = packets(whole)[40]
    verdict = replayed(changed(whole, at, octet))
    assert not verdict.equal
    assert (verdict.different, verdict.same) == (1, verdict.packets - 1)
    assert f": {where}" in verdict.differences[0]
    assert " then, " in verdict.differences[0]
    assert f"universe {int.from_bytes(whole[at].payload[113:115], 'big')}" in verdict.differences[0]


def test_a_packet_that_is_missing_and_one_too_many_are_said(whole: list[Any]) -> None:
    at = packets(whole)[-1]  # the last of its tick
    verdict = replayed([*whole[:at], *whole[at + 1 :]])
    assert not verdict.equal
    (text,) = verdict.differences
    assert "a packet is sent now that did not go out" in text
    verdict = replayed([*whole[: at + 1], whole[at], *whole[at + 1 :]])
    assert not verdict.equal
    (text,) = verdict.differences
    assert "a packet went out that is not sent now" in text


def test_packets_in_another_order_are_no_match(whole: list[Any]) -> None:
    at = next(a for a in packets(whole) if a + 1 in packets(whole) and whole[a].payload != whole[a + 1].payload)
    assert replayed([*whole[:at], whole[at + 1], whole[at], *whole[at + 2 :]]).different == 2


def test_after_a_gap_nothing_is_compared_until_the_next_state(whole: list[Any]) -> None:
    at = packets(whole)[30]
    start = next(n for n, e in enumerate(whole) if n > at and isinstance(e, Entry) and b'"kind": "state"' in e.payload)
    skipped = [*whole[:at], capture.lost(whole[at].at_us, 3), *whole[at + 3 :]]
    verdict = replayed(skipped)
    assert (verdict.gaps, verdict.lost, verdict.different) == (1, 3, 0)
    assert verdict.packets == verdict.same == 30 + len([n for n in packets(whole) if n > start])


@pytest.mark.parametrize("cut", [1, 40, 700, 1300, 2500])
def test_a_file_that_ends_in_the_middle_is_said_and_what_it_holds_is_compared(whole: list[Any], cut: int) -> None:
    """The writer was killed: what it had no time to write is no difference."""
    verdict = replayed(whole[: packets(whole)[100] + 1], cut)
    assert verdict.truncated
    assert verdict.equal, verdict.differences
    assert 90 <= verdict.packets <= 100


def test_a_message_that_is_missing_is_said(whole: list[Any]) -> None:
    at = next(n for n, entry in enumerate(whole) if isinstance(entry, Datagram) and entry.inbound)
    verdict = replayed([*whole[:at], *whole[at + 1 :]])
    assert not verdict.equal
    assert any("a message was obeyed that the capture does not hold" in text for text in verdict.differences)


def test_another_show_gives_other_packets_and_not_all_of_them_are_told(whole: list[Any]) -> None:
    verdict = replayed(whole, show=small_show(priority=99))
    assert not verdict.equal
    assert verdict.different > MOST_DIFFERENCES == len(verdict.differences)


def test_nothing_that_was_sent_is_no_proof() -> None:
    tape = Tape()
    tape.ticks(5)
    verdict = replayed(tape.entries)
    assert (verdict.ticks, verdict.different, verdict.equal) == (5, 0, False)


@pytest.mark.parametrize("payload", [b"x", b"[]", b"7"])
def test_an_event_that_is_none_is_refused_with_words(payload: bytes) -> None:
    with pytest.raises(CaptureError, match="expected an event"):
        Replay(lambda files: SHOW).take([Entry(0, payload)])


def test_packets_of_another_length_are_told_by_it() -> None:
    assert difference(b"abc", b"ab") == "3 octets then, 2 now"
    assert difference(bytes(10), bytes([1] * 6) + bytes(4)).endswith(", and 2 more")


@pytest.mark.parametrize(
    ("address", "its"),
    [
        ("/feed/subscribe", True),
        ("/sight/solve", True),
        ("/sight/back", True),
        ("/sight/foh-1/accept", True),
        ("/sight/foh-1/back", False),
        ("/walk/confirm", True),
        ("/reload", True),
        ("/sight/foh-1/record", True),
        ("/sight/foh-1/forget", True),
        ("/sight/foh-1/point", False),
        ("/walk", False),
        ("/frame/tags/record", True),
        ("/frame/tags/solve", True),
        ("/frame/tags/forget", True),
        ("/frame/tags/accept", False),
        ("/frame/solve", False),
        ("/sight/foh-1/solve", False),
        ("/arm", False),
    ],
)
def test_which_addresses_change_nothing_of_what_is_sent(address: str, its: bool) -> None:
    assert belongs_to_daemon(address) is its


LEFT = {"engine": {"last_s": float("-inf")}, "armed": True, "refused": [2], "locked": False}
EVENTS: list[Event] = [
    Start(1.25, True, 0.5, LEFT, {"still": {}}, {1: 250, 2: 3}, True),
    Start(1.25, False),
    Stop(0.1 + 0.2),
    OthersHeard(3.0, {2: (DESK, DESK._replace(remark="odd")), 7: (DESK,)}),
    Unsent(4.0, (1, 2)),
    NewPoses(5.0, SHOW.poses, {"Z": (0.1, 0.2, 1 / 3)}),
    NewShow(6.0, SHOW, {"name": "first"}),
]


@pytest.mark.parametrize("event", EVENTS, ids=lambda event: type(event).__name__)
def test_an_event_comes_back_as_it_was(event: Event) -> None:
    data = json.loads(record.event(event, 3))
    assert data["obeyed"] == 3
    load: Callable[[Any], Any] = lambda files: SHOWS[files["name"]]  # noqa: E731
    assert record.event_from(data, load) == event


def test_a_tick_has_the_very_time_and_a_message_is_no_event_of_a_capture() -> None:
    data = json.loads(record.tick(0.1 + 0.2, 7))
    assert data == {"kind": "tick", "obeyed": 7, "at_s": 0.1 + 0.2}
    assert record.event_from(data, lambda files: SHOW) is None
    from bridge.door.events import Message

    with pytest.raises(ValueError, match="datagram"):
        record.event(Message(1.0, HOST, "/level", (1.0,)), 0)


def test_prepared_things_do_not_go_into_a_capture() -> None:
    door = small_door(SHOW)
    event = NewPoses(5.0, SHOW.poses, prepared=door.prepare_poses(SHOW.poses))
    assert record.event(event, 0) == record.event(replace(event, prepared=None), 0)
