"""Ears for the live figures: packets of one universe with the kernel's own time of arrival, and what a process costs.

The kernel stamps each datagram when it arrives (SO_TIMESTAMPNS), so a busy measuring process does not spoil a figure:
it may read late, the stamp stays right. Stamps and `time.time()` are the same clock (CLOCK_REALTIME).
"""

from __future__ import annotations

import os
import select
import socket
import struct
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

PORT = 5568
_SO_TIMESTAMPNS = 35  # Linux, asm-generic/socket.h; Python has no name for it
_TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Packet:
    """One data packet: when it reached this host, its sequence and its 512 slots."""

    at_s: float
    sequence: int
    slots: bytes
    terminated: bool


class Ear:
    """Hears one universe by multicast on loopback, bound to the group itself: no other universe comes in."""

    def __init__(self, universe: int) -> None:
        group = f"239.255.{universe >> 8}.{universe & 255}"
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        self._sock.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
        self._sock.bind((group, PORT))
        member = socket.inet_aton(group) + socket.inet_aton("127.0.0.1")
        self._sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
        self._sock.setblocking(False)

    def hear(self, timeout_s: float = 0.0) -> list[Packet]:
        """Everything that has come in; waits up to `timeout_s` for the first."""
        select.select([self._sock], [], [], max(timeout_s, 0.0))
        packets = []
        while True:
            try:
                octets, extra, _, _ = self._sock.recvmsg(2048, 64)
            except BlockingIOError:
                return packets
            if len(octets) == 638:
                seconds, nanoseconds = struct.unpack("qq", extra[0][2])
                at_s = seconds + nanoseconds * 1e-9
                packets.append(Packet(at_s, octets[111], octets[126:], bool(octets[112] & 0x40)))

    def close(self) -> None:
        """Leave the group."""
        self._sock.close()


def quantiles_ms(values_s: list[float] | np.ndarray, *quantiles: float) -> dict[str, float | None]:
    """{"p50_ms": ..} of some times in seconds; None where there are none."""
    if not len(values_s):
        return {f"p{q:g}_ms": None for q in quantiles}
    return {f"p{q:g}_ms": round(float(np.percentile(values_s, q)) * 1e3, 3) for q in quantiles}


def _family(pid: int) -> list[int]:
    children = [int(word) for path in Path(f"/proc/{pid}/task").glob("*/children") for word in path.read_text().split()]
    return [pid, *(member for child in children for member in _family(child))]


def cpu_s(pid: int) -> float:
    """Processor time so far of a process and its living children, user and system."""
    total = 0
    for member in _family(pid):
        fields = Path(f"/proc/{member}/stat").read_text().rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / _TICKS


def rss_mb(pid: int) -> float:
    """Resident memory of a process alone, MB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


def drops(port: int) -> int:
    """Datagrams that the kernel threw away because the process on this UDP port did not read in time."""
    rows = [line.split() for line in Path("/proc/net/udp").read_text().splitlines()[1:]]
    return sum(int(row[-1]) for row in rows if int(row[1].rpartition(":")[2], 16) == port)


def load() -> str:
    """The load of this machine over the last minute."""
    return Path("/proc/loadavg").read_text().split()[0]


def machine() -> str:
    """One line that says on what a figure was measured."""
    model = next((w for w in Path("/proc/cpuinfo").read_text().splitlines() if w.startswith("model name")), ": ?")
    return f"{model.partition(':')[2].strip()}, {os.cpu_count()} cores, load {load()}, {time.strftime('%F %T')}"
