"""One test per reason why a datagram changes nothing."""

import logging
from typing import Any

import pytest

from bridge.daemon.inbox import AllowList, Inbox
from bridge.errors import Refused
from bridge.wire import osc


class Desk:
    """Takes what an inbox gives."""

    def __init__(self) -> None:
        self.heard: list[tuple[Any, ...]] = []
        self.obeyed = 0

    def handle(self, address: str, args: tuple[Any, ...], host: str, now_s: float) -> None:
        if address == "/refuse":
            raise Refused("range", "out of range")
        if address == "/fault":
            raise ZeroDivisionError
        self.heard.append((address, args, host))

    def count(self) -> None:
        self.obeyed += 1


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def inbox(desk: Desk) -> Inbox:
    return Inbox(["127.0.0.0/8", "10.1.0.0/16", "fd00::/8"], desk.handle, desk.count)


def give(inbox: Inbox, data: bytes, host: str = "127.0.0.1", now_s: float = 0.0) -> None:
    inbox.datagram(data, host, now_s)
    while inbox.work(now_s):
        pass


def test_messages_of_a_bundle_are_obeyed_in_order_one_at_a_time(inbox: Inbox, desk: Desk) -> None:
    bundle = osc.encode_bundle([osc.encode("/a", 1), osc.encode("/b", 2.0)])
    inbox.datagram(bundle, "127.0.0.1", 0.0)
    assert (desk.heard, inbox.busy) == ([], True)
    assert inbox.work(0.0)
    assert desk.heard == [("/a", (1,), "127.0.0.1")]
    assert inbox.work(0.0)
    assert not inbox.work(0.0)
    assert desk.obeyed == 2


@pytest.mark.parametrize(
    ("data", "host", "reason"),
    [
        (osc.encode("/a"), "192.168.1.2", "sender"),
        (b"junk", "127.0.0.1", "malformed"),
        (b"#bundle\0" + bytes(8) + b"\xff\xff\xff\xfc", "127.0.0.1", "malformed"),
        (osc.encode("/refuse"), "127.0.0.1", "range"),
        (osc.encode("/fault"), "127.0.0.1", "internal"),
        (osc.encode("/a", float("nan")), "127.0.0.1", "not-finite"),
        (bytes(9000), "127.0.0.1", "oversized"),
    ],
)
def test_what_is_refused_changes_nothing_and_is_counted(
    inbox: Inbox, desk: Desk, data: bytes, host: str, reason: str
) -> None:
    give(inbox, data, host)
    assert inbox.refused.counts == {reason: 1}
    assert (desk.heard, desk.obeyed, inbox.taken) == ([], 0, 0)


def test_a_sign_of_life_is_obeyed_but_makes_no_frame_due(inbox: Inbox, desk: Desk) -> None:
    give(inbox, osc.encode("/target/lead/alive"))
    assert (len(desk.heard), desk.obeyed) == (1, 0)


def test_one_line_a_second_per_reason_and_the_rest_is_counted_in_it(
    inbox: Inbox, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    with caplog.at_level(logging.WARNING, "tetherlight"):
        for step in range(250):
            give(inbox, b"junk", now_s=step / 100)
        inbox.refused.flush(9.0)
    assert [("and 99 more" in r.message, "49 more" in r.message) for r in caplog.records] == [
        (False, False), (True, False), (True, False), (False, True),
    ]  # fmt: skip
    assert inbox.refused.counts == {"malformed": 250}


def test_what_a_sender_writes_cannot_forge_a_line_of_the_log(inbox: Inbox, caplog: pytest.LogCaptureFixture) -> None:
    logging.getLogger("tetherlight").propagate = True
    inbox.refused.count("unknown-name", "there is no target a\n2026 INFO all is well\x1b[2J", 0.0)
    assert [record.message for record in caplog.records] == [
        "unknown-name: there is no target a?2026 INFO all is well?[2J"
    ]


@pytest.mark.parametrize(
    ("host", "allowed"),
    [("127.9.9.9", True), ("10.1.2.3", True), ("10.2.0.1", False), ("fd00::1", True), ("::ffff:10.1.2.3", True)],
)
def test_senders_are_told_by_network(host: str, allowed: bool) -> None:
    networks = AllowList(["127.0.0.0/8", "10.1.0.0/16", "fd00::/8"])
    assert [host in networks, host in networks] == [allowed, allowed]


def test_a_flood_of_forged_senders_fills_no_memory() -> None:
    networks = AllowList(["127.0.0.0/8"])
    for number in range(5000):
        assert f"10.0.{number >> 8}.{number & 255}" not in networks
    assert len(networks._known) <= 1024
