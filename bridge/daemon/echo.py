"""Does a node answer? ICMP echo (RFC 792), by a socket that needs no rights where the system gives one, else as root.

An answer says that something has the address and is awake, not that it listens to sACN; no answer may be a firewall.
"""

from __future__ import annotations

import contextlib
import os
import socket
import struct
from collections.abc import Iterable

ASK_S = 1.0
_REQUEST, _ANSWER = 8, 0
_HEADER = struct.Struct(">BBHHH")  # type, code, checksum, identifier, sequence


class Echo:
    """Asks hosts (IPv4 addresses) from construction on. `answered` are those that did; `why` is "" or why none can be
    asked here; `unsent` are reasons by host."""

    def __init__(self, hosts: Iterable[str], interface: str) -> None:
        self.hosts = tuple(dict.fromkeys(hosts))
        self.answered: set[str] = set()
        self.unsent: dict[str, str] = {}
        self.why = ""
        self._token, self._sequence, self._due_s = os.urandom(16), 0, 0.0
        self._socket = self._open(interface) if self.hosts else None

    def _open(self, interface: str) -> socket.socket | None:
        for kind in (socket.SOCK_DGRAM, socket.SOCK_RAW):
            try:
                sock = socket.socket(socket.AF_INET, kind, socket.IPPROTO_ICMP)
            except OSError as error:
                self.why = (
                    f"this user may not send ICMP echo here ({error.strerror}): net.ipv4.ping_group_range, or root"
                )
                continue
            sock.setblocking(False)
            with contextlib.suppress(OSError):  # then the system chooses whence
                sock.bind((interface, 0))
            self.why = ""
            return sock
        return None

    def turn(self, now_s: float) -> None:
        """Ask those that have not answered, once a second, and take in what came."""
        if self._socket is None:
            return
        self._take(self._socket)
        if now_s >= self._due_s:
            self._due_s = now_s + ASK_S
            self._sequence += 1
            for host in self.hosts:
                if host not in self.answered:
                    self._ask(self._socket, host)

    def _ask(self, sock: socket.socket, host: str) -> None:
        try:
            sock.sendto(request(os.getpid() & 0xFFFF, self._sequence, self._token), (host, 0))
        except OSError as error:
            self.unsent[host] = error.strerror or str(error)
        else:
            self.unsent.pop(host, None)

    def _take(self, sock: socket.socket) -> None:
        with contextlib.suppress(BlockingIOError):
            while True:
                with contextlib.suppress(ConnectionError):  # an ICMP error for an earlier one
                    packet, sender = sock.recvfrom(2048)
                    if is_answer(packet, self._token):
                        self.answered.add(sender[0])

    def close(self) -> None:
        """Stop."""
        if self._socket is not None:
            self._socket.close()


def request(identifier: int, sequence: int, token: bytes) -> bytes:
    """An echo request that carries `token`."""
    bare = _HEADER.pack(_REQUEST, 0, 0, identifier, sequence) + token
    return _HEADER.pack(_REQUEST, 0, checksum(bare), identifier, sequence) + token


def is_answer(packet: bytes, token: bytes) -> bool:
    """Whether this is the answer to a request with this token; a raw socket gives the IP header before it."""
    start = 4 * (packet[0] & 0x0F) if packet and packet[0] >> 4 == 4 else 0
    return packet[start : start + 1] == bytes([_ANSWER]) and packet[start + _HEADER.size :] == token


def checksum(octets: bytes) -> int:
    """The Internet checksum (RFC 1071) of whole 16-bit words."""
    total = sum(struct.unpack(f">{len(octets) // 2}H", octets))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF
