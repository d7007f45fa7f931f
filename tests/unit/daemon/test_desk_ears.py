"""The desk's packets on loopback sockets, in virtual time: what is heard, when a frame is told, what is left alone."""

from __future__ import annotations

import logging
import math
import select
import socket
from collections.abc import Iterator

import numpy as np
import pytest

from bridge.daemon import desk_ears
from bridge.daemon.desk_ears import MOST_SYNC_ADDRESSES, RETRY_S, DeskEars
from bridge.daemon.watch import Watch
from bridge.door.events import DeskFrame
from bridge.errors import NetworkError
from bridge.wire import e131
from tests.workers import ADDRESS, own_universe

LO = "127.0.0.1"
OWN, MAIN, BACKUP = bytes(range(16)), bytes([7] * 16), bytes([8] * 16)
U = own_universe(31001)


class Desk:
    """Sends from one socket; loopback delivers before sendto returns."""

    def __init__(self, cid: bytes = MAIN, name: str = "Desk", priority: int = 100) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind((LO, 0))
        self.socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LO))
        self.endpoint = self.socket.getsockname()
        self._cid, self._name, self._priority, self.sequence = cid, name, priority, 0

    def send(self, level: int, universe: int = U, to: str = "", sync: int = 0, terminated: bool = False) -> None:
        self.sequence = (self.sequence + 1) % 256
        packet = e131.DataPacket(self._cid, self._name, self._priority, universe, sync)
        octets = packet.pack(bytes([level]) * 512, self.sequence, terminated=terminated)
        self.socket.sendto(octets, (to or e131.multicast_group(universe), e131.PORT))

    def synchronise(self, address: int, sequence: int) -> None:
        packet = e131.sync_packet(self._cid, address, sequence)
        self.socket.sendto(packet, (e131.multicast_group(address), e131.PORT))


@pytest.fixture
def desk() -> Iterator[Desk]:
    made = Desk()
    yield made
    made.socket.close()


@pytest.fixture
def ears() -> Iterator[DeskEars]:
    made = DeskEars([U, U + 1], ADDRESS, OWN, lambda: 0.0)
    yield made
    made.close()


def readable(ears: DeskEars) -> bool:
    return bool(select.select([ears.fileno()], [], [], 0)[0])


def sampled(ears: DeskEars, desk: Desk, level: int = 1) -> DeskFrame:
    """Heard and sampled from 0 s to 1.5 s."""
    desk.send(level)
    assert ears.read(0.0) == (), "sampling"
    (frame,) = ears.read(1.5)
    return frame


def test_a_desk_is_sampled_then_told_and_then_only_what_changes(ears: DeskEars, desk: Desk) -> None:
    assert ears.due_s == math.inf
    assert not readable(ears)
    desk.send(10)
    assert readable(ears)
    assert ears.read(0.0) == ()
    assert not readable(ears)
    assert ears.due_s == 1.5, "the end of the sampling"
    assert ears.read(1.5) == (DeskFrame(U, bytes([10]) * 512, "Desk", LO, 100),)
    desk.send(10)
    assert ears.read(1.6) == (), "a keep-alive is no news"
    desk.send(11)
    desk.send(12)
    assert [frame.slots[0] for frame in ears.read(1.7)] == [12], "one frame of the newest, not one a packet"
    desk.send(13, U + 5)
    assert not readable(ears), "a universe that is not the desk's"


def test_unicast_is_heard_where_it_is_wanted(desk: Desk) -> None:
    ears = DeskEars([U], ADDRESS, OWN, lambda: 0.0)
    desk.send(10, to=ADDRESS)
    assert ears.read(0.0) == ()
    assert [frame.slots[0] for frame in ears.read(1.5)] == [10]
    ears.close()


def test_unicast_is_left_to_a_node_on_this_machine_and_that_is_said(
    desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    ears = DeskEars([U], ADDRESS, OWN, lambda: 0.0, unicast=False)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as node:
        node.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        node.bind((ADDRESS, e131.PORT))
        node.setblocking(False)
        desk.send(10, to=ADDRESS)
        assert node.recv(2048)[22:38] == MAIN
    assert not readable(ears)
    desk.send(10)
    assert readable(ears)
    assert f"unicast to {ADDRESS} is not heard" in caplog.text
    ears.close()


def test_a_lost_desk_is_told_when_its_time_has_come_and_its_return_too(ears: DeskEars, desk: Desk) -> None:
    sampled(ears, desk, 9)
    assert ears.due_s == pytest.approx(2.5, abs=1e-5)
    assert ears.read(2.5) == ()
    (frame,) = ears.read(ears.due_s)
    assert (frame.slots, frame.alive, frame.source) == (bytes([9]) * 512, False, "Desk")
    assert ears.due_s == math.inf
    assert ears.read(9.0) == (), "told once"
    desk.send(9)
    assert ears.read(10.0) == (), "new again: its per-address priorities are waited for"
    (frame,) = ears.read(ears.due_s)
    assert frame.alive
    assert ears.due_s == pytest.approx(12.5, abs=1e-5)


def test_a_desk_that_ends_is_gone_at_once(ears: DeskEars, desk: Desk) -> None:
    sampled(ears, desk, 9)
    desk.send(200, terminated=True)
    (frame,) = ears.read(1.6)
    assert (frame.slots[0], frame.alive) == (9, False)


def test_two_desks_of_one_priority_are_said_to_be(ears: DeskEars, desk: Desk) -> None:
    other = Desk(BACKUP, "Other \x1b[2J")
    desk.send(10)
    other.send(20)
    assert ears.read(0.0) == ()
    (frame,) = ears.read(1.5)
    assert (frame.slots[0], frame.equal, frame.source) == (20, True, "Desk")
    other.send(10)
    assert [frame.equal for frame in ears.read(1.6)] == [False]
    desk.send(10, terminated=True)
    assert [frame.source for frame in ears.read(1.6)] == ["Other ?[2J"], "safe to show"
    other.socket.close()


@pytest.mark.parametrize("kernel", [True, False])
def test_what_we_send_ourselves_is_not_a_desk_but_a_copy_of_us_is(ears: DeskEars, desk: Desk, kernel: bool) -> None:
    ours, copy = Desk(OWN), Desk(OWN)
    if not kernel:
        ears._watch.ignore = lambda *_: None  # type: ignore[method-assign]
    ears.ours(ours.endpoint)
    ears.listen_on([U, U + 2])
    for universe in (U, U + 2):
        ours.send(99, universe)
    ours.send(99, to=ADDRESS)
    assert ears.read(0.0) == ears.read(1.5) == ()
    assert ears.counters["own"] == (0 if kernel else 3)
    copy.send(98)
    ears.read(2.0)
    assert [frame.slots[0] for frame in ears.read(3.5)] == [98]
    for one in (ours, copy):
        one.socket.close()


def test_junk_is_counted_and_harms_nothing(ears: DeskEars, desk: Desk) -> None:
    group = (e131.multicast_group(U), e131.PORT)
    for junk in (b"", b"\0" * 2000, b"\x00\x10\x00\x00ASC-E1.17\0\0\0" + bytes(110)):
        desk.socket.sendto(junk, group)
    assert sampled(ears, desk, 5).slots[0] == 5
    assert ears.counters == {"malformed-length": 2, "malformed-not-e131": 1, "taken": 1}


def test_a_burst_of_more_than_a_second_is_not_lost(ears: DeskEars, desk: Desk) -> None:
    for level in range(60):
        desk.send(level)
        desk.send(level, U + 1)
    rounds = 0
    while readable(ears):
        ears.read(0.0)
        rounds += 1
    assert ears.counters["taken"] == 120
    assert rounds <= 2
    assert [(frame.universe, frame.slots[0]) for frame in ears.read(1.5)] == [(U, 59), (U + 1, 59)]


def test_other_universes_are_heard_by_the_same_descriptor(ears: DeskEars, desk: Desk) -> None:
    sampled(ears, desk, 4)
    number = ears.fileno()
    ears.listen_on([U, U + 2])
    assert ears.fileno() == number
    desk.send(6, U + 1)
    assert not readable(ears)
    desk.send(7, U + 2)
    assert readable(ears)
    assert ears.read(1.6) == ()
    assert [(frame.universe, frame.slots[0]) for frame in ears.read(3.2) if frame.alive] == [(U + 2, 7)]


def test_a_universe_that_comes_back_is_told_anew(ears: DeskEars, desk: Desk) -> None:
    frame = sampled(ears, desk, 4)
    ears.listen_on([U + 1])
    ears.listen_on([U, U + 1])
    desk.send(4)
    assert ears.read(1.6) == (), "sampled again"
    assert ears.read(3.2) == (frame,)


def test_universes_that_cannot_be_listened_on_are_tried_again(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    now_s, away, add = [0.0], [False], Watch.add

    def some(watch: Watch, universe: int) -> None:
        if away[0]:
            raise NetworkError("desk: cannot listen")
        add(watch, universe)

    monkeypatch.setattr(desk_ears.Watch, "add", some)
    ears = DeskEars([U], LO, OWN, lambda: now_s[0])
    away[0] = True
    ears.listen_on([U, U + 1])
    assert ears.due_s == RETRY_S
    away[0], now_s[0] = False, RETRY_S
    ears.read(RETRY_S)
    assert ears.due_s == math.inf
    desk.send(3, U + 1)
    assert readable(ears)
    ears.close()


def test_an_interface_that_is_not_here_is_said() -> None:
    with pytest.raises(NetworkError, match=r"desk: cannot listen on 192\.0\.2\.1:5568.*no such address"):
        DeskEars([U], "192.0.2.1", OWN, lambda: 0.0)


def test_the_group_of_a_synchronisation_address_is_joined_once_it_is_learnt(ears: DeskEars, desk: Desk) -> None:
    desk.send(1, sync=U + 7)
    ears.read(0.0)
    ears.read(1.5)
    desk.synchronise(U + 7, 1)
    assert readable(ears)
    ears.read(1.6)
    desk.send(2, sync=U + 7)
    assert ears.read(1.7) == (), "waits for the sync"
    desk.synchronise(U + 7, 2)
    assert [frame.slots[0] for frame in ears.read(1.8)] == [2]
    assert ears.counters == {"taken": 1, "held": 1, "sync": 2}


def test_a_wild_desk_cannot_have_us_join_group_after_group(ears: DeskEars, desk: Desk) -> None:
    for address in range(U + 100, U + 140):
        desk.send(1, sync=address)
        ears.read(0.0)
        assert len(ears._watch.universes) <= 2 + MOST_SYNC_ADDRESSES
    ears.read(60.0)
    assert ears._watch.universes == {U, U + 1}, "nobody synchronises any more"


def test_the_groups_are_joined_again(ears: DeskEars, desk: Desk) -> None:
    sampled(ears, desk)
    ears.rejoin()
    desk.send(2)
    assert [frame.slots[0] for frame in ears.read(1.6)] == [2]
    desk.send(3, to=ADDRESS)
    assert [frame.slots[0] for frame in ears.read(1.7)] == [3]


def test_rows_for_the_feed(ears: DeskEars, desk: Desk) -> None:
    assert ears.status(0.0) == [(U, "", 0, False, -1), (U + 1, "", 0, False, -1)]
    sampled(ears, desk)
    assert ears.status(1.75)[0] == (U, "Desk", 100, True, 1750)
    ears.read(3.0)
    assert ears.status(3.0)[0] == (U, "Desk", 100, False, 3000)


def test_slots_are_octets_that_numpy_reads(ears: DeskEars, desk: Desk) -> None:
    assert np.frombuffer(sampled(ears, desk, 255).slots, np.uint8).tolist() == [255] * 512
