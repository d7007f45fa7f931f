"""What goes out and when: E1.31's transmission rules over all universes, without a socket or a clock.

A universe whose slots changed is sent; unchanged it goes out three more times and from then on once every 0.9
s (E1.31 suppression: three repeats, then 800 to 1000 ms; facts/protocols.md). No universe is sent sooner than
one period after its last packet; spacing counts from the last packet really sent, so a stall is never
followed by a burst. With priorities by slot (by_slot.py) those leave directly before the levels and count on in the
universe's one sequence.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from bridge.wire.by_slot import BySlot
from bridge.wire.e131 import PRIORITIES, SLOTS, DataPacket, discovery_packets, sync_packet

Slots = npt.NDArray[np.uint8]
Packet = tuple[int, bytes | bytearray]

REPEATS = 3
KEEP_ALIVE_S = 0.9
COALESCE_S = 0.81
"""Once one keep-alive is due, those of this age go along: one wake-up instead of one per universe."""
TERMINATED_PACKETS = 3
DISCOVERY_S = 10.0
SYNC_KEY = 0
"""The key in `sequences` of the synchronisation packets' own counter: 0 is no universe."""
_EARLY_S = 1e-6  # a pacer's rounding, far below what anybody could see on the wire


def safe_start(stored: int) -> int:
    """The sequence to start from under the same CID after a crash, when `stored` (0..255) may be stale.

    A receiver that last took A discards B while -20 < B - A <= 0 in signed 8-bit arithmetic (E1.31, sequence
    numbering), that is while (B - A) mod 256 is 0 or 237..255, so that a start from 0 could be ignored for 20
    frames. Let the receiver have got d packets beyond what was stored: A = stored + d. B = stored + 216 is
    taken while 216 - d lies in 1..236: for every d from -20 to 215. Stale by 2 s at 44 packets/s is d = 88,
    and up to 4.8 s is safe; a number stored ahead of the packets that never went out (d < 0) is safe too.
    Past 2.5 s without a packet the receiver has lost the source and takes any sequence.
    """
    return (stored + 216) % 256


class Streams:
    """The streams of one source. Arrays run over universes in the order given; times are monotonic seconds."""

    def __init__(
        self,
        universes: Sequence[int],
        cid: bytes,
        source_name: str,
        priority: int,
        synchronise: int | None = None,
        sequences: Mapping[int, int] | None = None,
        *,
        rate: float = 44.0,
    ) -> None:
        """`sequences` holds the number of each universe's next packet (default 0), see `safe_start`.

        `rate` is the most packets per second of a universe. Raises ValueError outside E1.31's ranges.
        """
        given = sequences or {}
        self.universes = tuple(universes)
        self.period_s = 1.0 / rate
        self.last_sent_s: npt.NDArray[np.float64] = np.full(len(self.universes), -np.inf)
        self._keep_alive_s = max(KEEP_ALIVE_S, self.period_s)
        self._source = (cid, source_name, priority)
        self._packets = [DataPacket(*self._source, u, synchronise or 0) for u in self.universes]
        self._by_slot: BySlot | None = None
        self._next = [given.get(u, 0) % 256 for u in self.universes]
        self._sync = synchronise
        self._sync_next = given.get(SYNC_KEY, 0) % 256
        self._cid = cid
        self._pages = discovery_packets(cid, source_name, self.universes)
        self._discovery_due_s = -np.inf
        self._last: Slots = np.zeros((len(self.universes), SLOTS), np.uint8)
        self._repeats = np.zeros(len(self.universes), np.int64)
        self._held = np.ones(len(self.universes), np.bool_)  # has data that never went out

    @property
    def sequences(self) -> dict[int, int]:
        """The number of each universe's next packet, and of the next synchronisation packet under SYNC_KEY."""
        return {SYNC_KEY: self._sync_next, **dict(zip(self.universes, self._next, strict=True))}

    def go_on_from(self, before: Streams) -> None:
        """Take over from other streams of the same source: universes that both have keep spacing, data and repeats."""
        for row, universe in enumerate(self.universes):
            if universe in before.universes:
                old = before.universes.index(universe)
                self.last_sent_s[row], self._last[row] = before.last_sent_s[old], before._last[old]
                self._repeats[row], self._held[row] = before._repeats[old], before._held[old]
                if before._by_slot is not None:
                    self._priorities().go_on_from(before._by_slot, row, old)
        if before.universes == self.universes:
            self._discovery_due_s = before._discovery_due_s

    def state(self) -> dict[str, Any]:
        """Everything that later packets depend on, as plain data."""
        return {
            "sequences": {str(universe): number for universe, number in self.sequences.items()},
            "last_sent_s": self.last_sent_s.tolist(),
            "last": self._last.tobytes().hex(),
            "repeats": self._repeats.tolist(),
            "held": self._held.tolist(),
            "by_slot": None if self._by_slot is None else self._by_slot.state(),
            "discovery_due_s": self.discovery_due_s,
        }

    def restore(self, data: Mapping[str, Any]) -> None:
        """Take up what `state` gave for the same universes; KeyError, TypeError or ValueError on anything else."""
        count = len(self.universes)
        self._next = [int(data["sequences"][str(universe)]) % 256 for universe in self.universes]
        self._sync_next = int(data["sequences"][str(SYNC_KEY)]) % 256
        self.last_sent_s = np.array(data["last_sent_s"], np.float64).reshape(count)
        self._last = np.frombuffer(bytes.fromhex(data["last"]), np.uint8).reshape(count, SLOTS).copy()
        self._repeats = np.array(data["repeats"], np.int64).reshape(count)
        self._held = np.array(data["held"], np.bool_).reshape(count)
        self._discovery_due_s = float(data["discovery_due_s"])
        self._by_slot = None
        if (kept := data.get("by_slot")) is not None:
            self._priorities().restore(kept)

    def _priorities(self) -> BySlot:
        """Priorities by slot, from when on they are sent."""
        if self._by_slot is None:
            sync = self._sync or 0
            packets = [DataPacket(*self._source, u, sync, PRIORITIES) for u in self.universes]
            again_s = min(COALESCE_S, self._keep_alive_s - self.period_s)
            self._by_slot = BySlot(packets, again_s - _EARLY_S, REPEATS)
        return self._by_slot

    @property
    def _alive_s(self) -> npt.NDArray[np.float64]:
        """Since when each universe waits for its keep-alive: priorities are never newer than levels."""
        return self.last_sent_s if self._by_slot is None else self._by_slot.sent_s

    @property
    def next_due_s(self) -> float:
        """When `packets` must be called again though nothing changes: a repeat, held data or a keep-alive."""
        if not self.universes:
            return float(np.inf)
        soon = self._held | (self._repeats > 0)
        due_s = np.where(soon, self.last_sent_s + self.period_s, self._alive_s + self._keep_alive_s)
        return float(due_s.min())

    def packets(self, slots: Slots, now_s: float, priorities: Slots | None = None) -> list[Packet]:
        """(universe, packet) of all that is to be sent now; `slots` is uint8 of shape (universes, 512).

        So are `priorities` by slot, 0 to 200, where the source sends them: None leaves off sending any.
        The synchronisation packet comes last, under its own universe. A packet belongs to this object and is
        overwritten by the next call. A universe that changed within its period is held and goes at
        `next_due_s`.
        """
        changed = self._held | (slots != self._last).any(axis=1)
        if priorities is None:
            self._by_slot = None
        else:
            changed = changed | self._priorities().changed(priorities)
        ready = now_s - self.last_sent_s >= self.period_s - _EARLY_S
        age_s = now_s - self._alive_s
        keep_alive = age_s >= self._keep_alive_s - _EARLY_S
        if keep_alive.any():
            keep_alive = ready & (age_s >= COALESCE_S)
        send = (ready & (changed | (self._repeats > 0))) | keep_alive
        self._held = changed & ~send
        self._repeats = np.where(changed & send, REPEATS, np.maximum(self._repeats - send, 0))
        return self._sent(slots, priorities, send, now_s)

    def _sent(self, slots: Slots, priorities: Slots | None, send: npt.NDArray[np.bool_], now_s: float) -> list[Packet]:
        rows: list[int] = np.flatnonzero(send).tolist()
        if not rows:
            return []
        self._last[rows] = slots[rows]
        self.last_sent_s[rows] = now_s
        out: list[Packet] = []
        by_slot = self._by_slot
        before = by_slot.due(send, now_s) if by_slot is not None else np.zeros_like(send)
        for i in rows:
            if by_slot is not None and priorities is not None and before[i]:
                out.append((self.universes[i], by_slot.pack(i, priorities, self._count(i), now_s)))
            out.append((self.universes[i], self._packets[i].pack(slots[i], self._count(i))))
        if self._sync is not None:
            out.append((self._sync, sync_packet(self._cid, self._sync, self._sync_next)))
            self._sync_next = (self._sync_next + 1) % 256
        return out

    def _count(self, row: int) -> int:
        sequence = self._next[row]
        self._next[row] = (sequence + 1) % 256
        return sequence

    def unsent(self, universe: int) -> None:
        """The network did not take this universe's packet: its data is sent again one period later."""
        row = self.universes.index(universe)
        self._held[row] = True
        if self._by_slot is not None:
            self._by_slot.unsent(row)

    def terminate(self, slots: Slots, now_s: float, universes: Collection[int] | None = None) -> list[Packet]:
        """Three stream-terminated packets for every universe, or every one of these, that was ever sent, in 3 rounds.

        A caller that spaces the rounds finds each `len(result) // 3` long. The packets are copies. Afterwards
        these streams are as new, but that the sequences go on; receivers ignore the levels in terminated
        packets, and end the source whatever the start code, so that start code 0 alone does (from memory).
        """
        ever = np.flatnonzero(np.isfinite(self.last_sent_s)).tolist()
        rows = [i for i in ever if universes is None or self.universes[i] in universes]
        out: list[Packet] = [
            (self.universes[i], bytes(self._packets[i].pack(slots[i], self._count(i), terminated=True)))
            for _ in range(TERMINATED_PACKETS)
            for i in rows
        ]
        self.last_sent_s[rows], self._repeats[rows], self._held[rows] = -np.inf, 0, True
        if self._by_slot is not None:
            self._by_slot.forget(rows)
        return out

    @property
    def discovery_due_s(self) -> float:
        """When the next universe discovery is due; -inf before the first."""
        return float(self._discovery_due_s)

    def discovery(self, now_s: float) -> list[bytes]:
        """The pages for the group of DISCOVERY_UNIVERSE when they are due (every 10 s), else nothing."""
        if now_s < self._discovery_due_s:
            return []
        late = now_s - self._discovery_due_s >= DISCOVERY_S
        self._discovery_due_s = (now_s if late else self._discovery_due_s) + DISCOVERY_S
        return list(self._pages)
