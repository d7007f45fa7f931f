"""`/operator NAME` first in a bundle: what follows in it comes from NAME@HOST. Two on one host are two operators."""

from __future__ import annotations

from typing import Any

import pytest

from bridge.door.inbox import Inbox
from bridge.errors import Refused
from bridge.wire import osc
from tests.scenarios.conftest import HERE, THERE, datagram


def test_a_target_obeys_one_of_two_operators_of_one_host_until_the_other_takes_it(bridge: Any) -> None:
    bridge.say("/target/lead/position", 1.0, 4.0, operator="Ann")
    for operator in ("Bob", ""):
        refusal = bridge.refused("/target/lead/position", -1.0, 4.0, operator=operator)
        assert (refusal.reason, "steered by Ann@127.0.0.1" in str(refusal)) == ("other-sender", True)
    assert bridge.place()[:2] == (1.0, 4.0)
    bridge.say("/target/lead/take", operator="Bob")
    bridge.say("/target/lead/position", -1.0, 4.0, operator="Bob")
    assert bridge.place()[:2] == (-1.0, 4.0)
    assert "steered by Bob@127.0.0.1" in str(bridge.refused("/target/lead/alive", operator="Ann"))
    bridge.run(0.2)


def test_the_same_name_on_another_host_is_another_operator(bridge: Any) -> None:
    bridge.say("/target/lead/alive", operator="Ann", host=HERE)
    assert bridge.refused("/target/lead/alive", operator="Ann", host=THERE).reason == "other-sender"


@pytest.mark.parametrize("address", ["/still", "/truss/foh/still", "/fixture/foh-1/still"])
def test_what_one_operator_made_still_another_of_the_same_host_does_not_clear(bridge: Any, address: str) -> None:
    bridge.say(address, 1, operator="Ann")
    refusal = bridge.refused(address, 0, operator="Bob")
    assert (refusal.reason, "by Ann@127.0.0.1, not by Bob@127.0.0.1" in str(refusal)) == ("owner", True)
    assert bridge.refused(address, 0).reason == "owner", "nor the host without a name"
    bridge.tick()
    assert bridge.state("foh-1") == "still"
    bridge.say(address, 0, operator="Ann")
    bridge.tick()
    assert bridge.state("foh-1") != "still"


def test_a_name_holds_for_its_own_datagram_only(bridge: Any) -> None:
    bridge.say("/target/lead/alive", operator="Ann")
    assert "not 127.0.0.1;" in str(bridge.refused("/target/lead/alive"))
    bridge.say("/target/lead/alive", operator="Ann")


def test_all_messages_of_the_bundle_are_of_the_operator_and_news_say_so(bridge: Any) -> None:
    bridge.door.news.take()
    bridge.throw(osc.encode_bundle([datagram("/operator", "Ann"), datagram("/dark", 1), datagram("/lock", 1)]))
    assert [notice.text for notice in bridge.door.news.take()] == [
        "/dark 1, by Ann@127.0.0.1",
        "/lock 1, by Ann@127.0.0.1",
    ]
    bridge.run(0.2)


BAD_NAMES = ["", " ", "a@b", "x" * 33, "a\nb", "a\x1b[2J", "\u200b", 7, 1.5, True]


@pytest.mark.parametrize("name", BAD_NAMES, ids=[ascii(name) for name in BAD_NAMES])
def test_with_a_name_that_is_none_nothing_of_the_datagram_is_obeyed(bridge: Any, name: Any) -> None:
    with pytest.raises(Refused, match="nothing of its datagram is obeyed") as caught:
        bridge.throw(osc.encode_bundle([datagram("/operator", name), datagram("/dark", 1)]))
    assert caught.value.reason == "operator"
    assert [(r.address, r.sender) for r in bridge.refusals] == [("/operator", HERE)]
    assert not bridge.engine.crew.dark
    bridge.run(0.1)


@pytest.mark.parametrize(
    "messages",
    [
        [datagram("/dark", 1), datagram("/operator", "Ann")],
        [datagram("/operator", "Ann"), datagram("/operator", "Bob"), datagram("/dark", 1)],
        [datagram("/operator"), datagram("/dark", 1)],
        [datagram("/operator", "Ann", "Bob"), datagram("/dark", 1)],
        [b"/operator\0\0\0,c\0\0\0\0\0a", datagram("/dark", 1)],
        [datagram("/operator", "Ann")],
    ],
    ids=["not first", "twice", "without a name", "two names", "a type that OSC does not know", "alone"],
)
def test_an_operator_anywhere_else_or_otherwise_is_refused_with_its_whole_datagram(
    bridge: Any, messages: list[bytes]
) -> None:
    with pytest.raises(Refused, match="/operator"):
        bridge.throw(osc.encode_bundle(messages))
    assert not bridge.engine.crew.dark


@pytest.mark.parametrize("name", ["A", "x" * 32, "Frau Müller 2", "左"])
def test_any_printable_name_will_do(bridge: Any, name: str) -> None:
    bridge.say("/target/lead/alive", operator=name)
    assert bridge.engine.place.targets[0].sender == f"{name}@127.0.0.1"


def test_who_steers_and_who_made_still_is_kept_by_name(bridge: Any) -> None:
    bridge.say("/still", 1, operator="Ann")
    bridge.say("/target/lead/alive", operator="Bob")
    data = bridge.door.state()
    bridge.door.restore(data)
    assert bridge.engine.place.targets[0].sender == "Bob@127.0.0.1"
    assert bridge.engine.crew.still.words() == ["everything (by Ann@127.0.0.1)"]


def test_a_capture_counts_only_the_messages_and_replays_the_refusals_too(make_bridge: Any) -> None:
    """At the end of every scenario its capture is replayed: here what Bob says must be refused again."""
    bridge = make_bridge()
    for step in range(40):
        bridge.say("/target/lead/position", step / 10, 4.0, operator="Ann")
        bridge.refused("/target/lead/position", -step / 10, 4.0, operator="Bob")
        assert bridge.inbox.obeyed == 2
        bridge.run(0.05)


def test_a_lone_message_from_a_host_is_of_that_host_as_ever() -> None:
    heard = []
    inbox = Inbox(["127.0.0.0/8"], heard.append, lambda refusal: None)
    inbox.datagram(osc.encode("/a", 1), HERE, 1.0)
    inbox.datagram(osc.encode_bundle([osc.encode("/operator", "Ann"), osc.encode("/b")]), HERE, 1.0)
    while inbox.busy:
        inbox.work()
    assert [(m.address, m.sender, m.host) for m in heard] == [("/a", HERE, HERE), ("/b", f"Ann@{HERE}", HERE)]
