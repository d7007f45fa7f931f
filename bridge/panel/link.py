"""The way to the bridge and back: a UDP socket that sends OSC and hears the feed. It subscribes again by itself."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Sequence

from bridge.errors import NetworkError
from bridge.wire import osc
from bridge.wire.settings import reached_at

RENEW_S = 2.0
SILENT_S = 0.3
"""Without the feed for so long, the subscription is asked for again, and again every `RETRY_S`."""
RETRY_S = 0.2
RECEIVE_BUFFER = 1 << 20
Hear = Callable[[bytes, float], None]


class Link(asyncio.DatagramProtocol):
    """`hear(datagram, now_s)` is called for all that the bridge sends; `now_s` is the event loop's clock."""

    def __init__(self, host: str, port: int, rate_hz: float, hear: Hear) -> None:
        self.to = (reached_at(host), port)
        self._rate_hz, self._hear = rate_hz, hear
        self._transport: asyncio.DatagramTransport | None = None
        self._task: asyncio.Task[None] | None = None
        self._heard_s = -1.0
        self.refused = False
        """Whether the bridge's machine said that nobody listens there."""

    async def open(self) -> None:
        """Open the socket and begin to subscribe. Raises NetworkError."""
        loop = asyncio.get_running_loop()
        try:
            self._transport, _ = await loop.create_datagram_endpoint(lambda: self, remote_addr=self.to)
        except OSError as error:
            raise NetworkError(
                f"--bridge {self.to[0]}:{self.to[1]}: cannot be reached from here: {error.strerror or error}"
            ) from None
        sock = self._transport.get_extra_info("socket")
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER)
        self._port = int(sock.getsockname()[1])
        self._task = asyncio.create_task(self._keep_subscribed())

    def send(self, name: str, address: str, args: Sequence[osc.Argument]) -> None:
        """One message of an operator, at once. Raises ValueError for what OSC cannot carry."""
        self._send(osc.encode_bundle([osc.encode("/operator", name), osc.encode(address, *args)]))

    def _send(self, datagram: bytes) -> None:
        if self._transport is not None and not self._transport.is_closing():
            self._transport.sendto(datagram)

    async def _keep_subscribed(self) -> None:
        loop = asyncio.get_running_loop()
        asked_s = -RENEW_S
        while True:
            now_s = loop.time()
            silent = now_s - self._heard_s > SILENT_S
            if now_s - asked_s >= (RETRY_S if silent else RENEW_S) - 0.01:
                asked_s = now_s
                self._send(osc.encode("/feed/subscribe", self._port, self._rate_hz, "all"))
            await asyncio.sleep(RETRY_S)

    def close(self) -> None:
        """Free the socket."""
        if self._task is not None:
            self._task.cancel()
        if self._transport is not None:
            self._transport.close()

    # asyncio.DatagramProtocol

    def datagram_received(self, data: bytes, addr: object) -> None:
        """Something from the bridge: the socket hears nobody else."""
        self._heard_s = now_s = asyncio.get_running_loop().time()
        self.refused = False
        self._hear(data, now_s)

    def error_received(self, exc: Exception) -> None:
        """Nobody listens there, or the way is cut: the next subscription may be heard."""
        self.refused = isinstance(exc, ConnectionRefusedError)
