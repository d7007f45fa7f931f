"""The daemon: one thin loop that moves data between sockets, the engine and the clock."""

from __future__ import annotations

import contextlib
import gc
import socket
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bridge.daemon.ears import Ears
from bridge.daemon.endpoint import drain
from bridge.daemon.feed import Feed
from bridge.daemon.inbox import Inbox
from bridge.daemon.live import Live
from bridge.daemon.logs import LOG, Throttle
from bridge.daemon.loop import Loop, freeze_memory
from bridge.daemon.memory import Memory
from bridge.daemon.output import Output
from bridge.daemon.pacer import Pacer
from bridge.daemon.poses_in_use import to_json
from bridge.daemon.router import Commands, Router
from bridge.daemon.session import Session
from bridge.daemon.state import Remembered, StateFolder
from bridge.daemon.transmission import Encoder, Transmission
from bridge.daemon.worker import Worker
from bridge.show.model import Show
from bridge.wire.stream import safe_start

LISTEN_EVERY_S, NEWCOMERS_EVERY_S, TIDY_EVERY_S = 0.1, 1.0, 1.0
SPIN_S = 0.0002


@dataclass(frozen=True)
class Parts:
    """What was opened for a service; whoever opened it closes it."""

    loop: Loop
    osc: socket.socket
    output: Output
    ears: Ears
    folder: StateFolder


class Service:
    """Moves data between its parts; `run` returns when the streams have ended."""

    def __init__(
        self,
        show: Show,
        engine: Live,
        encoder: Encoder,
        commands: Commands,
        parts: Parts,
        remembered: Remembered,
    ) -> None:
        self._clock = time.monotonic
        self._engine, self._remembered, self._worker = engine, remembered, Worker()
        self._loop, self._osc, self._output, self._ears = parts.loop, parts.osc, parts.output, parts.ears
        folder, ears, loop = parts.folder, parts.ears, parts.loop
        sequences = remembered.sequences
        if remembered.crashed:  # the last numbers on disk may be older than the last packets on the wire
            sequences = {universe: safe_start(number) for universe, number in sequences.items()}
        self.transmission = Transmission(
            engine, encoder, show.network.sacn, folder.cid.bytes, ears.contests, sequences, ears.since_s
        )
        self._feed = Feed(self._send_feed)
        self._session = Session(
            show, engine, self._worker, self._feed.event, loop.call, lambda poses: folder.write_poses(to_json(poses))
        )
        self._memory = Memory(folder, engine, self.transmission, self._worker, time.time)
        router = Router(commands, self.transmission, self._feed, self._session, self._memory.changed)
        self._pacer = Pacer(show.network.sacn.rate)
        self._inbox = Inbox(show.network.osc.allow, router.handle, self._pacer.observe)
        self._newcomers, self._faults = Throttle(LOG.error), Throttle(LOG.error)
        self._next_listen_s = self._next_newcomers_s = self._next_tidy_s = 0.0
        self._stopping = False

    def run(self, armed: bool) -> None:
        """Until `stop`: then dark, three terminated packets per universe, and out."""
        self._begin(armed, self._remembered)
        self._session.keep_poses()
        self._loop.add_reader(self._osc.fileno(), self._read)
        freeze_memory()
        try:
            self._loop.run(self._pacer.due_s, self._frame)
        finally:
            self._memory.goodbye(self._clock())
            self._worker.stop()
        LOG.info("stopped; %d packets sent, %d messages obeyed", self._output.packets, self._inbox.taken)

    def _begin(self, armed: bool, remembered: Remembered) -> None:
        """Take up what was remembered; nothing in it can keep the daemon from starting."""
        now_s = self._clock()
        if remembered.live is not None:
            LOG.warning("going on as before the crash %.1f s ago", remembered.age_s)
            self._take_up("state", lambda: self._engine.restore(remembered.live or {}, now_s))
        if remembered.lasting is not None:
            self._take_up("still and trims", lambda: self._engine.restore_lasting(remembered.lasting or {}))
        if self._engine.any_still:
            LOG.warning("STILL from before: dark and no motion until it is cleared by 0 (people may be aloft)")
        if remembered.live is not None and remembered.armed:
            self.transmission.resume(remembered.refused)
        elif armed:
            self.transmission.arm()

    @staticmethod
    def _take_up(what: str, restore: Callable[[], None]) -> None:
        try:
            restore()
        except Exception as error:
            LOG.error("the remembered %s does not fit and is ignored (%r)", what, error)

    def stop(self) -> None:
        """End the streams and then the loop. Asked again it changes nothing: the end takes a tenth of a second."""
        if not self._stopping:
            self._stopping = True
            LOG.info("stopping: dark, then the streams end")
            self.transmission.disarm(stopping=True)

    def _read(self) -> bool:
        drain(self._osc, self._inbox, self._clock, self._pacer.due_s)
        return self._inbox.busy

    def _frame(self) -> None:
        start_s = self._clock()
        try:
            packets = self.transmission.tick(start_s)
        except Exception as error:  # one bad frame is said and skipped; the next one may be good
            self._fault("frame", error)
            packets = []
        ready_s = self._clock()
        sent_s = self._send(packets) if packets else None
        self._pacer.ticked(start_s, ready_s, sent_s)
        if self._stopping and self.transmission.ended:
            self._loop.end()
        try:
            self._chores(self._clock())
        except Exception as error:  # nothing that may wait is worth a frame
            self._fault("chore", error)

    def _send(self, packets: list[Any]) -> float:
        """Send a frame's packets, none before its time; returns when the last one left."""
        self._wait_until(self._pacer.allowed_s)
        failing = bool(self._output.failing)
        now_s = self._clock()
        for universe, packet in packets:
            if not self._output.send(universe, packet, now_s):
                self.transmission.unsent(universe)
        if failing and not self._output.failing:
            self._ears.rejoin()
        return self._clock()

    def _fault(self, what: str, error: Exception) -> None:
        """A fault of this program: where it was, at most once a second, and the frames go on."""
        place = " < ".join(
            f"{f.name} line {f.lineno}" for f in reversed(traceback.extract_tb(error.__traceback__)[-4:])
        )
        self._faults.count(what, f"a fault of this program, please report it: {error!r} in {place}", self._clock())

    def _wait_until(self, allowed_s: float) -> None:
        while (left_s := allowed_s - self._clock()) > 0:
            if left_s > SPIN_S:
                time.sleep(left_s - SPIN_S)

    def _chores(self, now_s: float) -> None:
        """What may wait, in the slack after a frame. The feed never takes the others' turn, however fast it is."""
        self._output.discover(self.transmission.discovery(now_s), now_s)
        due = self._feed.due(now_s)
        if due:
            self._feed.tell(due, self._state(), self._engine.targets(now_s), self._engine.fixtures())
        if not self._memory.keep(now_s):
            self._upkeep(now_s)

    def _upkeep(self, now_s: float) -> None:
        """One thing a frame, so that none makes the next one late."""
        if now_s >= self._next_listen_s:
            self._next_listen_s = now_s + LISTEN_EVERY_S
            self._ears.listen()
        elif now_s >= self._next_newcomers_s:
            self._next_newcomers_s = now_s + NEWCOMERS_EVERY_S
            for text in self.transmission.newcomers(now_s):
                self._newcomers.count("another source", text, now_s)
                self._feed.event("/feed/notice", text)
        elif now_s >= self._next_tidy_s:
            self._next_tidy_s = now_s + TIDY_EVERY_S
            self._inbox.refused.flush(now_s)
            self._newcomers.flush(now_s)
            gc.collect()

    def _state(self) -> tuple[Any, ...]:
        transmission = self.transmission
        return (
            transmission.armed,
            *self._engine.switches,
            len(transmission.universes),
            len(transmission.contested),
            self._inbox.taken,
            self._inbox.refused.total,
            self._output.errors,
            self._output.packets,
        )

    def _send_feed(self, datagram: bytes, address: tuple[str, int]) -> None:
        with contextlib.suppress(OSError):  # nobody there, or too slow: the next one is newer
            self._osc.sendto(datagram, address)
