"""The feed: bounds, expiry, no bursts, and datagrams that python-osc reads."""

import pytest
from pythonosc.osc_bundle import OscBundle

from bridge.daemon.feed import MAX_OCTETS, MAX_SUBSCRIBERS, MOST_REFUSALS, Feed
from bridge.daemon.input_report import InputRow, PointTold
from bridge.daemon.status import DeskRow, Rows
from bridge.errors import Refused
from bridge.follow.where.place import TargetStatus
from bridge.wire import osc

ME = ("10.0.0.5", 7000)


class Post:
    """Keeps what a feed sends."""

    def __init__(self) -> None:
        self.sent: list[tuple[bytes, tuple[str, int]]] = []
        self.feed = Feed(lambda datagram, address: self.sent.append((datagram, address)))


BRIDGE = (True, False, False, 1.0, 2, 0, 5, 6, 7, 8, True)


def rows(heads: int) -> Rows:
    targets = [
        TargetStatus("lead", 1.0, 2.0, 3.0, True, 0.25),
        TargetStatus("b", 0.0, float("nan"), 0.0, False, float("inf")),
    ]
    universes = [(1, "overruled", "Desk", 150), (2, "waiting", "", 0)]
    trims = [("fixture", "head-0", 0.5, -0.25), ("truss", "foh", 0.0, 1.0)]
    return Rows(targets, [(f"head-{n}", "lit", float(n), -1.5, 0.5) for n in range(heads)], universes, trims)


def test_an_events_texts_carry_no_control_characters() -> None:
    post = Post()
    post.feed.subscribe(*ME, 10, 0.0)
    post.feed.event("/feed/notice", "a\x1b[2Jb\nc\x00d", 1)
    (datagram, _), *_ = post.sent
    (message,) = osc.decode(datagram)
    assert message.args == ("a?[2Jb?c?d", 1)


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
    post.feed.tell([ME], BRIDGE, rows(100))
    assert all(len(datagram) <= MAX_OCTETS and address == ME for datagram, address in post.sent)
    messages = [message for datagram, _ in post.sent for message in OscBundle(datagram)]
    assert messages[0].address == "/feed/bridge"
    assert messages[0].params == list(BRIDGE), "the last one: locked"
    assert (messages[1].address, messages[1].params) == ("/feed/target", ["lead", 1.0, 2.0, 3.0, True, 250.0])
    assert messages[2].params == ["b", 0.0, 0.0, 0.0, False, -1.0]
    assert [m.params for m in messages[3:103]] == [[f"head-{n}", "lit", float(n), -1.5, 0.5] for n in range(100)]
    assert [(m.address, m.params) for m in messages[103:]] == [
        ("/feed/universe", [1, "overruled", "Desk", 150]),
        ("/feed/universe", [2, "waiting", "", 0]),
        ("/feed/trim", ["fixture", "head-0", 0.5, -0.25]),
        ("/feed/trim", ["truss", "foh", 0.0, 1.0]),
    ]


def test_a_fixture_whose_state_changes_is_told_in_its_new_state() -> None:
    """The texts before the numbers are encoded once for each fixture and state."""
    post = Post()
    for word, pan in (("lit", 1.5), ("dark", 1.5), ("lit", -7.25)):
        post.sent.clear()
        post.feed.tell([ME], BRIDGE, Rows([], [("foh-1", word, pan, 2.0, 0.5)], [], []))
        assert osc.decode(post.sent[0][0])[1].args == ("foh-1", word, pan, 2.0, 0.5)


def test_the_desks_universes_are_told_with_the_rest() -> None:
    post = Post()
    heard, silent = DeskRow(101, "Desk\x07", 100, True, 0.0125), DeskRow(60, "", 0, False, float("inf"))
    post.feed.tell([ME], BRIDGE, Rows([], [], [], [], [heard, silent]))
    _, *told = osc.decode(post.sent[0][0])
    assert [(message.address, message.args) for message in told] == [
        ("/feed/desk", (101, "Desk?", 100, True, 12.5)),
        ("/feed/desk", (60, "", 0, False, -1.0)),
    ]


def test_an_event_reaches_everybody_at_once() -> None:
    post = Post()
    post.feed.subscribe(*ME, 1, 0.0)
    post.feed.subscribe("10.0.0.6", 7000, 1, 0.0)
    post.feed.event("/feed/solve", "done", "12 poses taken")
    assert [address for _, address in post.sent] == [ME, ("10.0.0.6", 7000)]
    assert osc.decode(post.sent[0][0]) == [osc.OscMessage("/feed/solve", ("done", "12 poses taken"))]


def test_whoever_asked_for_all_hears_which_sender_was_refused() -> None:
    post = Post()
    post.feed.subscribe(*ME, 10.0, 0.0)
    post.feed.subscribe(ME[0], ME[1] + 1, 10.0, 0.0, "all")
    post.feed.refused(ME[0], "/level", "range", "level 2", 1.0, f"Ann@{ME[0]}")
    post.feed.refused(ME[0], "/level", "range", "level 2", 1.1, f"Bob@{ME[0]}")
    told = [[message.args for message in osc.decode(datagram)] for datagram, _ in post.sent]
    plain, ann = [("/level", "range", "level 2")], [("/level", "range", "level 2", f"Ann@{ME[0]}")]
    bob = [("/level", "range", "level 2", f"Bob@{ME[0]}")]
    assert told == [plain, ann, plain, bob]


def test_a_refusal_is_told_to_the_host_that_sent_it_at_each_of_its_ports_and_to_nobody_else() -> None:
    post = Post()
    for address in (ME, (ME[0], 7001), ("10.0.0.6", 7000)):
        post.feed.subscribe(*address, 1, 0.0)
    post.feed.refused(ME[0], "/level", "range", "level 2, not 0 to 1", 1.0)
    assert [address for _, address in post.sent] == [ME, (ME[0], 7001)]
    assert osc.decode(post.sent[0][0]) == [osc.OscMessage("/feed/refused", ("/level", "range", "level 2, not 0 to 1"))]
    post.feed.refused("10.0.0.99", "/level", "range", "a host that did not subscribe", 5.0)
    assert len(post.sent) == 2


def test_of_the_same_address_and_reason_one_refusal_a_second_is_told_and_others_at_once() -> None:
    post = Post()
    post.feed.subscribe(*ME, 1, 0.0)

    def told(address: str, reason: str, now_s: float) -> bool:
        post.sent.clear()
        post.feed.refused(ME[0], address, reason, "so", now_s)
        return bool(post.sent)

    assert [told("/level", "range", 1.0 + step / 100) for step in range(100)] == [True] + [False] * 99
    assert told("/level", "arguments", 1.99)
    assert told("/dark", "range", 1.99)
    assert told("/level", "range", 2.0)
    assert not told("/level", "range", 2.99)


def test_a_refusals_texts_carry_no_control_characters_and_made_up_addresses_fill_no_memory() -> None:
    post = Post()
    post.feed.subscribe(*ME, 1, 0.0)
    for number in range(3 * MOST_REFUSALS):
        post.feed.refused(ME[0], f"/made/up/{number}", "unknown-address", "no\x1b[2J", 1.0)
    assert len(post.feed._refusals) <= MOST_REFUSALS
    assert osc.decode(post.sent[0][0])[0].args == ("/made/up/0", "unknown-address", "no?[2J")


def test_no_text_is_longer_than_a_reader_of_osc_takes() -> None:
    post = Post()
    post.feed.subscribe(*ME, 1, 0.0)
    post.feed.event("/feed/notice", "ü" * 300)
    post.feed.refused(ME[0], "/x", "range", "é" * 300, 1.0)
    texts = [osc.decode(datagram)[0].args[-1] for datagram, _ in post.sent]
    assert texts == ["ü" * 127, "é" * 127]


def told_behind(post: Post, feed_to: list[tuple[str, int]], behind: list[tuple[str, float]]) -> dict[int, list[object]]:
    """What each port was told of who is behind when the state is told to these."""
    post.sent.clear()
    post.feed.tell(feed_to, BRIDGE, Rows([], [], [], [], behind=behind))
    told: dict[int, list[object]] = {port: [] for _, port in feed_to}
    for datagram, (_, port) in post.sent:
        told[port] += [message.args for message in osc.decode(datagram) if message.address == "/feed/behind"]
    return told


def test_who_has_caught_up_is_told_once_to_each_who_heard_of_it() -> None:
    post, other = Post(), ("10.0.0.6", 7001)
    post.feed.subscribe(*ME, 10, 0.0)
    post.feed.subscribe(*other, 1, 0.0)
    assert told_behind(post, [ME, other], [("a", 0.5), ("b", 0.75)]) == {
        7000: [("a", 0.5), ("b", 0.75)],
        7001: [("a", 0.5), ("b", 0.75)],
    }
    assert told_behind(post, [ME], [("b", 0.625)]) == {7000: [("b", 0.625), ("a", 0.0)]}
    post.feed.subscribe(*ME, 10, 5.0)  # goes on with what it has heard
    assert told_behind(post, [ME], []) == {7000: [("b", 0.0)]}
    assert told_behind(post, [ME, other], []) == {7000: [], 7001: [("a", 0.0), ("b", 0.0)]}
    assert told_behind(post, [ME, other], []) == {7000: [], 7001: []}


def test_points_are_told_to_those_who_asked_for_all_and_inputs_to_everybody() -> None:
    post = Post()
    post.feed.subscribe(*ME, 10, 0.0, "all")
    post.feed.subscribe(ME[0], ME[1] + 1, 10, 0.0)
    post.feed.inputs([InputRow("tags", "otp", 3, 60.0, 0.5, 12.0, True, "1/7 1/8", "1/8", 4)])
    post.feed.points([PointTold("tags", "1/7", 1.0, 2.0, 3.0, 60.0, 12.0)])
    told = [(to[1] - ME[1], osc.decode(datagram)[0]) for datagram, to in post.sent]
    assert [(to, message.address) for to, message in told] == [
        (0, "/feed/input"),
        (1, "/feed/input"),
        (0, "/feed/point"),
    ]
    assert told[0][1].args == ("tags", "otp", 3, 60.0, 0.5, 12.0, 1, "1/7 1/8", "1/8", 4)
    assert told[2][1].args == ("tags", "1/7", 1.0, 2.0, 3.0, 60.0, 12.0)
