"""How streams end: dark and then terminated packets, a round a tick, also while other universes go on.

Where a desk sends on the same number, terminated packets go at once: receivers show the desk again with the first of
them (E1.31, 6.2.6), and a dark frame of ours would only be a hole in its light.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.wire.stream import KEEP_ALIVE_S, TERMINATED_PACKETS, Packet, Streams

DARK_TICKS = 2
"""Dark frames before the terminated packets: one of them may be lost on the way."""

Round = list[Packet]
Slots = NDArray[np.uint8]


class Leaving:
    """Packets of universes that are left, which go in rounds, one a tick, beside whatever else is sent."""

    def __init__(self) -> None:
        self._rounds: list[Round] = []

    def __bool__(self) -> bool:
        return bool(self._rounds)

    def add(self, rounds: list[Round]) -> None:
        """These as well, from the next tick on."""
        for at, packets in enumerate(rounds):
            if at < len(self._rounds):
                self._rounds[at] = self._rounds[at] + packets
            else:
                self._rounds.append(packets)

    def next(self) -> Round:
        """What leaves with this tick."""
        return self._rounds.pop(0) if self._rounds else []

    def state(self) -> list[Any]:
        """As of Transmission."""
        return to_hex(self._rounds)

    def restore(self, data: Any) -> None:
        """As of Transmission."""
        self._rounds = from_hex(data)


def terminated(streams: Streams, dark: Slots, now_s: float, only: Collection[int] | None = None) -> list[Round]:
    """The terminated packets of all universes that were ever sent, or only of these, by rounds."""
    packets = streams.terminate(dark, now_s, only)
    size = len(packets) // TERMINATED_PACKETS
    return [packets[at : at + size] for at in range(0, len(packets), size)] if size else []


def dark_and_terminated(streams: Streams, dark: Slots, now_s: float) -> list[Round]:
    """All rounds in which these streams end, as if there had been time, so that each is sent."""
    rounds: list[Round] = []
    for step in range(1, DARK_TICKS + 1):
        packets = streams.packets(dark, now_s + 2 * step * KEEP_ALIVE_S)
        rounds.append([(universe, bytes(packet)) for universe, packet in packets])
    return rounds + terminated(streams, dark, now_s)


def to_hex(rounds: list[Round]) -> list[Any]:
    """Rounds as plain data."""
    return [[[u, bytes(p).hex()] for u, p in packets] for packets in rounds]


def from_hex(data: Any) -> list[Round]:
    """Rounds from the data of `to_hex`."""
    return [[(int(u), bytes.fromhex(p)) for u, p in packets] for packets in data]
