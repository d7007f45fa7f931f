"""Per-address priority, start code 0xDD: what a source says beside its levels of who counts on each slot.

The priorities of a universe go directly before its levels: before the first ones, when they changed and with the
levels' repeats after that, and as often as a keep-alive is due, also while levels flow (facts/protocols.md). 0 leaves
a slot to the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from bridge.wire.e131 import SLOTS, DataPacket

Slots = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]


class BySlot:
    """The priorities of all universes of one source; arrays run over its universes, `again_s` is how old they may get.

    They are sent with levels only, so `sent_s` is never later than when the levels went.
    """

    def __init__(self, packets: list[DataPacket], again_s: float, repeats: int) -> None:
        count = len(packets)
        self.sent_s: npt.NDArray[np.float64] = np.full(count, -np.inf)
        self._packets, self._again_s, self._most = packets, again_s, repeats
        self._last: Slots = np.zeros((count, SLOTS), np.uint8)
        self._repeats = np.zeros(count, np.int64)
        self._held = np.ones(count, np.bool_)  # priorities that never went out

    def changed(self, priorities: Slots) -> Flags:
        """Universes whose priorities are others than those that went last; they are kept in mind until they go."""
        self._held = self._held | (priorities != self._last).any(axis=1)
        return self._held

    def due(self, send: Flags, now_s: float) -> Flags:
        """Of the universes whose levels are sent now, those whose priorities go before them."""
        go = send & (self._held | (self._repeats > 0) | (now_s - self.sent_s >= self._again_s))
        self._repeats = np.where(self._held & go, self._most, np.maximum(self._repeats - go, 0))
        self._held = self._held & ~go
        return go

    def pack(self, row: int, priorities: Slots, sequence: int, now_s: float) -> bytearray:
        """The packet of one universe, which is sent now. It is overwritten by the next one."""
        self._last[row], self.sent_s[row] = priorities[row], now_s
        return self._packets[row].pack(priorities[row], sequence)

    def unsent(self, row: int) -> None:
        """The network did not take a packet of this universe: its priorities go again with the next one."""
        self._held[row] = True

    def forget(self, rows: list[int]) -> None:
        """The streams of these have ended: they begin anew."""
        self.sent_s[rows], self._repeats[rows], self._held[rows] = -np.inf, 0, True

    def go_on_from(self, before: BySlot, row: int, old: int) -> None:
        """What the universe in `row` has sent so far, from other streams that had it in `old`."""
        self.sent_s[row], self._last[row] = before.sent_s[old], before._last[old]
        self._repeats[row], self._held[row] = before._repeats[old], before._held[old]

    def state(self) -> dict[str, Any]:
        """Everything that later packets depend on, as plain data."""
        return {
            "sent_s": self.sent_s.tolist(),
            "last": self._last.tobytes().hex(),
            "repeats": self._repeats.tolist(),
            "held": self._held.tolist(),
        }

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take up what `state` gave for the same universes; KeyError, TypeError or ValueError on anything else."""
        count = len(self._packets)
        self.sent_s = np.array(data["sent_s"], np.float64).reshape(count)
        self._last = np.frombuffer(bytes.fromhex(data["last"]), np.uint8).reshape(count, SLOTS).copy()
        self._repeats = np.array(data["repeats"], np.int64).reshape(count)
        self._held = np.array(data["held"], np.bool_).reshape(count)
