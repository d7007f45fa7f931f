"""What is played in the hour beside two desks: the sockets, the desks with their bad network, and a person."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from typing import Any, ClassVar

import numpy as np
from desk_plain import Sent

from bridge.door.door import Door
from bridge.door.events import Message
from bridge.errors import Refused

HEADS, UNIVERSES = 40, 2
SETTLED_S = 12.0
PRIORITIES = {1: 100, 2: 90}
LOST, LATE = 0.05, 0.03
Arrival = tuple[float, int, int, Sent]
"""When, a number from the dice so that no two are alike, the row of the universe, and the packet."""


class PlayedWatch:
    """In place of the sockets: what was `put` is drained."""

    waiting: ClassVar[list[bytes]] = []

    def __init__(self, universes: Any, *_: Any) -> None:
        self.universes = frozenset(universes)

    def drain(self, take: Callable[[bytes, tuple[str, int]], None]) -> None:
        """All that has come."""
        for octets in self.waiting:
            take(octets, ("10.0.0.9", 5568))
        self.waiting.clear()

    def add(self, universe: int) -> None:
        """Unicast is of no use here."""

    def close(self) -> None:
        """Nothing to close."""


class PlayedDesk:
    """One desk: fades and cues on both universes, on and off; gives what it sends with its time of arrival."""

    def __init__(self, unique: int, rng: random.Random) -> None:
        self._unique, self._rng, self._random = unique, rng, np.random.default_rng(unique)
        self._slots = self._random.integers(0, 256, (UNIVERSES, 512), dtype=np.uint8)
        self._sequence, self._on, self._turn_s = 0, True, rng.uniform(20, 60)

    def send(self, now_s: float) -> Iterator[Arrival]:
        """What leaves of it now."""
        if now_s >= self._turn_s:
            self._on = not self._on
            self._turn_s = now_s + (self._rng.uniform(10, 60) if self._on else self._rng.choice((0.5, 2.0, 4.0, 9.0)))
            if not self._on and self._rng.random() < 0.5:
                yield from (row for _ in range(3) for row in self._packets(now_s, terminated=True))
            if self._on and self._rng.random() < 0.5:
                self._sequence = 0
        if self._on:
            self._change()
            yield from self._packets(now_s)

    def _change(self) -> None:
        dice = self._rng.random()
        if dice < 0.005:
            self._slots = self._random.integers(0, 256, (UNIVERSES, 512), dtype=np.uint8)
        elif dice < 0.4:
            self._slots = self._slots + self._random.integers(0, 3, (UNIVERSES, 512), dtype=np.uint8)

    def _packets(self, now_s: float, terminated: bool = False) -> Iterator[Arrival]:
        self._sequence = (self._sequence + 1) % 256
        for row in range(UNIVERSES):
            dice = self._rng.random()
            if dice >= LOST:
                late_s = self._rng.uniform(0.01, 0.08) if dice < LOST + LATE else self._rng.uniform(0.0, 0.002)
                sent = Sent(self._unique, self._sequence, PRIORITIES[self._unique], self._slots[row].copy(), terminated)
                yield now_s + late_s, self._rng.getrandbits(48), row, sent


class Person:
    """Walks, gives heads to the desk and takes them back, sights, goes dark: messages at the door."""

    def __init__(self, door: Door, rng: random.Random) -> None:
        self._door, self._rng, self._next_s = door, rng, 5.0
        self.theirs, self.asked_s = np.zeros(HEADS, bool), np.zeros(HEADS)
        self.sighted: dict[int, float] = {}
        self.dark, self.refused, self.obeyed = False, 0, 0

    def say(self, now_s: float, address: str, *args: Any) -> bool:
        """Whether it was obeyed."""
        try:
            self._door.apply(Message(now_s, "127.0.0.1", address, args))
        except Refused:
            self.refused += 1
            return False
        self.obeyed += 1
        return True

    def act(self, now_s: float) -> None:
        """What is due now."""
        self.say(now_s, "/target/lead/position", 3.0 * np.sin(0.3 * now_s), 4.0 + 2.0 * np.cos(0.23 * now_s))
        for head in [n for n, until_s in self.sighted.items() if now_s >= until_s]:
            self.say(now_s, f"/sight/h-{head}/done")
            del self.sighted[head]
            self.asked_s[head] = now_s
        if now_s < self._next_s:
            return
        self._next_s, dice = now_s + self._rng.choice((0.1, 0.5, 2.0, 15.0)), self._rng.random()
        if self.dark or dice < 0.1:
            self.dark ^= self.say(now_s, "/dark", int(not self.dark))
            if not self.dark:  # all come in again
                self.asked_s[:] = now_s
        elif dice < 0.25:
            self._hand(now_s, "/desk", slice(None))
        elif dice < 0.85:
            head = self._rng.randrange(HEADS)
            self._hand(now_s, f"/fixture/h-{head}/desk", slice(head, head + 1))
        else:
            head = self._rng.randrange(HEADS)
            if self.say(now_s, f"/sight/h-{head}/point", self._rng.uniform(-90, 90), self._rng.uniform(-60, 60)):
                self.sighted[head] = now_s + self._rng.uniform(0.5, 4.0)

    def _hand(self, now_s: float, address: str, heads: slice) -> None:
        theirs = self._rng.random() < 0.5
        if self.say(now_s, address, int(theirs)):
            self.theirs[heads], self.asked_s[heads] = theirs, now_s

    def settled(self, now_s: float) -> np.ndarray:
        """Heads (N,) of which nothing was asked for so long that every change of hands has ended."""
        quiet = now_s - self.asked_s > SETTLED_S
        quiet[list(self.sighted)] = False
        return quiet
