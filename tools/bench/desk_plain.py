"""What one universe shows of a main and a backup desk, written once more and plainly: a witness for the hour.

E1.31 with our decisions (wire/receiver.py): a packet from -19 to 0 behind its source's last is not taken; a source is
lost 2.5 s after its last packet or by a terminated one; whoever is new is waited for 1.5 s; highest priority, then
highest level; what was shown last stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LOSS_S, WAIT_S, A_LITTLE_S = 2.5, 1.5, 1e-6


@dataclass
class Sent:
    """One packet of a desk: which desk, its number, its priority, its slots (512,) uint8 and whether it is its last."""

    desk: int
    sequence: int
    priority: int
    slots: np.ndarray
    terminated: bool = False


@dataclass
class _Kept:
    last: Sent
    heard_s: float
    counts_s: float


class Plain:
    """One universe. `in_order` False: a receiver that takes every packet as it comes, as a control."""

    def __init__(self, in_order: bool = True) -> None:
        self.shown: np.ndarray | None = None
        self._in_order, self._begun_s = in_order, np.inf
        self._desks: dict[int, _Kept] = {}

    def take(self, sent: Sent, now_s: float) -> None:
        """A packet has come."""
        self.settle(now_s)
        kept = self._desks.get(sent.desk)
        if kept is not None and self._in_order and -20 < (sent.sequence - kept.last.sequence + 128) % 256 - 128 <= 0:
            return
        if sent.terminated:
            self._desks.pop(sent.desk, None)
        elif kept is None:
            self._begun_s = min(self._begun_s, now_s)
            sampling = now_s < self._begun_s + WAIT_S
            self._desks[sent.desk] = _Kept(sent, now_s, self._begun_s + WAIT_S if sampling else now_s + WAIT_S)
        else:
            kept.last, kept.heard_s = sent, now_s
        self._show(now_s)

    def settle(self, now_s: float) -> None:
        """Time went on: who is lost, and who counts from now on, in the order in which it happened."""
        while moments := [(self._next_s(kept), desk) for desk, kept in self._desks.items()]:
            at_s, desk = min(moments)
            if at_s > now_s:
                return
            if at_s >= self._desks[desk].heard_s + LOSS_S + A_LITTLE_S:
                del self._desks[desk]
            else:
                self._desks[desk].counts_s = -np.inf
            self._show(at_s)

    @staticmethod
    def _next_s(kept: _Kept) -> float:
        lost_s = kept.heard_s + LOSS_S + A_LITTLE_S
        return lost_s if kept.counts_s == -np.inf else min(lost_s, kept.counts_s)

    def _show(self, now_s: float) -> None:
        heard = [kept.last for kept in self._desks.values() if kept.counts_s <= now_s]
        if heard:
            highest = max(sent.priority for sent in heard)
            self.shown = np.max([sent.slots for sent in heard if sent.priority == highest], axis=0)
