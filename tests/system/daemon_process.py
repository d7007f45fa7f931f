"""The real daemon on loopback for system tests: a show of its own universes, and a node that hears them."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from bridge.wire import e131, osc

RIG = """\
version: 1
name: Test rig
fixtures:
  - {{name: a, profile: spot-16bit, universe: {first}, address: 1, at: [-3, -6, 8]}}
  - {{name: b, profile: spot-16bit, universe: {second}, address: 101, at: [3, -6, 8], truss: t}}
"""
STAGE = """\
version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0]}
marks: {A: [-5, 1, 0], B: [5, 1, 0], C: [5, 7, 0]}
"""
POSES = """\
version: 1
fixtures:
  a: {position: [-3, -6, 8], rotation: [0, 0, 0, 1]}
  b: {position: [3, -6, 8], rotation: [0, 0, 0, 1]}
"""
NETWORK = """\
version: 1
osc: {{listen: "127.0.0.1:{port}", allow: ["127.0.0.1/32"]}}
sacn: {{interface: {interface}, to: {to}, priority: 120, source_name: System test}}
"""
DEADLINE_S = 15.0
SO_TIMESTAMPNS, SO_RCVBUFFORCE = 35, 33  # Linux, <asm-generic/socket.h>
ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    """A UDP port nobody holds at this moment."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def _hold_much(sock: socket.socket) -> None:
    """What a test is slow to read must not be lost on its side."""
    with contextlib.suppress(PermissionError):
        sock.setsockopt(socket.SOL_SOCKET, SO_RCVBUFFORCE, 8_000_000)


class Node:
    """Hears universes by multicast and keeps every data packet with the time (UTC) at which the kernel received it."""

    def __init__(self, *universes: int, interface: str = "127.0.0.1") -> None:
        self.universes = universes
        self.packets: list[tuple[float, e131.Data]] = []
        self.discoveries: list[e131.Discovery] = []
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._sock.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        _hold_much(self._sock)
        self._sock.bind(("", e131.PORT))
        for universe in (*universes, e131.DISCOVERY_UNIVERSE):
            group = socket.inet_aton(e131.multicast_group(universe)) + socket.inet_aton(interface)
            self._sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group)

    def hear(self, seconds: float) -> list[e131.Data]:
        """Listen for so long; returns the data packets of this time."""
        start = len(self.packets)
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            self._one(left_s)
        return [packet for _, packet in self.packets[start:]]

    def until(self, seen: Callable[[e131.Data], bool], within_s: float = DEADLINE_S) -> e131.Data:
        """The first packet from now on for which `seen` holds; fails the test after `within_s`."""
        end_s = time.monotonic() + within_s
        while (left_s := end_s - time.monotonic()) > 0:
            packet = self._one(left_s)
            if packet is not None and seen(packet):
                return packet
        raise AssertionError(f"nothing such on universes {self.universes} within {within_s} s")

    def of(self, universe: int) -> list[e131.Data]:
        """Every packet heard on one universe."""
        return [packet for _, packet in self.packets if packet.universe == universe]

    def times(self, universe: int) -> list[float]:
        """When they were heard."""
        return [at_s for at_s, packet in self.packets if packet.universe == universe]

    def _one(self, timeout_s: float) -> e131.Data | None:
        self._sock.settimeout(max(timeout_s, 0.001))
        try:
            octets, ancillary, _, _ = self._sock.recvmsg(2048, 64)
            packet = e131.parse(octets)
        except (TimeoutError, e131.E131Error):
            return None
        if isinstance(packet, e131.Discovery) and set(packet.universes) & set(self.universes):
            self.discoveries.append(packet)
        if not isinstance(packet, e131.Data) or packet.universe not in self.universes:
            return None
        seconds, nanoseconds = struct.unpack("qq", ancillary[0][2][:16])
        self.packets.append((seconds + nanoseconds * 1e-9, packet))
        return packet

    def close(self) -> None:
        """Leave the groups."""
        self._sock.close()


class Client:
    """Speaks OSC to the daemon from one host, and hears what the feed tells that host."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self.port = port
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.bind((host, 0))
        _hold_much(self._sock)

    def say(self, address: str, *args: osc.Argument) -> None:
        """Send one OSC message."""
        self.throw(osc.encode(address, *args))

    def throw(self, datagram: bytes) -> None:
        """Send any octets."""
        self._sock.sendto(datagram, ("127.0.0.1", self.port))

    def feed(self, address: str, rate_hz: float = 30.0, within_s: float = DEADLINE_S) -> tuple[osc.Argument, ...]:
        """The arguments of the next feed message with this address that arrives from now on."""
        self.drop_old()
        return self.event(address, lambda args: True, rate_hz, within_s)

    def event(
        self,
        address: str,
        seen: Callable[[tuple[osc.Argument, ...]], bool] = lambda args: True,
        rate_hz: float = 30.0,
        within_s: float = DEADLINE_S,
    ) -> tuple[osc.Argument, ...]:
        """The same, also of what has arrived already, for the first whose arguments satisfy `seen`."""
        self._sock.settimeout(0.2)
        end_s, again_s = time.monotonic() + within_s, 0.0
        while time.monotonic() < end_s:
            if time.monotonic() >= again_s:
                self.say("/feed/subscribe", int(self._sock.getsockname()[1]), rate_hz)
                again_s = time.monotonic() + 0.2
            try:
                messages = osc.decode(self._sock.recv(65535))
            except TimeoutError:
                self.check_alive()
                continue
            for message in messages:
                if message.address == address and seen(message.args):
                    return message.args
        raise AssertionError(f"no {address} within {within_s} s; {self.told()}")

    def drop_old(self) -> None:
        """Forget what has arrived."""
        self._sock.setblocking(False)
        try:
            while True:
                self._sock.recv(65535)
        except BlockingIOError:
            self._sock.settimeout(0.2)

    @property
    def udp_port(self) -> int:
        """Where it hears."""
        return int(self._sock.getsockname()[1])

    def waiting(self) -> list[osc.OscMessage]:
        """All that has arrived and was not read yet."""
        self._sock.setblocking(False)
        messages: list[osc.OscMessage] = []
        try:
            while True:
                messages += osc.decode(self._sock.recv(65535))
        except BlockingIOError:
            self._sock.settimeout(0.2)
        return messages

    def check_alive(self) -> None:
        """Fail the test where the daemon has ended."""

    def told(self) -> str:
        """What helps to understand a failure."""
        return ""

    def close(self) -> None:
        """Speak no more."""
        self._sock.close()


class Daemon(Client):
    """`tetherlight run` on a show in `folder`, state beside it. Starts may be repeated."""

    def __init__(
        self, folder: Path, first: int, second: int, interface: str = "127.0.0.1", to: str = "multicast"
    ) -> None:
        super().__init__(free_port())
        self.show, self.state, self.log_file = folder / "show", folder / "state", folder / "log"
        self.netns, self.panel = "", False
        self.show.mkdir()
        (self.show / "rig.yaml").write_text(RIG.format(first=first, second=second))
        (self.show / "stage.yaml").write_text(STAGE)
        (self.show / "poses.yaml").write_text(POSES)
        (self.show / "network.yaml").write_text(NETWORK.format(port=self.port, interface=interface, to=to))
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *options: str) -> Daemon:
        """Start it; returns at once."""
        command = self.command(*options)
        if self.netns:
            command = ["ip", "netns", "exec", self.netns, *command]
        with self.log_file.open("ab") as log:
            self.process = subprocess.Popen(command, cwd=ROOT, stderr=log, stdout=log, env=os.environ.copy())
        return self

    def command(self, *options: str) -> list[str]:
        """The words that start it, without a panel unless a test asks for one (`panel`)."""
        options = options if self.panel else ("--no-panel", *options)
        return [sys.executable, "-m", "bridge", "run", str(self.show), "--state", str(self.state), *options]

    def ready(self) -> Daemon:
        """Wait until it answers a subscription: it listens and ticks."""
        self.feed("/feed/bridge")
        return self

    def check_alive(self) -> None:
        """Fail the test where the daemon has ended."""
        assert self.process is None or self.process.poll() is None, self.log

    def told(self) -> str:
        """What helps to understand a failure."""
        return f"log:\n{self.log}"

    def edit(self, name: str, old: str, new: str) -> None:
        """Change a file of the show, as an editor does; `old` must be there."""
        file = self.show / name
        text = file.read_text()
        assert old in text, f"{old!r} is not in {name}:\n{text}"
        file.write_text(text.replace(old, new))

    @property
    def log(self) -> str:
        """What it has logged, all starts together."""
        return self.log_file.read_text() if self.log_file.exists() else ""

    def wait_log(self, text: str, within_s: float = DEADLINE_S) -> None:
        """Until the log holds this text."""
        end_s = time.monotonic() + within_s
        while text not in self.log:
            assert time.monotonic() < end_s, f"{text!r} not in the log within {within_s} s:\n{self.log}"
            time.sleep(0.02)

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Signal it and wait; returns the exit code."""
        assert self.process is not None
        self.process.send_signal(number)
        return self.process.wait(DEADLINE_S)

    def close(self) -> None:
        """End it if it still runs."""
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        super().close()


@contextmanager
def stage(folder: Path, first: int, second: int) -> Iterator[tuple[Daemon, Node]]:
    """A daemon (not started) and a node that hears its universes."""
    daemon, node = Daemon(folder, first, second), Node(first, second)
    try:
        yield daemon, node
    finally:
        daemon.close()
        node.close()
