"""Tracking systems of the simulated venue on the network: what they see of its performers leaves when it is due."""

from __future__ import annotations

import asyncio
import heapq
from collections.abc import Mapping
from typing import Any

from bridge.geometry.stage import Point3
from bridge.venue.sender_socket import open_sender
from bridge.venue.simulation import Performer
from bridge.venue.tags import Tags
from bridge.venue.tracking_options import Tracking
from bridge.venue.tracking_wire import Packets


class TrackingSender:
    """One system. `tick` at the venue's steps; what is due between steps leaves by the loop's own timers."""

    def __init__(self, tracking: Tracking, interface: str) -> None:
        """`interface`: the IPv4 address to send from. NetworkError where it cannot be."""
        self.tracking = tracking
        self.packets = self.failed = self.looks = 0
        self._tags, self._wire = Tags(tracking), Packets(tracking)
        self._waiting: list[tuple[float, int, list[bytes]]] = []
        self._socket = open_sender(interface, "the tracking")

    def tick(self, now_s: float, performers: Mapping[str, Performer]) -> None:
        """Look at the performers as they are now. `now_s` by the loop's clock (monotonic)."""
        loop = asyncio.get_running_loop()
        for due_s in self.plan(now_s, {name: one.feet for name, one in performers.items()}):
            loop.call_at(due_s, self.send_due, due_s)

    def plan(self, now_s: float, feet: Mapping[str, Point3]) -> list[float]:
        """As `tick`, for whoever calls `send_due` itself: the times when something new is due."""
        looks = [look for look in self._tags.look(now_s, feet) if look.tags]
        for look in looks:
            self.looks += 1
            heapq.heappush(self._waiting, (look.due_s, self.looks, self._wire.of(look)))
        return [look.due_s for look in looks]

    def send_due(self, now_s: float) -> None:
        """Send what should have left by now."""
        while self._waiting and self._waiting[0][0] <= now_s:
            for packet in heapq.heappop(self._waiting)[2]:
                self._to(packet)

    def _to(self, packet: bytes) -> None:
        try:
            self._socket.sendto(packet, self.tracking.to)
        except OSError:
            self.failed += 1
            return
        self.packets += 1

    def close(self) -> None:
        """Fall silent."""
        self._waiting.clear()
        self._socket.close()

    def summary(self) -> dict[str, Any]:
        """What it was and how much it sent."""
        seen = self.tracking
        return {
            "protocol": seen.protocol,
            "to": f"{seen.to[0]}:{seen.to[1]}",
            "points": dict(seen.points),
            "looks": self.looks,
            "packets": self.packets,
            "failed": self.failed,
        }
