"""What `/feed/subscribe PORT RATE all` adds to the feed, for a panel that shows everything.

/feed/hand     target sender level size height      with the state, at the subscriber's rate; sender "": nobody, or lost
/feed/ahead    target x y z                          so too, while it is led: the farthest point at which a head aims
/feed/head     fixture target out held still in_hand level [desk]   target "": it follows nobody; desk 1: given to it
/feed/area     name on;  /feed/no-light name on;  /feed/floor name m
/feed/still    kind name owners                     kind all, truss or fixture; owners "" once nobody holds it
/feed/by       switch sender seconds_ago            who was the last to do it
/feed/count    reason n                             refusals since the start
/feed/late     frames worst_ms solving recording    frames late since the start; the worst since the last row

All but the first two and the last two are sent when they change, and in turn once a second, so that what was lost on
the way or was there before a subscriber came is there a second later; many heads are spread over the frames of that
second. Points of tracking inputs, /feed/point, are told by the chores (feed.py).
Nothing is looked at or encoded while nobody asks.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Callable, Iterable

import numpy as np

from bridge.daemon.feed import Address, Feed, shown
from bridge.daemon.lateness import Lateness
from bridge.daemon.status import Hand, aheads, hands, head_switches, places, stills
from bridge.daemon.who_did import WhoDid
from bridge.door.door import Door
from bridge.wire import osc

AGAIN_S = 1.0
LOOK_S = 0.05
MOST_STEP_S = 0.25
GONE_S = 5.0
"""So long a `still` that is cleared is told as such: whoever missed it would show people aloft for ever."""
LED_S = 1.0
"""So long a target that is led no more is told with the place itself."""
MOST_CHANGED = 64
MOST_KNOWN = 20_000

Key = tuple[str, ...]
Row = tuple[object, tuple[osc.Argument, ...]]
"""What a change of makes it new, and the arguments after the key's texts."""


class Details:
    """`busy()` tells whether a solve runs and whether a capture is kept; `refused` counts by reason."""

    def __init__(
        self, door: Door, feed: Feed, lateness: Lateness, who: WhoDid, busy: Callable[[], tuple[bool, bool]]
    ) -> None:
        self.refused: Counter[str] = Counter()
        self._door, self._feed, self._lateness, self._who, self._busy = door, feed, lateness, who, busy
        self._known: dict[tuple[object, ...], bytes] = {}
        self._engine: object = None
        self._heads = np.empty((6, 0))
        self._head_at = self._row_at = 0.0
        self._told: dict[Key, Row] = {}
        self._gone: dict[Key, float] = {}
        self._led_s: dict[str, float] = {}
        self._last_s = self._looked_s = self._next_late_s = 0.0

    def tell(self, due: Iterable[Address], now_s: float) -> None:
        """Once a frame: hands to those whose turn it is, changes and what is in turn to all who ask for it."""
        asking = self._feed.asking_all()
        if not asking:
            return
        step_s, self._last_s = min(now_s - self._last_s, MOST_STEP_S), now_s
        if turn := [address for address in due if address in asking]:
            rows = [self._hand(hand) for hand in hands(self._door, now_s)]
            self._feed.send([*rows, *self._ahead_rows(now_s)], turn)
        messages = self._head_rows(now_s, step_s)
        if (since_s := now_s - self._looked_s) >= LOOK_S:
            self._looked_s = now_s
            messages += self._other_rows(now_s, since_s)
        if messages:
            self._feed.send(messages, asking)

    # Heads

    def _head_rows(self, now_s: float, step_s: float) -> list[bytes]:
        """Those that changed, the first MOST_CHANGED of them, and those whose turn it is within this step."""
        engine = self._door.engine
        now = head_switches(self._door, now_s)
        if engine is not self._engine:
            self._engine, self._heads, self._head_at = engine, np.full(now.shape, np.nan), 0.0
        changed = np.flatnonzero((now != self._heads).any(axis=0))[:MOST_CHANGED]
        turn, self._head_at = _turn(now.shape[1], self._head_at, step_s)
        numbers = np.union1d(changed, turn)
        self._heads[:, numbers] = now[:, numbers]
        names, targets = engine.rig.names, (*engine.place.names, "")
        columns = now[:, numbers].T.tolist()
        return [
            self._encode(tuple(row[4:]), "/feed/head", names[n], targets[int(target)], *map(bool, row[:4]))
            for n, (target, *row) in zip(numbers.tolist(), columns, strict=True)
        ]

    # All others

    def _other_rows(self, now_s: float, since_s: float) -> list[bytes]:
        rows = self._gather(now_s)
        keys = list(rows)
        turn, self._row_at = _turn(len(keys), self._row_at, since_s)
        again = {keys[number] for number in turn.tolist()}
        told, self._told = self._told, rows
        due = [key for key, row in rows.items() if key in again or key not in told or told[key][0] != row[0]]
        messages = [osc.encode(*key, *rows[key][1]) for key in due]
        if now_s >= self._next_late_s:
            self._next_late_s = now_s + AGAIN_S
            messages += [osc.encode("/feed/count", reason, n) for reason, n in self.refused.items()]
            worst_ms = self._lateness.worst_s(now_s) * 1000.0
            messages.append(osc.encode("/feed/late", self._lateness.frames, worst_ms, *self._busy()))
        return messages

    def _gather(self, now_s: float) -> dict[Key, Row]:
        rows: dict[Key, Row] = {key: (value, (value,)) for key, value in places(self._door).items()}
        held: dict[Key, Row] = {
            ("/feed/still", *what): (who, (shown(who),)) for what, who in stills(self._door).items()
        }
        cleared = [key for key in self._told if key[0] == "/feed/still" and key not in held and key not in self._gone]
        self._gone |= dict.fromkeys(cleared, now_s + GONE_S)
        self._gone = {key: until_s for key, until_s in self._gone.items() if now_s < until_s and key not in held}
        rows |= held | dict.fromkeys(self._gone, ("", ("",)))
        for switch, (sender, at_s) in self._who.last.items():
            rows["/feed/by", switch] = ((sender, at_s), (sender, max(0.0, now_s - at_s)))
        return rows

    def _hand(self, hand: Hand) -> bytes:
        return self._encode(hand[2:], "/feed/hand", *hand[:2])

    def _ahead_rows(self, now_s: float) -> list[bytes]:
        """Of targets that are led, and of those that were until a moment ago."""
        found = aheads(self._door)
        self._led_s |= {row.target: now_s for row in found if row.led}
        due = [row for row in found if now_s - self._led_s.get(row.target, -LED_S) < LED_S]
        return [self._encode(row[2:], "/feed/ahead", row.target) for row in due]

    def _encode(self, numbers: tuple[float, ...], *before: str | bool) -> bytes:
        """What stands before the numbers rarely changes: it is encoded once."""
        head = self._known.get(before)
        if head is None:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            address, *args = before
            head = osc.encode(str(address), *args, *[0.0] * len(numbers))[: -4 * len(numbers)]
            self._known[before] = head
        return head + struct.pack(f">{len(numbers)}f", *numbers)


def _turn(count: int, at: float, step_s: float) -> tuple[np.ndarray, float]:
    """Which of `count` rows are in turn within this step, if all are in AGAIN_S, and where to go on."""
    if count == 0:
        return np.zeros(0, dtype=int), 0.0
    at %= count
    until = at + min(count * step_s / AGAIN_S, count)
    return np.arange(int(at), int(until)) % count, until
