"""The venue in real time: sockets in, heads moved 100 times a second, measured and shown. Only moves data."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Awaitable, Callable
from typing import Any

from bridge.venue.measure import Meter
from bridge.venue.performers import PerformerInput
from bridge.venue.picture import BelievedBeams, picture
from bridge.venue.receiver import SacnReceiver, drain
from bridge.venue.simulation import Venue

STEP_S = 0.01
MEASURE_EVERY = 4  # steps: 25 measurements a second
SHOW_EVERY_S = 0.03  # 33 pictures a second
MOST_STEPS_AT_ONCE = 25  # after a stall: what is older is skipped, said, and not played in a burst

Publish = Callable[[dict[str, Any]], Awaitable[None]]


class VenueRunner:
    """Runs one venue. `each_step(now_s)` is called after every step, e.g. by a robot or a walk in this process."""

    def __init__(
        self,
        venue: Venue,
        receiver: SacnReceiver,
        sockets: list[socket.socket],
        meter: Meter,
        publish: Publish | None = None,
        solved: Callable[[], BelievedBeams | None] = lambda: None,
        performers: tuple[PerformerInput, socket.socket] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.venue, self.receiver, self.meter = venue, receiver, meter
        self._sockets, self._publish, self._solved = sockets, publish, solved
        self._performers, self._clock = performers, clock
        self.each_step: Callable[[float], object] | None = None
        self.note = ""
        self.measuring = True
        self.skipped_s = 0.0
        self.steps = 0
        self._stopping = asyncio.Event()

    def stop(self) -> None:
        """End `run` after the step in hand."""
        self._stopping.set()

    async def run(self, seconds: float | None = None) -> None:
        """Until `stop`, or for some seconds."""
        self._attach()
        try:
            await self._pace(seconds)
        finally:
            self._detach()

    async def _pace(self, seconds: float | None) -> None:
        start = shown = self._clock()
        due = start + STEP_S
        while not self._stopping.is_set():
            wait = due - self._clock()
            await asyncio.sleep(max(wait, 0.0))
            now = self._clock()
            owed = int((now - due) / STEP_S) + 1
            if owed > MOST_STEPS_AT_ONCE:
                self.skipped_s += (owed - 1) * STEP_S
                due += (owed - 1) * STEP_S
                owed = 1
            for _ in range(max(owed, 0)):
                self._step(due)
                due += STEP_S
            if self._publish is not None and now - shown >= SHOW_EVERY_S - STEP_S / 2:
                await self._publish(self._frame(1 / max(now - shown, 1e-3), now))
                shown = now
            if seconds is not None and now - start >= seconds:
                return

    def _step(self, now_s: float) -> None:
        self.venue.step(STEP_S)
        self.steps += 1
        if self.measuring and self.steps % MEASURE_EVERY == 0:
            self.meter.observe(STEP_S * MEASURE_EVERY)
        if self.steps % 20 == 0:
            self.receiver.tick(now_s)
        if self.each_step is not None:
            self.each_step(now_s)

    def _frame(self, fps: float, now_s: float) -> dict[str, Any]:
        names = [f"{s.source_name} ({s.sender}, priority {s.priority})" for s in self.receiver.sources(now_s)]
        silent = ", ".join(str(u) for u in self.receiver.silent())
        note = self.note or (f"silent: universe {silent}" if silent else "")
        return picture(self.venue, self._solved(), fps, sorted(set(names)), note)

    def _attach(self) -> None:
        loop = asyncio.get_running_loop()
        for one in self._sockets:
            loop.add_reader(one, self._hear, one)
        if self._performers is not None:
            loop.add_reader(self._performers[1], self._told)

    def _detach(self) -> None:
        loop = asyncio.get_running_loop()
        for one in self._sockets:
            loop.remove_reader(one)
        if self._performers is not None:
            loop.remove_reader(self._performers[1])

    def _hear(self, one: socket.socket) -> None:
        for datagram, sender in drain(one):
            heard = self.receiver.take(datagram, sender, self._clock())
            if heard is not None:
                self.venue.hear(*heard)

    def _told(self) -> None:
        assert self._performers is not None
        for datagram, _sender in drain(self._performers[1]):
            self._performers[0].take(datagram)
