"""The cable out and in again, in a network namespace of its own: output fails, is said once, and resumes by itself."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.system.daemon_process import ROOT, Daemon

SPACE = f"tetherlight-{os.getpid()}"
LISTENER = """
import sys
from tests.system.daemon_process import Node
node = Node(30070, interface="10.77.0.1")
packet = node.until(lambda p: True, within_s=float(sys.argv[1]))
print(packet.universe, packet.sequence)
"""


def ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True, capture_output=True)


def hear_one(within_s: float) -> subprocess.CompletedProcess[str]:
    command = ["ip", "netns", "exec", SPACE, sys.executable, "-c", LISTENER, str(within_s)]
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )


@pytest.fixture
def space() -> Iterator[str]:
    """A network namespace with a pair of interfaces, `tl0` (10.77.0.1) and its far end."""
    try:
        ip("netns", "add", SPACE)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip(f"no network namespaces here (needs root and iproute2): {error}")
    try:
        for words in ("link set lo up", "link add tl0 type veth peer name tl1", "link set tl1 up"):
            ip("-n", SPACE, *words.split())
        bring_up()
        yield SPACE
    finally:
        ip("netns", "del", SPACE)


def bring_up() -> None:
    for words in ("link set tl0 up", "addr replace 10.77.0.1/24 dev tl0", "route replace 239.255.0.0/16 dev tl0"):
        ip("-n", SPACE, *words.split())


def test_output_resumes_by_itself_when_the_interface_comes_back(tmp_path: Path, space: str) -> None:
    daemon = Daemon(tmp_path, 30070, 30071, interface="10.77.0.1")
    daemon.netns = space
    try:
        daemon.start("--armed")
        daemon.wait_log("ARMED: sending universes 30070-30071")
        assert hear_one(5.0).returncode == 0
        ip("-n", space, "link", "del", "tl0")  # the adapter is pulled: the address goes, and so do its memberships
        daemon.wait_log("sACN output to 10.77.0.1 fails")
        ip("-n", space, "link", "add", "tl0", "type", "veth", "peer", "name", "tl1")  # another index than before
        ip("-n", space, "link", "set", "tl1", "up")
        bring_up()
        daemon.wait_log("sACN output to 10.77.0.1 works again")
        heard = hear_one(5.0)
        assert heard.returncode == 0, heard.stderr + daemon.log
        assert daemon.log.count("output to 10.77.0.1 fails") == 1
        assert daemon.end() == 0
    finally:
        daemon.close()


def test_a_pulled_cable_is_said_once_and_so_is_its_return(tmp_path: Path, space: str) -> None:
    """The far end goes down and the carrier with it; sends still succeed."""
    daemon = Daemon(tmp_path, 30070, 30071, interface="10.77.0.1")
    daemon.netns = space
    try:
        daemon.start("--armed")
        daemon.wait_log("ARMED: sending universes 30070-30071")
        ip("-n", space, "link", "set", "tl1", "down")
        daemon.wait_log("NOTHING ARRIVES: the interface tl0 (10.77.0.1) has no link")
        ip("-n", space, "link", "set", "tl1", "up")
        daemon.wait_log("the link of 10.77.0.1 is back")
        ip("-n", space, "addr", "del", "10.77.0.1/24", "dev", "tl0")
        daemon.wait_log("no interface of this machine has the address 10.77.0.1")
        assert daemon.log.count("NOTHING ARRIVES") == 2
        assert daemon.end() == 0
    finally:
        daemon.close()
