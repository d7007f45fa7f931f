"""A sender of OSC to a running bridge, as any controller is one."""

from __future__ import annotations

import socket
from types import TracebackType

from bridge.wire import osc
from bridge.wire.settings import OscSettings

EVERYWHERE = {"0.0.0.0": "127.0.0.1", "": "127.0.0.1", "::": "127.0.0.1"}


class Talk:
    """Opens a socket; `say` sends one message. A lost one is lost, as on any network."""

    def __init__(self, to: OscSettings) -> None:
        self._to = (EVERYWHERE.get(to.host, to.host), to.port)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)

    def say(self, address: str, *args: float | int | str) -> None:
        """One message."""
        try:
            self._socket.sendto(osc.encode(address, *args), self._to)
        except OSError:
            return

    def close(self) -> None:
        """Free the socket."""
        self._socket.close()

    def __enter__(self) -> Talk:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
