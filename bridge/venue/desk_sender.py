"""A desk on the network: a source of sACN of its own, which sends what its cues play."""

from __future__ import annotations

import uuid
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.venue.desk_file import Desk
from bridge.venue.sender_socket import open_sender
from bridge.wire.e131 import DISCOVERY_UNIVERSE, PORT, multicast_group
from bridge.wire.stream import Streams


class DeskSender:
    """Plays one desk from the first `tick` on. A packet that the network does not take is counted and sent again."""

    def __init__(self, desk: Desk, interface: str, cid: bytes | None = None) -> None:
        """`interface`: the IPv4 address to send from. NetworkError where it cannot be. A new desk has a new CID."""
        self.desk = desk
        self.cid = cid or uuid.uuid4().bytes
        self.packets = self.failed = 0
        self._streams = Streams(desk.play.universes, self.cid, desk.name, desk.priority)
        self._sock = open_sender(interface, "the desk")
        self._began_s: float | None = None
        self._at_s = 0.0

    @property
    def words(self) -> str:
        """What it is, in one line."""
        universes = ", ".join(map(str, self.desk.play.universes))
        return f"desk '{self.desk.name}', priority {self.desk.priority}, plays on universes {universes}"

    def now(self) -> NDArray[np.uint8]:
        """What it plays at the time of the last `tick`, (universes, 512)."""
        return self.desk.play.slots(self._at_s)

    def tick(self, now_s: float) -> None:
        """Send what is due. Never waits."""
        if self._began_s is None:
            self._began_s = now_s
        self._at_s = now_s - self._began_s
        for universe, packet in self._streams.packets(self.now(), now_s):
            if not self._send(universe, packet):
                self._streams.unsent(universe)
        for page in self._streams.discovery(now_s):
            self._to((multicast_group(DISCOVERY_UNIVERSE), PORT), page)

    def close(self, *, terminate: bool = True) -> None:
        """Say that the streams end, or (`terminate` False) fall silent as a desk that lost its power."""
        if terminate and self._sock.fileno() >= 0:
            for universe, packet in self._streams.terminate(self.now(), 0.0):
                self._send(universe, packet)
        self._sock.close()

    def summary(self) -> dict[str, Any]:
        """Who it was and how much it sent."""
        return {
            "source": self.desk.name,
            "priority": self.desk.priority,
            "universes": list(self.desk.play.universes),
            "packets": self.packets,
            "failed": self.failed,
        }

    def _send(self, universe: int, packet: bytes | bytearray) -> bool:
        places = self.desk.destinations or ((multicast_group(universe), PORT),)
        taken = [self._to(place, packet) for place in places]
        return all(taken)  # every place is tried, whatever became of the one before

    def _to(self, place: tuple[str, int], packet: bytes | bytearray) -> bool:
        try:
            self._sock.sendto(packet, place)
        except OSError:
            self.failed += 1
            return False
        self.packets += 1
        return True
