"""One test per reason why a datagram changes nothing."""

from typing import Any

import pytest

from bridge.door.events import Message
from bridge.door.inbox import AllowList, Inbox, Refusal
from bridge.errors import Refused
from bridge.wire import osc


class Desk:
    """Takes what an inbox gives."""

    def __init__(self) -> None:
        self.heard: list[tuple[Any, ...]] = []
        self.refusals: list[Refusal] = []

    def handle(self, message: Message) -> None:
        if message.address == "/refuse":
            raise Refused("range", "out of range")
        if message.address == "/fault":
            raise ZeroDivisionError
        self.heard.append((message.address, message.args, message.sender))


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def inbox(desk: Desk) -> Inbox:
    return Inbox(["127.0.0.0/8", "10.1.0.0/16", "fd00::/8"], desk.handle, desk.refusals.append)


def give(inbox: Inbox, data: bytes, host: str = "127.0.0.1", now_s: float = 0.0) -> list[Message]:
    """The messages of a datagram that were obeyed."""
    inbox.datagram(data, host, now_s)
    obeyed = []
    while inbox.busy:
        message = inbox.work()
        obeyed += [message] if message else []
    return obeyed


def test_messages_of_a_bundle_are_obeyed_in_order_one_at_a_time(inbox: Inbox, desk: Desk) -> None:
    bundle = osc.encode_bundle([osc.encode("/a", 1), osc.encode("/b", 2.0)])
    inbox.datagram(bundle, "127.0.0.1", 3.5)
    assert (desk.heard, inbox.busy) == ([], True)
    assert inbox.work() == Message(3.5, "127.0.0.1", "/a", (1,))
    assert (desk.heard, inbox.busy) == ([("/a", (1,), "127.0.0.1")], True)
    assert inbox.work() == Message(3.5, "127.0.0.1", "/b", (2.0,))
    assert not inbox.busy
    assert (inbox.taken, inbox.obeyed) == (2, 2)


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
    assert give(inbox, data, host, 7.25) == []
    (refusal,) = desk.refusals
    assert (refusal.at_s, refusal.host, refusal.reason) == (7.25, host, reason)
    assert refusal.text
    assert (desk.heard, inbox.taken) == ([], 0)


def test_a_refusal_names_the_address_that_was_refused_and_what_was_worked_on_counts_for_a_capture(
    inbox: Inbox, desk: Desk
) -> None:
    """A capture notes how many messages came before a frame, refused ones too: a replay refuses them again."""
    bundle = osc.encode_bundle([osc.encode("/a", 1), osc.encode("/refuse", 1), osc.encode("/b", 2)])
    assert [message.address for message in give(inbox, bundle)] == ["/a", "/b"]
    assert [(refusal.address, refusal.text) for refusal in desk.refusals] == [("/refuse", "out of range")]
    assert (inbox.taken, inbox.obeyed) == (2, 3)


@pytest.mark.parametrize(("data", "address"), [(osc.encode("/x/y", float("inf")), "/x/y"), (b"/x/y\0\0\0\0,f\0\0", "")])
def test_a_value_that_is_no_number_is_refused_by_its_address_and_what_cannot_be_read_by_none(
    inbox: Inbox, desk: Desk, data: bytes, address: str
) -> None:
    give(inbox, data)
    assert [refusal.address for refusal in desk.refusals] == [address]


def test_a_message_longer_than_a_line_is_shown_short(inbox: Inbox, desk: Desk) -> None:
    def refuse(message: Message) -> None:
        raise Refused("range", "x" * 5000)

    inbox = Inbox(["127.0.0.0/8"], refuse, desk.refusals.append)
    give(inbox, osc.encode("/a"))
    assert len(desk.refusals[0].text) <= 300


def test_other_networks_are_heard_once_the_show_says_so(inbox: Inbox, desk: Desk) -> None:
    assert give(inbox, osc.encode("/a"), "192.168.1.2") == []
    inbox.allow(["192.168.0.0/16"])
    assert len(give(inbox, osc.encode("/a"), "192.168.1.2")) == 1
    assert give(inbox, osc.encode("/a"), "127.0.0.1") == []


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
