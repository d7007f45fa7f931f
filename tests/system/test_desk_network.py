"""Several hosts on a network: desks die, cables are pulled, we have two interfaces, a reload changes which."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bridge.wire import e131
from tests.system.console import Console
from tests.system.daemon_process import Daemon, Node
from tests.system.hosts import DESK, PLUGGED, RIG, Hosts, hosts
from tests.system.test_run_reload import reload
from tests.system.wire_checks import assert_whole, follow, raw

__all__ = ["hosts"]
BRIDGE, NODE = f"{RIG}.1", f"{RIG}.9"


@contextmanager
def beside(hosts: Hosts, folder: Path, universes: tuple[int, int], desk: str) -> Iterator[tuple[Daemon, Node]]:
    """A daemon, not started, on the host `bridge`, and a node on another."""
    with hosts.at("bridge"):
        daemon = Daemon(folder, *universes, interface=BRIDGE)
    with hosts.at("node"):
        node = Node(*universes, interface=NODE)
    daemon.netns = hosts.space("bridge")
    with (daemon.show / "network.yaml").open("a", encoding="utf-8") as network:
        network.write(f"desk: {desk}\n")
    try:
        yield daemon, node
    finally:
        daemon.close()
        node.close()


@contextmanager
def desk_on(
    hosts: Hosts, host: str, *universes: int, network: str = RIG, level: int, priority: int = 100, to: str = ""
) -> Iterator[Console]:
    """A desk on a host, with both heads up and this level in slot 401."""
    with hosts.at(host):
        interface = f"{network}.{PLUGGED[host][network]}"
        desk = Console(*universes, priority=priority, name=f"Desk on {host}", to=to, interface=interface)
    shows(desk, level)
    try:
        yield desk
    finally:
        desk.cut()


def shows(desk: Console, level: int) -> None:
    """The look that tells the desks apart."""
    for levels in desk.levels.values():
        levels[7:9] = levels[107:109] = b"\xff\xff"
        levels[400] = level


def said(daemon: Daemon, words: str) -> list[int]:
    """For which universes it said this, each as often as it was said."""
    found = re.findall(words + r" on universes? ([\d-]+)", daemon.log)
    ends = [tuple(map(int, text.split("-"))) for text in found]
    return sorted(universe for first, *last in ends for universe in range(first, (last or [first])[0] + 1))


def underneath(node: Node, universe: int, level: int, within_s: float = 15.0) -> tuple[float, e131.Data]:
    """The first packet with this level of the desk under ours, and when it came."""
    packet = node.until(lambda p: p.universe == universe and p.slots[400] == level, within_s)
    return node.packets[-1][0], packet


def test_the_main_desks_host_dies_then_the_backups_cable_is_pulled_and_put_back(hosts: Hosts, tmp_path: Path) -> None:
    ours, desks = (30340, 30341), (30350, 30351)
    with (
        beside(hosts, tmp_path, ours, "{universes: {30340: 30350, 30341: 30351}}") as (daemon, node),
        desk_on(hosts, "desk", *desks, level=11),
        desk_on(hosts, "backup", *desks, level=22, priority=90) as backup,
    ):
        daemon.start("--armed")
        underneath(node, 30340, 11)
        follow(daemon, node)
        hosts.unplug("desk")
        died_s = time.time()
        at_s, _ = underneath(node, 30340, 22, within_s=5.0)
        assert 2.3 < at_s - died_s < 3.2, "2.5 s after its last packet (E1.31, network data loss), and a busy machine"
        assert daemon.feed("/feed/desk")[1:4] == ("Desk on backup", 90, True)
        assert "IS LOST" not in daemon.log, "a backup is there"

        hosts.cable("backup", inside=False)
        daemon.wait_log("IS LOST")
        stood = raw(node.of(30340)[-1], "pan")
        for x in (0.5, 0.0, -0.5, -1.0):
            daemon.say("/target/lead/position", x, 4.0)
            node.hear(0.2)
        moved = node.of(30340)[-1]
        assert abs(raw(moved, "pan") - stood) > 200, "our heads go on"
        assert (moved.slots[400], raw(moved, "dimmer")) == (22, 65535), "its last look is held"
        shows(backup, 33)  # nobody can hear that
        daemon.say("/target/lead/position", -1.5, 4.0)
        node.hear(0.5)
        assert node.of(30340)[-1].slots[400] == 22

        hosts.cable("backup", inside=True)
        in_s = time.time()
        at_s, _ = underneath(node, 30340, 33)
        assert at_s - in_s < 2.5, "the sampling is over; the switch takes a moment"
        daemon.wait_log("the desk is back")
        underneath(node, 30341, 33)
        node.hear(0.5)
        assert said(daemon, "LOST") == said(daemon, "is back") == list(desks), "each once"
        for universe in ours:
            assert_whole(node, universe)
        assert daemon.end() == 0


def test_a_desk_on_a_network_of_its_own_by_multicast_and_by_unicast(hosts: Hosts, tmp_path: Path) -> None:
    ours, desk = (30342, 30343), f"{{interface: {DESK}.1, universes: {{30342: 30352, 30343: 30353}}}}"
    with (
        beside(hosts, tmp_path, ours, desk) as (daemon, node),
        desk_on(hosts, "desk", 30352, network=DESK, level=44) as multicast,
        desk_on(hosts, "desk", 30353, network=DESK, level=55, to=f"{DESK}.1"),
        desk_on(hosts, "backup", 30352, 30353, level=66, priority=150),
    ):
        daemon.start("--armed")
        underneath(node, 30342, 44)
        underneath(node, 30343, 55)
        follow(daemon, node)
        assert {p.slots[400] for p in node.of(30342)} == {44}, "the desk on the rig's network is not ours"
        assert {p.slots[400] for p in node.of(30343)} == {55}

        hosts.unplug("bridge", DESK)  # an adapter that is pulled takes its memberships along
        daemon.wait_log(f"THE DESK IS NOT HEARD: no interface of this machine has the address {DESK}.1")
        daemon.wait_log("IS LOST")
        hosts.plug("bridge", DESK)
        shows(multicast, 45)
        underneath(node, 30342, 45)
        daemon.wait_log("the desk is back")
        daemon.wait_log(f"the link of {DESK}.1 is back, the desk is listened to again")
        assert "NOTHING ARRIVES" not in daemon.log, "what leaves is not concerned"

        pans = {raw(packet, "pan") for packet in node.of(30342)[-10:]}
        daemon.edit("network.yaml", f"interface: {DESK}.1", f"interface: {BRIDGE}")
        reload(daemon)
        underneath(node, 30342, 66)
        node.hear(0.5)
        assert {raw(packet, "pan") for packet in node.of(30342)[-20:]} <= pans
        assert daemon.feed("/feed/desk")[1:4] == ("Desk on backup", 150, True)
        for universe in ours:
            assert_whole(node, universe)
        assert daemon.end() == 0
