"""The feed: bounds, expiry, no bursts, and datagrams that python-osc reads."""

import pytest
from pythonosc.osc_bundle import OscBundle

from bridge.daemon.feed import MAX_OCTETS, MAX_SUBSCRIBERS, Feed, FixtureRow, TargetRow
from bridge.errors import Refused
from bridge.wire import osc

ME = ("10.0.0.5", 7000)


class Post:
    """Keeps what a feed sends."""

    def __init__(self) -> None:
        self.sent: list[tuple[bytes, tuple[str, int]]] = []
        self.feed = Feed(lambda datagram, address: self.sent.append((datagram, address)))


def rows(heads: int) -> tuple[list[TargetRow], list[FixtureRow]]:
    targets = [("lead", 1.0, 2.0, 3.0, True, 0.25), ("b", 0.0, 0.0, 0.0, False, float("inf"))]
    return targets, [(f"head-{n}", "lit", float(n), -1.5, 0.5) for n in range(heads)]


@pytest.mark.parametrize(
    ("port", "rate"), [(0, 10), (65536, 10), (7000.5, 10), (True, 10), ("x", 10), (7000, 0.05), (7000, 61), (7000, "x")]
)
def test_a_subscription_outside_the_bounds_is_refused(port: object, rate: object) -> None:
    post = Post()
    with pytest.raises(Refused):
        post.feed.subscribe("10.0.0.5", port, rate, 0.0)
    assert post.feed.due(0.0) == []


def test_a_subscription_lasts_ten_seconds_per_request() -> None:
    feed = Post().feed
    feed.subscribe(*ME, 10, 0.0)
    assert feed.due(9.99) == [ME]
    feed.subscribe(*ME, 10, 9.995)
    assert feed.due(19.99) == [ME]
    assert feed.due(20.0) == []


def test_a_stall_is_not_followed_by_a_burst() -> None:
    feed = Post().feed
    feed.subscribe(*ME, 10, 0.0)
    assert feed.due(0.0) == [ME]
    assert feed.due(0.05) == []
    assert feed.due(5.0) == [ME]
    assert feed.due(5.0 + 1e-9) == [ME]  # at most the one that was due
    assert feed.due(5.05) == []


def test_asking_again_often_does_not_raise_the_rate() -> None:
    feed = Post().feed
    told = 0
    for step in range(1000):
        feed.subscribe(*ME, 2, step / 100)
        told += len(feed.due(step / 100))
    assert told <= 21


def test_subscribers_are_bounded() -> None:
    feed = Post().feed
    for port in range(MAX_SUBSCRIBERS):
        feed.subscribe("10.0.0.5", 7000 + port, 10, 0.0)
    with pytest.raises(Refused, match="subscribers"):
        feed.subscribe("10.0.0.6", 7000, 10, 0.0)
    feed.subscribe("10.0.0.6", 7000, 10, 10.0)


def test_the_state_is_told_in_bundles_of_bounded_size_that_python_osc_reads() -> None:
    post = Post()
    post.feed.tell([ME], (True, False, False, 1.0, 2, 0, 5, 6, 7, 8), *rows(100))
    assert all(len(datagram) <= MAX_OCTETS and address == ME for datagram, address in post.sent)
    messages = [message for datagram, _ in post.sent for message in OscBundle(datagram)]
    assert messages[0].address == "/feed/bridge"
    assert messages[0].params == [True, False, False, 1.0, 2, 0, 5, 6, 7, 8]
    assert (messages[1].address, messages[1].params) == ("/feed/target", ["lead", 1.0, 2.0, 3.0, True, 250.0])
    assert messages[2].params[-1] == -1.0
    assert [m.params for m in messages[3:]] == [[f"head-{n}", "lit", float(n), -1.5, 0.5] for n in range(100)]


def test_an_event_reaches_everybody_at_once() -> None:
    post = Post()
    post.feed.subscribe(*ME, 1, 0.0)
    post.feed.subscribe("10.0.0.6", 7000, 1, 0.0)
    post.feed.event("/feed/solve", "done", "12 poses taken")
    assert [address for _, address in post.sent] == [ME, ("10.0.0.6", 7000)]
    assert osc.decode(post.sent[0][0]) == [osc.Message("/feed/solve", ("done", "12 poses taken"))]
