"""The sACN sockets: where packets leave. A failing send is counted, said once and tried again; nothing raises."""

from __future__ import annotations

import contextlib
import errno
import socket
from collections.abc import Callable, Sequence

from bridge.daemon.interfaces import why_no_interface
from bridge.daemon.logs import LOG
from bridge.errors import NetworkError
from bridge.wire import e131
from bridge.wire.settings import SacnSettings

Address = tuple[str, int]

TIME_TO_LIVE = 16
"""Hops for multicast: a lighting network may be routed, the default of 1 would end at the first router."""
REOPEN_S = 1.0
SEND_BUFFER = 1 << 20


def open_sender(interface: str) -> socket.socket:
    """A non-blocking UDP socket that sends from, and multicasts on, the interface that has this address."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        sock.setblocking(False)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER)
        sock.bind((interface, 0))
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, TIME_TO_LIVE)
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
    except OSError as error:
        sock.close()
        raise NetworkError(f"sacn: cannot send from {interface}: {why_no_interface(error)}") from None
    return sock


class Output:
    """Sends packets by multicast on the interface, or to each of the unicast destinations."""

    def __init__(self, settings: SacnSettings) -> None:
        self.opened: Callable[[Address], None] = lambda endpoint: None
        """Told of another address and port before anything leaves there."""
        self._interface = settings.interface
        self._unicast: tuple[Address, ...] = settings.destinations
        self._sock: socket.socket | None = open_sender(settings.interface)
        self._failing: dict[str, int] = {}
        self._next_reopen_s = 0.0
        self.errors = 0
        self.packets = 0

    def send(self, universe: int, packet: bytes | bytearray, now_s: float) -> bool:
        """One packet of a universe (data, terminated or synchronisation); True when every destination took it."""
        if not self._unicast:
            return self._to(self._interface, (e131.multicast_group(universe), e131.PORT), packet, now_s)
        taken = [self._to(f"{host}:{port}", (host, port), packet, now_s) for host, port in self._unicast]
        return all(taken)  # every destination is tried, whatever became of the one before

    def destination(self, universe: int) -> Address:
        """Where packets of a universe go: the group, or the first of the unicast destinations."""
        to_one = self._unicast[0] if self._unicast and universe != e131.DISCOVERY_UNIVERSE else None
        return to_one or (e131.multicast_group(universe), e131.PORT)

    def discover(self, packets: Sequence[bytes], now_s: float) -> None:
        """Universe discovery goes by multicast whatever `to` says: E1.31 clause 4.3 knows no other way."""
        for packet in packets:
            self._to(self._interface, (e131.multicast_group(e131.DISCOVERY_UNIVERSE), e131.PORT), packet, now_s)

    @property
    def endpoint(self) -> Address:
        """The address and port that packets come from."""
        assert self._sock is not None
        host, port = self._sock.getsockname()
        return str(host), int(port)

    @property
    def failing(self) -> tuple[str, ...]:
        """Destinations whose last packet could not be sent."""
        return tuple(self._failing)

    def _to(self, name: str, address: Address, packet: bytes | bytearray, now_s: float) -> bool:
        try:
            if self._sock is None:
                raise OSError(errno.ENODEV, "no socket")
            self._sock.sendto(packet, address)
        except OSError as error:
            self._failed(name, error, now_s)
            return False
        self.packets += 1
        if self._failing and name in self._failing:
            lost = self._failing.pop(name)
            LOG.warning("sACN output to %s works again, after %d packets that could not be sent", name, lost)
        return True

    def _failed(self, name: str, error: OSError, now_s: float) -> None:
        self.errors += 1
        if name not in self._failing:
            LOG.error(
                "sACN output to %s fails: %s. Is the cable out or the interface down? Every frame is tried again.",
                name, error,
            )  # fmt: skip
            self._failing[name] = 0
            self._next_reopen_s = now_s + REOPEN_S
        self._failing[name] += 1
        if now_s >= self._next_reopen_s:
            self._reopen(now_s)

    def _reopen(self, now_s: float) -> None:
        """An interface that came back under another index is not found by the old socket: take a new one."""
        self._next_reopen_s = now_s + REOPEN_S
        with contextlib.suppress(NetworkError):
            fresh = open_sender(self._interface)
            self.close()
            self._sock = fresh
            self.opened(self.endpoint)

    def close(self) -> None:
        """Close the socket; sends then fail and are counted."""
        if self._sock is not None:
            with contextlib.suppress(OSError):
                self._sock.close()
            self._sock = None
