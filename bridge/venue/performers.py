"""How the venue is told where performers truly are: `/performer NAME x y [z]` over OSC, on a port of its own."""

from __future__ import annotations

import socket
from collections import Counter

from bridge.errors import NetworkError, Refused
from bridge.venue.simulation import Venue
from bridge.wire.osc import Argument, decode

FARTHEST_M = 1000.0


class PerformerInput:
    """Reads a socket's datagrams into a venue; what cannot be used is counted by reason."""

    def __init__(self, venue: Venue) -> None:
        self._venue = venue
        self.counters: Counter[str] = Counter()

    def take(self, datagram: bytes) -> None:
        """`/performer/NAME` x y [z] is as good as `/performer` NAME x y [z]; `/performer NAME` alone: gone."""
        try:
            messages = decode(datagram)
        except Refused as error:
            self.counters[error.reason] += 1
            return
        for message in messages:
            self._obey(message.address, message.args)

    def _obey(self, address: str, args: tuple[Argument, ...]) -> None:
        parts = address.split("/")
        if len(parts) == 3 and parts[1] == "performer":
            args = (parts[2], *args)
        elif address != "/performer":
            self.counters["unknown-address"] += 1
            return
        if not args or not isinstance(args[0], str) or len(args) not in (1, 3, 4):
            self.counters["arguments"] += 1
            return
        numbers = [a for a in args[1:] if isinstance(a, int | float) and not isinstance(a, bool)]
        if len(numbers) != len(args) - 1 or any(abs(n) > FARTHEST_M for n in numbers):
            self.counters["arguments"] += 1
            return
        if not numbers:
            self._venue.leave(args[0])
        elif args[0] not in self._venue.performers and len(self._venue.performers) >= 64:
            self.counters["too-many"] += 1
        else:
            self._venue.perform(args[0], *(float(n) for n in numbers))


def open_performer_socket(port: int, host: str = "127.0.0.1") -> socket.socket:
    """A non-blocking UDP socket on loopback. Raises NetworkError."""
    one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        one.bind((host, port))
    except (OSError, OverflowError) as error:
        one.close()
        raise NetworkError(
            f"cannot listen for performers on {host} port {port}: {error}; is another venue running?"
        ) from None
    one.setblocking(False)
    return one
