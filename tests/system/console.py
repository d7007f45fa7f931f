"""A desk for system tests: packets of the `sacn` library's own classes at 44 a second, from a thread."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from sacn.messages.data_packet import DataPacket

from bridge.wire.e131 import PORT, multicast_group

PERIOD_S = 1 / 44


class Console:
    """Sends `levels` of its universes from construction on, until `cut` (the power goes) or `end` (it says goodbye).

    It leaves by the interface of this address; `to`: by unicast to there.
    """

    def __init__(
        self,
        *universes: int,
        priority: int = 100,
        name: str = "Console",
        to: str = "",
        interface: str = "127.0.0.1",
    ) -> None:
        self.levels = {universe: bytearray(512) for universe in universes}
        self.sequence = dict.fromkeys(universes, 0)
        self._cid, self._priority, self._name, self._to = tuple(uuid.uuid4().bytes), priority, name, to
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
        self._running = True
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        next_s = time.monotonic()
        while self._running:
            for universe in self.levels:
                with contextlib.suppress(OSError):  # no network: a desk goes on
                    self.send(universe)
            next_s += PERIOD_S
            time.sleep(max(0.0, next_s - time.monotonic()))

    def send(self, universe: int, terminated: bool = False) -> None:
        """One packet."""
        packet = DataPacket(
            self._cid,
            self._name,
            universe,
            tuple(self.levels[universe]),
            sequence=self.sequence[universe],
            streamTerminated=terminated,
            priority=self._priority,
        )
        self.sequence[universe] = (self.sequence[universe] + 1) % 256
        self._socket.sendto(bytes(packet.getBytes()), (self._to or multicast_group(universe), PORT))

    def cut(self) -> None:
        """The power goes."""
        self._running = False
        self._thread.join()

    def end(self) -> None:
        """It stops as the standard asks: three terminated packets a universe."""
        self.cut()
        for _ in range(3):
            for universe in self.levels:
                self.send(universe, terminated=True)


@contextmanager
def console(
    *universes: int, priority: int = 100, name: str = "Console", to: str = "", interface: str = "127.0.0.1"
) -> Iterator[Console]:
    """A desk that sends until the end of the block; then its power goes."""
    desk = Console(*universes, priority=priority, name=name, to=to, interface=interface)
    try:
        yield desk
    finally:
        desk.cut()
