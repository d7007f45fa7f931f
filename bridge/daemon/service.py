"""The daemon: one thin loop that moves data between sockets, the door and the clock."""

from __future__ import annotations

import contextlib
import json
import math
import time
import traceback
from collections.abc import Callable
from typing import Any

from bridge.daemon import clock
from bridge.daemon.beside import Ways
from bridge.daemon.boot import moment
from bridge.daemon.chores import Chores
from bridge.daemon.endpoint import drain
from bridge.daemon.feed import Feed
from bridge.daemon.feed_details import Details
from bridge.daemon.focus import Focus
from bridge.daemon.frames import Frames
from bridge.daemon.freshest import Freshest
from bridge.daemon.inputs import InputWays
from bridge.daemon.lateness import Lateness
from bridge.daemon.logs import LOG, Throttle
from bridge.daemon.loop import freeze_memory
from bridge.daemon.memory import Memory
from bridge.daemon.other_poses import OtherPoses
from bridge.daemon.pacer import Pacer
from bridge.daemon.parts import Parts
from bridge.daemon.recording import Recording
from bridge.daemon.reloading import SIGNAL, Reloader
from bridge.daemon.remembered import Remembered
from bridge.daemon.router import Router
from bridge.daemon.who_did import WhoDid
from bridge.daemon.worker import Worker
from bridge.door import poses
from bridge.door.door import Door
from bridge.door.events import DeskHeard, Event, Message, NewPoses, NewShow, OthersHeard, Start, Stop, Unsent
from bridge.door.inbox import Inbox, Refusal
from bridge.door.transmission import Out
from bridge.errors import Refused
from bridge.show.texts import texts
from bridge.wire.e131 import is_priorities
from bridge.wire.settings import Network

LISTEN_EVERY_S = 0.1
FEW_MESSAGES = 12
KEPT = {"still": "still", "trims": "trim", "armed": "arm", "dark": "dark", "out": "out"}


class Service:
    """Moves data between its parts; `run` returns when the streams have ended."""

    def __init__(self, door: Door, parts: Parts, remembered: Remembered) -> None:
        self._clock: Callable[[], float] = clock.now_s
        self._door, self._remembered, self._worker = door, remembered, Worker()
        self._loop, self._osc, self._output, self._ears = parts.loop, parts.osc, parts.output, parts.ears
        self._desk, self._inputs = parts.desk, parts.inputs
        self._folder, self._panel = parts.folder, parts.panel
        self._feed = Feed(self._send_feed)
        self._pacer = Pacer(door.show.network.sacn.rate)
        self._focus = Focus(door, self._worker, self._feed.event, self._loop.call, self._apply, lambda: self._clock())
        self._memory = Memory(parts.folder, door, self._worker, moment, self._kept)
        self._reloader = Reloader(door, self._loop.call, self._apply, self._feed.event, lambda: self._clock())
        others = OtherPoses(door, self._focus, self._worker, self._feed.event, self._loop.call, self._refused)
        ways = (self._feed.event, self._loop.call, self._apply, self._refused, lambda: self._clock())
        frames = Frames(door, self._inputs, self._worker, *ways)
        router = Router(door, self._apply, self._feed, self._focus, others, frames, self._reloader.request)
        self._router = router
        self._inbox = Inbox(door.show.network.osc.allow, router.handle, self._refused)
        self._faults = Throttle(LOG.error)
        self._lateness, self._who = Lateness(), WhoDid()
        details = Details(door, self._feed, self._lateness, self._who, self._busy)
        self._chores = Chores(door, self._inbox, parts, self._feed, details, self._memory, self._focus)
        self._recording: Recording | None = None
        if parts.recorder is not None:
            self._recording = Recording(
                parts.recorder, door, self._inbox, parts.folder.cid.bytes, parts.osc.getsockname()[:2], parts.output
            )
            self._recording.files = texts(door.show.path)
        self._freshest = self._open_freshest()
        self._next_listen_s = 0.0
        self._left_s: dict[int, float] = {}
        self._stopping, self._few = False, True

    # From start to stop

    def run(self, armed: bool) -> None:
        """Until `stop`: then dark, three terminated packets per universe, and out."""
        self._begin(armed, self._remembered)
        self._memory.switch()  # how things are at the start, before anybody changes them
        self._keep_poses()
        self._loop.add_reader(self._osc.fileno(), self._read, self._rests)
        ways = Ways(self._hear_desk, self._router.handle, self._refused, self._obeyed, self._pacer.read_s)
        self._desk.begin(ways)
        read = (self._pacer.read_s, self._pacer.due_s)
        self._inputs.begin(InputWays(self._apply, self._pacer.observe, self._chores.refused, *read))
        freeze_memory()
        self._want_panel(self._door.show.network)
        try:
            self._loop.run(self._pacer.due_s, self._frame)
        finally:
            self._memory.goodbye()
            self._worker.stop()
            if self._recording is not None:
                self._recording.close()
            if self._panel is not None:
                self._panel.close()
        LOG.info("stopped; %d packets sent, %d messages obeyed", self._output.packets, self._inbox.taken)

    def _begin(self, armed: bool, remembered: Remembered) -> None:
        """Take up what was remembered; nothing in it can keep the daemon from starting."""
        now_s = self._clock()
        if remembered.live is not None:
            LOG.warning("going on as before the crash %.1f s ago%s", remembered.age_s, "" if armed else ", not armed")
        if self._recording is not None:
            self._recording.turn(now_s)
        kept = (remembered.live, remembered.lasting, remembered.sequences, remembered.crashed)
        found = self._freshest.read() if self._freshest is not None else None
        fresh = () if found is None or remembered.live is None else tuple(found.tolist())
        self._apply(Start(now_s, armed, self._ears.since_s, *kept, fresh))
        for words in self._door.engine.crew.still.words():
            LOG.warning(
                "STILL from before: %s: dark and no motion until it is cleared by 0 (0 override from others)", words
            )
        if trims := self._door.engine.crew.trims.words():
            LOG.warning("TRIMS from before are in force: %s; `/fixture/NAME/trim 0 0` ends one", "; ".join(trims))

    def stop(self) -> None:
        """End the streams and then the loop. Asked again it changes nothing: the end takes a tenth of a second."""
        if not self._stopping:
            self._stopping = True
            LOG.info("stopping: dark, then the streams end")
            self._apply(Stop(self._clock()))
            if self._panel is not None:
                self._panel.end()

    def reload(self) -> None:
        """Read the show again, on the word of a signal."""
        with contextlib.suppress(Refused):  # it is being read
            self._reloader.request(SIGNAL)
            self._who.obeyed("/reload", SIGNAL, self._clock())

    # What comes in

    def _apply(self, event: Event) -> None:
        """The only way to the door."""
        if self._recording is not None:
            self._recording.applied(event)
        self._door.apply(event)
        if isinstance(event, NewShow):
            self._took_show(event)
            self._freshest = self._open_freshest()
        if isinstance(event, NewShow | NewPoses):
            self._keep_poses()

    def _took_show(self, event: NewShow) -> None:
        network = event.show.network
        self._want_panel(network)
        self._inbox.allow(network.osc.allow)
        self._pacer.set_rate(network.sacn.rate)
        self._ears.listen_on(self._door.transmission.patched)
        self._desk.take(network, self._door.transmission.patched)
        self._inputs.take(network, event.show.stage.targets)
        if self._recording is not None:
            self._recording.files = event.files

    def _want_panel(self, network: Network) -> None:
        if self._panel is not None:
            self._panel.want(network.panel)

    def _open_freshest(self) -> Freshest | None:
        """Numbers are only of use to the same heads and targets in the same order."""
        engine = self._door.engine
        try:
            meaning = json.dumps(engine.roster.state())
            return Freshest(self._folder.folder / "freshest", meaning, len(engine.freshest()))
        except OSError as error:
            LOG.error("after a crash heads will go on from up to a second before: %s", error)
            return None

    def _keep_poses(self) -> None:
        """Have the poses that are aimed with written down, for a restart after a crash."""
        data = dict(self._door.poses)
        self._worker.latest("poses in use", lambda: self._folder.write_poses(poses.to_json(data)))

    def _hear_desk(self, event: DeskHeard) -> None:
        """The desk sends something else: that leaves with the next frame, which is due as after an observation."""
        self._apply(event)
        self._pacer.observe(event.at_s)

    def _rests(self) -> float:
        """Until when input may wait; where there is much of it, it must not, lest the socket overflows."""
        return self._pacer.read_s() if self._few else -math.inf

    def _read(self) -> bool:
        read = drain(self._osc, self._inbox, self._heard, self._obeyed, self._clock, self._pacer.due_s)
        self._few = read <= FEW_MESSAGES and not self._inbox.busy
        self._memory.switch()
        self._chores.tell_news(self._clock())
        return self._inbox.busy

    def _heard(self, data: bytes, sender: Any, at_s: float) -> None:
        host = sender[0].partition("%")[0]  # fe80::1%eth0: a capture has no room for the zone
        if self._recording is not None:
            self._recording.heard(data, (host, sender[1]), at_s)
        self._inbox.datagram(data, host, at_s)

    def _obeyed(self, message: Message) -> None:
        if not message.address.endswith("/alive"):  # a sign of life changes no frame
            self._pacer.observe(message.at_s)
        self._memory.obeyed(message.address)
        self._who.obeyed(message.address, message.sender, message.at_s)

    def _refused(self, refusal: Refusal) -> None:
        self._chores.refused(refusal)

    def _busy(self) -> tuple[bool, bool]:
        """Whether a solve runs, and whether a capture is kept."""
        return self._focus.solving, self._recording is not None

    # One frame

    def _frame(self) -> None:
        start_s = self._clock()
        try:
            self._listen(start_s)
            self._desk.look(start_s)
            if self._recording is not None:
                self._recording.turn(start_s)
                self._recording.ticked(start_s)
            out = self._door.tick(start_s)
            if self._freshest is not None:
                self._freshest.put(self._door.engine.freshest())
        except Exception as error:  # one bad frame is said and skipped; the next one may be good
            self._fault("frame", error)
            out = Out([], [])
        ready_s = self._clock()
        sent_s = self._send(out) if out.packets or out.discovery else None
        self._pacer.ticked(start_s, ready_s, sent_s)
        self._lateness.note(self._pacer.late_s, start_s)
        if self._stopping and self._door.transmission.ended:
            self._loop.end()
        try:
            self._chores.do(self._clock())
        except Exception as error:  # nothing that may wait is worth a frame
            self._fault("chore", error)

    def _listen(self, now_s: float) -> None:
        """Who else is heard: a few times a second, and before the first packet."""
        opens = self._door.transmission.due_to_open(now_s)
        if now_s >= self._next_listen_s or opens:
            self._next_listen_s = now_s + LISTEN_EVERY_S
            if self._ears.changed(now_s) or opens:
                self._apply(OthersHeard(now_s, self._ears.heard))

    def _send(self, out: Out) -> float | None:
        """Send a frame's packets, none before its time; returns when the first one of data left."""
        if out.packets:
            self._pacer.wait(self._clock)
        failing, now_s = bool(self._output.failing), self._clock()
        unsent = tuple(dict.fromkeys(u for u, packet in out.packets if not self._send_one(u, packet)))
        sent_s = self._left_s[out.packets[0][0]] if out.packets else None
        self._output.discover(out.discovery, now_s)
        if unsent:
            self._apply(Unsent(now_s, unsent))
        if self._recording is not None:
            self._recording.sent(out, unsent, now_s)
        if failing and not self._output.failing:
            self._ears.rejoin()
            self._desk.rejoin()
            self._inputs.rejoin()
        return sent_s

    def _send_one(self, universe: int, packet: bytes | bytearray) -> bool:
        """Many packets take a while to leave: each keeps its own distance from the last levels of its universe."""
        while (early_s := self._left_s.get(universe, 0.0) + self._pacer.period_s - self._clock()) > 0:
            time.sleep(early_s)
        sent = self._output.send(universe, packet, self._clock())
        if not is_priorities(packet):  # the levels follow at once
            self._left_s[universe] = self._clock()  # afterwards: what held us up before must not shorten the next gap
        return sent

    def _fault(self, what: str, error: Exception) -> None:
        """A fault of this program: where it was, at most once a second, and the frames go on."""
        place = " < ".join(
            f"{f.name} line {f.lineno}" for f in reversed(traceback.extract_tb(error.__traceback__)[-4:])
        )
        self._faults.count(what, f"a fault of this program, please report it: {error!r} in {place}", self._clock())

    def _kept(self, part: str, on_disk: bool) -> None:
        """From the thread that writes: whoever switched it may rely on it now, or must know that he cannot."""
        if part in KEPT:
            self._loop.call(lambda: self._feed.event("/feed/kept", KEPT[part], int(on_disk)))

    def _send_feed(self, datagram: bytes, address: tuple[str, int]) -> None:
        with contextlib.suppress(OSError):  # nobody there, or too slow: the next one is newer
            self._osc.sendto(datagram, address)
