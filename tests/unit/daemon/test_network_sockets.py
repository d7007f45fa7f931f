"""Sockets on loopback: what is heard, what is not, and what a person is told when one cannot be had."""

import logging
import select
import socket
from collections.abc import Iterator

import pytest

from bridge.daemon.ears import Ears
from bridge.daemon.endpoint import drain, open_osc
from bridge.daemon.interfaces import own_addresses, resolve_address
from bridge.daemon.output import Output
from bridge.daemon.watch import Watch
from bridge.door.contest import named
from bridge.door.events import OtherSource
from bridge.door.inbox import Inbox, Refusal
from bridge.errors import NetworkError
from bridge.wire import e131, osc
from bridge.wire.settings import SacnSettings

OWN, OTHER = bytes(range(16)), bytes(range(1, 17))
LEVELS = bytes(512)


def packet(cid: bytes, universe: int, sequence: int = 0, name: str = "Desk") -> bytes:
    return bytes(e131.DataPacket(cid, name, 100, universe).pack(LEVELS, sequence))


@pytest.fixture
def output() -> Iterator[Output]:
    sender = Output(SacnSettings())
    yield sender
    sender.close()


def heard_by(watch: Watch) -> list[bytes]:
    """CIDs of what a watch takes in; loopback delivers before sendto returns."""
    cids: list[bytes] = []
    watch.drain(lambda data, sender: cids.append(data[22:38]))
    return cids


def test_other_sources_are_heard_by_multicast_and_our_own_packets_never_reach_us(output: Output) -> None:
    watch = Watch([30010, 30011], "127.0.0.1")
    watch.ignore(OWN, output.endpoint)
    output.send(30010, packet(OWN, 30010), 0.0)
    output.send(30011, packet(OTHER, 30011), 0.0)
    output.send(30012, packet(OTHER, 30012), 0.0)
    assert heard_by(watch) == [OTHER]
    assert heard_by(watch) == []
    watch.close()


@pytest.mark.parametrize("word", range(4))
def test_a_cid_that_differs_in_one_place_is_not_taken_for_ours(output: Output, word: int) -> None:
    watch = Watch([30013], "127.0.0.1")
    watch.ignore(OWN, output.endpoint)
    near = bytearray(OWN)
    near[4 * word + 3] ^= 1
    output.send(30013, packet(bytes(near), 30013), 0.0)
    assert heard_by(watch) == [bytes(near)]
    watch.close()


@pytest.mark.parametrize("kernel", [True, False])
def test_our_cid_from_elsewhere_is_a_contest_and_said_to_be_a_copy_of_us(output: Output, kernel: bool) -> None:
    """From another port of this machine (two daemons), and from another address with the very port that is ours."""
    watch = Watch([30019], "127.0.0.1")
    ears = Ears(watch, [30019], OWN, lambda: 100.0)
    if not kernel:
        watch.ignore = lambda *_: None  # type: ignore[method-assign]
    ears.ours(output.endpoint)
    group = (e131.multicast_group(30019), e131.PORT)
    output.send(30019, packet(OWN, 30019, 7), 0.0)
    assert not ears.changed(100.0)
    for host, port in (("127.0.0.1", 0), ("127.0.0.2", output.endpoint[1])):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as copy:
            copy.bind((host, port))
            copy.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            copy.sendto(packet(OWN, 30019, 7, "Follow"), group)
    assert ears.changed(100.0)
    first, second = map(named, ears.heard[30019])
    assert first.startswith('"Follow" at 127.0.0.1 (priority 100), under OUR identity (CID): a copied machine or state')
    assert second.startswith('"Follow" at 127.0.0.2 (priority 100), under OUR identity')
    ears.close()


def test_after_the_output_was_opened_anew_its_packets_are_still_ours(output: Output) -> None:
    watch = Watch([30019], "127.0.0.1")
    ears = Ears(watch, [30019], OWN, lambda: 100.0)
    ears.ours(output.endpoint)
    output.opened = ears.ours
    before = output.endpoint
    output.close()
    for step in range(3):
        output.send(30019, packet(OWN, 30019, step), float(step))
    assert output.packets == 1
    assert output.endpoint != before
    assert not ears.changed(100.0)
    assert ears.heard == {}
    assert heard_by(watch) == []
    ears.close()


def test_more_universes_than_one_socket_may_join(output: Output) -> None:
    """Linux: net.ipv4.igmp_max_memberships is 20 per socket."""
    universes = range(30020, 30060)
    watch = Watch(universes, "127.0.0.1")
    for universe in universes:
        output.send(universe, packet(OTHER, universe), 0.0)
    assert len(heard_by(watch)) == 40
    watch.close()


def test_unicast_for_a_node_on_this_machine_is_not_swallowed(output: Output) -> None:
    watch = Watch([30014], "127.0.0.1")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as node:
        node.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        node.bind(("127.0.0.77", e131.PORT))
        node.setblocking(False)
        unicast = Output(SacnSettings(destinations=(("127.0.0.77", e131.PORT),)))
        assert unicast.send(30014, packet(OTHER, 30014), 0.0)
        assert node.recv(2048)[22:38] == OTHER
        unicast.close()
    assert heard_by(watch) == []
    watch.close()


def test_contests_name_the_source_its_address_and_only_the_last_moments(output: Output) -> None:
    now_s = [100.0]
    watch = Watch([30015, 30016], "127.0.0.1")
    ears = Ears(watch, [30015, 30016], OWN, lambda: now_s[0])
    output.send(30015, packet(OTHER, 30015, name="House desk"), 0.0)
    assert ears.changed(100.0)
    assert ears.heard == {30015: (OtherSource("House desk", "127.0.0.1", 100),)}
    assert not ears.changed(100.0), "nothing is new"
    output.send(30015, packet(OTHER, 30015, 1, name="\x1b[2J\nHouse"), 0.0)
    assert ears.changed(100.0)
    assert ears.heard == {30015: (OtherSource("?[2J?House", "127.0.0.1", 100),)}
    now_s[0] = 101.3
    assert ears.changed(101.3)
    assert ears.heard == {}
    output.send(30016, b"\x00\x10 junk", 0.0)
    assert not ears.changed(101.3)
    assert ears.heard == {}
    ears.close()


def test_an_interface_that_is_not_here_is_said_with_those_that_are() -> None:
    with pytest.raises(NetworkError, match=r"192\.0\.2\.1.*no such address.*127\.0\.0\.1 \(lo\)"):
        Output(SacnSettings(interface="192.0.2.1"))
    with pytest.raises(NetworkError, match="no such"):
        Watch([30017], "192.0.2.1")
    assert own_addresses()["lo"] == "127.0.0.1"


def test_a_send_that_fails_is_counted_and_said_once_and_its_return_too(
    output: Output, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    output.close()
    assert [output.send(30018, packet(OWN, 30018), step / 44) for step in range(40)] == [False] * 40
    assert (output.errors, output.failing) == (40, ("127.0.0.1",))
    assert output.send(30018, packet(OWN, 30018), 1.0) is False  # the socket is made anew with this one ...
    assert output.send(30018, packet(OWN, 30018), 1.1) is True
    assert [record.message[:31] for record in caplog.records] == [
        "sACN output to 127.0.0.1 fails:",
        "sACN output to 127.0.0.1 works ",
    ]
    assert "41 packets" in caplog.records[1].message


def test_an_osc_port_that_is_taken_is_said() -> None:
    first = open_osc("127.0.0.1", 0)
    with pytest.raises(NetworkError, match="another program holds this port"):
        open_osc("127.0.0.1", first.getsockname()[1])
    first.close()
    with pytest.raises(NetworkError, match="no such address"):
        open_osc("192.0.2.1", 9100)


def test_a_drain_stops_for_a_frame_that_is_due_and_goes_on_after_it() -> None:
    taken: list[str] = []
    sock = open_osc("127.0.0.1", 0)
    refused: list[Refusal] = []
    obeyed: list[str] = []
    inbox = Inbox(["127.0.0.1/32"], lambda message: taken.append(message.address), refused.append)
    clock_s = [0.0]

    def clock() -> float:
        clock_s[0] += 0.0001
        return clock_s[0]

    def drained(due_s: float) -> None:
        drain(
            sock,
            inbox,
            lambda data, sender, at_s: inbox.datagram(data, sender[0], at_s),
            lambda message: obeyed.append(message.address),
            clock,
            lambda: due_s,
        )

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for number in range(200):
            sender.sendto(osc.encode(f"/n/{number}"), sock.getsockname())
    drained(0.0)
    assert 1 <= len(taken) <= 4  # the grace of 0.3 ms, at 0.1 ms a look
    drained(1e9)
    assert len(taken) <= 4 + 64
    while select.select([sock], [], [], 0)[0]:
        drained(1e9)
    assert taken == obeyed == [f"/n/{number}" for number in range(200)]
    assert refused == []
    sock.close()


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("127.0.0.1", "127.0.0.1"),
        ("10.1.2.3", "10.1.2.3"),
        ("::1", "::1"),
        ("lo", "127.0.0.1"),
        ("localhost", "127.0.0.1"),
    ],
)
def test_an_address_or_the_name_of_an_interface(text: str, address: str) -> None:
    assert resolve_address(text) == address


def test_the_name_of_no_interface_is_said_with_those_that_are() -> None:
    with pytest.raises(NetworkError, match=r"'nosuch0', which is no interface.*127\.0\.0\.1 \(lo\)") as caught:
        resolve_address("nosuch0")
    assert caught.value.exit_code == 3


def test_an_interface_without_an_address_is_another_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bridge.daemon.interfaces.own_addresses", lambda: {"lo": "127.0.0.1"})
    monkeypatch.setattr("socket.if_nameindex", lambda: [(1, "lo"), (2, "eth7")])
    with pytest.raises(NetworkError, match=r"'eth7', which has no IPv4 address .*127\.0\.0\.1 \(lo\)"):
        resolve_address("eth7")
