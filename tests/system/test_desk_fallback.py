"""Our host beside a desk on one universe: killed, frozen, stopped, what do receivers on the node's host show, and when?

Two witnesses: E1.31's rules by our own receiver, and the receiver of the `sacn` library. The library is a weak one. It
keeps one sequence for a universe, so after us it may drop up to 20 packets of the desk as old ones: here the desk's
numbers are set so that they lie ahead of ours when it falls back. And it keeps our priority for 2.5 s after our last
packet, even a terminated one: after a clean stop it says at once that the stream has ended, and shows the desk 2.5 s
later. So the two frames of a clean stop hold for a receiver that follows E1.31, and not for one like this.
"""

from __future__ import annotations

import signal
import socket
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import sacn

from bridge.wire import e131
from bridge.wire.e131 import multicast_group
from tests.system.console import Console
from tests.system.daemon_process import Daemon, Node
from tests.system.hosts import Hosts, hosts
from tests.system.test_beside_desk import OURS, seen_by_node
from tests.system.test_desk_network import NODE, beside, desk_on
from tests.system.wire_checks import follow, raw

__all__ = ["hosts"]
FIRST, SECOND, DESK = 30344, 30345, "Desk on desk"
LOSS_S = 2.5  # E1.31, network data loss
LATE_S = 0.25  # of a node, whose desk sends every 23 ms, on a machine that is busy with other tests


class Library(NamedTuple):
    """What the library's receiver told its user: when (UTC), and whose levels; when, and what became of the stream."""

    levels: list[tuple[float, str]]
    streams: list[tuple[float, str]]


@contextmanager
def library(hosts: Hosts) -> Iterator[Library]:
    """Its receiver on the node's host."""
    told = Library([], [])

    def hear(packet: sacn.DataPacket) -> None:
        told.levels.append((time.time(), packet.sourceName.strip("\0")))

    def change(universe: int, changed: str) -> None:
        told.streams.append((time.time(), changed))

    with hosts.at("node"):
        receiver = sacn.sACNreceiver(bind_address="0.0.0.0")
        receiver.register_listener("universe", hear, universe=FIRST)
        receiver.register_listener("availability", change)
        receiver.start()
        own = receiver._handler.socket._socket  # it has no option for where it joins
        group = struct.pack("4s4s", socket.inet_aton(multicast_group(FIRST)), socket.inet_aton(NODE))
        own.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group)
    try:
        yield told
    finally:
        receiver.stop()


def falls_back(daemon: Daemon, node: Node, told: Library, desk: Console, number: signal.Signals) -> None:
    """Do this to our process, and hold both witnesses to what it must do to them."""
    assert daemon.process is not None
    assert told.levels[-1][1] == OURS, "until then they obeyed us, at the higher priority"
    ours = [p for p in node.of(FIRST) if p.source_name == OURS][-1]
    desk.sequence[FIRST] = (ours.sequence - 10) % 256  # 110 further in 2.5 s
    at_s = time.time()
    daemon.process.send_signal(number)
    node.hear(LOSS_S + 0.7)

    last_s = max(when_s for when_s, p in node.packets if p.universe == FIRST and p.source_name == OURS)
    shown = [(when_s, source) for when_s, _, source in seen_by_node(node, FIRST) if when_s > at_s]
    rule_s = next(when_s for when_s, source in shown if source == DESK)
    library_s = next(when_s for when_s, source in told.levels if when_s > at_s and source == DESK)
    ended = [when_s for when_s, changed in told.streams if changed == "timeout" and when_s > at_s]
    assert LOSS_S - 0.01 < library_s - last_s < LOSS_S + LATE_S
    if number is signal.SIGTERM:
        assert rule_s - at_s < 2 / 44 + 0.1, "two frames, and a busy machine"
        assert ended
        assert ended[0] - at_s < 2 / 44 + 0.1, "the library says so as soon"
    else:
        assert LOSS_S - 0.01 < rule_s - last_s < LOSS_S + LATE_S
        assert not ended, "to the library it is one stream, which the desk keeps going"
    assert shown[-1][1] == told.levels[-1][1] == DESK


def goes_on(node: Node, before: e131.Data) -> float:
    """Ours are there again as they were, over the desk's; when the first packet came."""
    packet = node.until(lambda p: p.universe == FIRST and p.source_name == OURS)
    assert packet.slots == before.slots
    return node.packets[-1][0]


def test_frozen_thawed_killed_started_again_and_stopped(hosts: Hosts, tmp_path: Path) -> None:
    universes = "{universes: {30344: 30344, 30345: 30345}}"
    with (
        beside(hosts, tmp_path, (FIRST, SECOND), universes) as (daemon, node),
        library(hosts) as told,
        desk_on(hosts, "desk", FIRST, SECOND, level=200) as desk,
    ):
        daemon.start("--armed")
        node.until(lambda p: p.source_name == OURS)
        follow(daemon, node)
        node.hear(1.2)  # until its state is on disk
        settled = len(node.of(FIRST))
        before = [p for p in node.of(FIRST) if p.source_name == OURS][-1]
        assert (before.slots[400], raw(before, "dimmer")) == (200, 65535)

        falls_back(daemon, node, told, desk, signal.SIGSTOP)
        assert daemon.process is not None
        daemon.process.send_signal(signal.SIGCONT)
        goes_on(node, before)
        node.hear(0.7)
        falls_back(daemon, node, told, desk, signal.SIGKILL)
        daemon.start("--armed")
        daemon.wait_log("going on as before the crash")
        started_s = time.time()
        assert goes_on(node, before) - started_s < 1.0, "the desk's last frame is known: no sampling of 1.5 s"
        node.hear(0.7)
        falls_back(daemon, node, told, desk, signal.SIGTERM)
        ours = [p for p in node.of(FIRST)[settled:] if p.source_name == OURS and not p.terminated]
        assert {p.slots for p in ours} == {before.slots}, "at no time was it anything else"
