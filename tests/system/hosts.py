"""Hosts on switches of their own for tests: Linux network namespaces, joined by bridges in one more of them."""

from __future__ import annotations

import ctypes
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

RIG, DESK = "10.78.0", "10.79.0"
"""Two networks: on the second one is only a desk, and an interface of the host that runs the daemon."""
PLUGGED = {"bridge": {RIG: 1, DESK: 1}, "desk": {RIG: 2, DESK: 2}, "backup": {RIG: 3}, "node": {RIG: 9}}
"""Hosts, and the last number of their address on each network."""
INTERFACE = {RIG: "rig0", DESK: "desk0"}
_CLONE_NEWNET = 0x40000000  # Linux, <linux/sched.h>


def ip(*words: str) -> None:
    """One command of iproute2; CalledProcessError when it fails."""
    subprocess.run(["ip", *words], check=True, capture_output=True)


class Hosts:
    """Made with every cable in. CalledProcessError or OSError where namespaces are not possible."""

    def __init__(self) -> None:
        self._made: list[str] = []
        try:
            for name in ("switch", *PLUGGED):
                ip("netns", "add", self.space(name))
                self._made.append(name)
                self._ip(name, "link set lo up")
            for network, interface in INTERFACE.items():
                self._ip("switch", f"link add {interface} type bridge mcast_snooping 0")
                self._ip("switch", f"link set {interface} up")
                for host in PLUGGED:
                    if network in PLUGGED[host]:
                        self.plug(host, network)
        except (OSError, subprocess.CalledProcessError):
            self.close()
            raise

    @staticmethod
    def space(host: str) -> str:
        """The name of its namespace."""
        return f"tetherlight-{os.getpid()}-{host}"

    def _ip(self, host: str, words: str) -> None:
        ip("-n", self.space(host), *words.split())

    def plug(self, host: str, network: str = RIG) -> None:
        """Give it an adapter on this network, with its address and a way for multicast."""
        interface, port = INTERFACE[network], f"{host}-{INTERFACE[network]}"
        self._ip("switch", f"link add {port} type veth peer name {interface} netns {self.space(host)}")
        self._ip("switch", f"link set {port} master {interface} up")
        self._ip(host, f"addr add {network}.{PLUGGED[host][network]}/24 dev {interface}")
        self._ip(host, f"link set {interface} up")
        if network == RIG:
            self._ip(host, f"route add 224.0.0.0/4 dev {interface}")

    def unplug(self, host: str, network: str = RIG) -> None:
        """Its adapter is gone, and with it the address and every membership."""
        self._ip("switch", f"link del {host}-{INTERFACE[network]}")

    def cable(self, host: str, network: str = RIG, *, inside: bool) -> None:
        """Its cable is out (no carrier, the address stays) or in again."""
        self._ip("switch", f"link set {host}-{INTERFACE[network]} {'up' if inside else 'down'}")

    @contextmanager
    def at(self, host: str) -> Iterator[None]:
        """Sockets that this thread opens within the block are this host's for good."""
        enter = ctypes.CDLL(None, use_errno=True).setns
        with open("/proc/thread-self/ns/net") as home, open(f"/run/netns/{self.space(host)}") as there:
            if enter(there.fileno(), _CLONE_NEWNET):
                raise OSError(ctypes.get_errno(), f"cannot enter {host}")
            try:
                yield
            finally:
                assert enter(home.fileno(), _CLONE_NEWNET) == 0

    def close(self) -> None:
        """The hosts are gone; what was opened on them must be closed before."""
        for name in self._made:
            with suppress(subprocess.CalledProcessError):
                ip("netns", "del", self.space(name))


@pytest.fixture
def hosts() -> Iterator[Hosts]:
    """All of them; the test is skipped where that is not possible."""
    try:
        made = Hosts()
    except (OSError, subprocess.CalledProcessError) as error:
        said = getattr(error, "stderr", b"") or b""
        pytest.skip(f"no network namespaces here (needs root and iproute2): {error} {said.decode().strip()}")
    try:
        yield made
    finally:
        made.close()
