"""The one door. Events come in at `apply`, packets go out at `tick`; nothing else changes what is sent.

Inside is no clock, no socket and no file: the same events at the same times give the same packets, byte for byte.
That is what a capture replays, what a restart goes on from, and how a second machine could follow the first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from bridge.door import events, poses
from bridge.door.beside import Beside
from bridge.door.lock import Lock
from bridge.door.news import News
from bridge.door.tracking import Tracking
from bridge.door.transmission import NOTHING, Out, Phase, Transmission
from bridge.door.voice import Voice
from bridge.door.words import lasting_word, said
from bridge.errors import Refused
from bridge.follow.commands.table import Commands
from bridge.follow.commands.values import switch
from bridge.follow.engine import Engine
from bridge.follow.frame import Frame
from bridge.follow.keeping import Data, mapping_in
from bridge.follow.moving.reach import Reach
from bridge.geometry.stage import Point3
from bridge.rig.encode import Encoder
from bridge.rig.fixture import OwnTables, Pose
from bridge.rig.rig import Rig
from bridge.rig.shares import shares
from bridge.show.model import Show

NONE: Mapping[str, OwnTables] = MappingProxyType({})


class Made(NamedTuple):
    """What a show is run with: its engine, its commands and its encoder. Slow to make, so made beside the loop.

    `optics` are tables of zoom and focus that were learned since the show was read.
    """

    show: Show
    poses: Mapping[str, Pose]
    engine: Engine
    commands: Commands
    encoder: Encoder
    optics: Mapping[str, OwnTables]


class MadePoses(NamedTuple):
    """What was made of new poses for one engine."""

    engine: Engine
    poses: Mapping[str, Pose]
    optics: Mapping[str, OwnTables]
    reach: Reach


def make(
    show: Show,
    aimed_with: Mapping[str, Pose] | None = None,
    short_ways: bool = True,
    optics: Mapping[str, OwnTables] = NONE,
) -> Made:
    """Engine, commands and encoder of a show; `aimed_with` and `optics` are others than those of the show."""
    known = {fixture.name for fixture in show.fixtures}
    used = {n: pose for n, pose in (show.poses if aimed_with is None else aimed_with).items() if n in known}
    rig = Rig.from_fixtures(show.fixtures, used).with_tables(optics)
    settings = show.network
    beside = None if settings.desk is None else shares(show.fixtures, settings.desk)
    marks = dict(show.solved_marks)
    engine = Engine(rig, show.stage, settings.lost_input, marks, short_ways=short_ways, desk=beside)
    return Made(show, used, engine, Commands(engine), Encoder(rig), optics)


class Door:
    """One show, from events to packets. Times are seconds of one monotonic clock and never run back."""

    def __init__(self, made: Made, cid: bytes) -> None:
        self.news = News()
        self.lock = Lock()
        self.voice = Voice()
        self._made, self._cid = made, cid
        self.beside = self._beside(made)
        self.tracking = Tracking(made.show.frames)
        self.tracking.tell(made.engine)
        sacn, by_slot = made.show.network.sacn, self.beside.by_slot
        self.transmission = Transmission(made.encoder.universes, sacn, cid, self.news, by_slot=by_slot)
        self._now_s = -math.inf
        self._hold_back(self._now_s)

    def _beside(self, made: Made) -> Beside:
        return Beside(made.show.network, made.engine.rig, made.encoder.map, self.news)

    # What is inside

    @property
    def show(self) -> Show:
        """The show as it was read last."""
        return self._made.show

    @property
    def engine(self) -> Engine:
        """The engine of the show; for reading."""
        return self._made.engine

    @property
    def poses(self) -> Mapping[str, Pose]:
        """The poses that are aimed with."""
        return self._made.poses

    # Events

    def apply(self, event: events.Event) -> None:
        """Take in one event. A message may be Refused; then nothing has changed."""
        self._now_s = now_s = max(event.at_s, self._now_s)
        match event:
            case events.Message():
                self._obey(event, now_s)
            case events.OthersHeard():
                self.transmission.hear(event.sources, now_s)
            case events.DeskHeard():
                under_others, asked = self.beside.take(event.frames, self.engine, now_s)
                if under_others:
                    self._hold_back(now_s)
                self.voice.say(asked, now_s, self._obey)
            case events.Tracked():
                self.tracking.take(event, self.engine, now_s)
            case events.NewFrames():
                self.tracking.renew(event.frames, self.engine)
            case events.Unsent():
                self.transmission.unsent(event.universes)
            case events.NewPoses():
                self._take_poses(event)
            case events.NewShow():
                self._take_show(event, now_s)
            case events.Start():
                self._start(event)
            case events.Stop():
                self.transmission.disarm(self.beside.takes_over)

    def _obey(self, message: events.Message, now_s: float) -> None:
        address, args = message.address, message.args
        self.lock.check(address, args)
        if address == "/arm":
            self._arm(switch(args, "arm"))
        elif address == "/lock":
            self.lock.on = switch(args, "lock")
        else:
            self._made.commands.handle(address, args, message.sender, now_s, message.at_s)
        if lasting_word(address):
            self.news.tell("info", said(message), said(message))

    def _arm(self, on: bool) -> None:
        if on:
            self.transmission.arm()
        elif self.engine.crew.still.any:
            raise Refused("still", "/arm 0 while something is still: clear /still 0 first (people may be aloft)")
        else:
            self.transmission.disarm(self.beside.takes_over)

    def _hold_back(self, now_s: float) -> None:
        """Some universes wait until the desk is heard; heads on those that begin with it begin in the dark."""
        self.transmission.contest.expect(self.beside.same)
        begun = self.transmission.hold_back(self.beside.missing, now_s)
        if begun:
            universes = [fixture.universe for fixture in self.engine.rig.fixtures]
            self.engine.begin(now_s, np.isin(universes, begun))

    def _start(self, start: events.Start) -> None:
        """Begin, or go on from what a daemon that crashed has left; that only sends when it is told to (`armed`)."""
        self.transmission.go_on_from(start.sequences, start.crashed)
        self.transmission.listening_since(start.listening_since_s)
        left, lasting = mapping_in(start.left_behind), mapping_in(start.lasting)
        if left:
            self.engine.restore(left.get("engine"))
            self.lock.on = left.get("locked") is True
            self.beside.go_on_from(left.get("beside"), start.at_s)
            self.beside.tell(self.engine)
            self._hold_back(start.at_s)
            if start.freshest:
                self.engine.take_up_freshest(np.array(start.freshest))
        self.engine.take_up_lasting(lasting)
        if not start.armed:
            return
        if lasting.get("armed", left.get("armed")) is True and left:
            refused = left.get("refused")
            self.transmission.resume(u for u in (refused if isinstance(refused, list) else []) if isinstance(u, int))
        else:
            self.transmission.arm()

    # Poses and shows

    def prepare_poses(self, fresh: Mapping[str, Pose], optics: Mapping[str, OwnTables] = NONE) -> MadePoses:
        """The slow part of taking poses and tables: may run in another thread, changes nothing."""
        engine, merged, tables = self.engine, {**self._made.poses, **fresh}, {**self._made.optics, **optics}
        return MadePoses(engine, merged, tables, engine.prepare(merged, optics))

    def _take_poses(self, event: events.NewPoses) -> None:
        prepared = event.prepared
        if prepared is None or prepared.engine is not self.engine:  # the show was read again in the meantime
            known = {fixture.name for fixture in self.show.fixtures}
            prepared = self.prepare_poses({n: p for n, p in event.poses.items() if n in known}, event.optics)
        self.engine.adopt(prepared.reach, event.marks)
        self._made = self._made._replace(poses=prepared.poses, optics=prepared.optics)
        if event.optics:
            text = f"focus from now on as hands set it at the marks: {', '.join(sorted(event.optics))}"
            self.news.tell("info", "optics", text)

    def _take_show(self, event: events.NewShow, now_s: float) -> None:
        before, made = self._made, event.prepared or make(event.show)
        beside, dark = self.beside, self._dark_slots(now_s)
        made.engine.take_over(before.engine, now_s)
        self._made, self.beside = made, self._beside(made)
        self.tracking.renew(event.show.frames, self.engine)
        asked = self.beside.take_over(beside)
        self.beside.tell(self.engine)
        universes, sacn, by_slot = made.encoder.universes, made.show.network.sacn, self.beside.by_slot
        self.transmission.take(universes, sacn, dark, now_s, by_slot=by_slot, desk_below=beside.takes_over)
        self._hold_back(now_s)
        self.voice.say(asked, now_s, self._obey)

    # One frame

    def tick(self, now_s: float) -> Out:
        """The packets that are to leave now."""
        self._now_s = now_s = max(now_s, self._now_s)
        transmission = self.transmission
        if transmission.phase is Phase.ENDING:  # nothing moves any more
            return transmission.end(self._dark_slots(now_s), now_s)
        self.voice.say(self.beside.before_frame(self.engine, now_s), now_s, self._obey)
        if transmission.due_to_open(now_s):  # before the frame: the first one that is sent must be dark
            if transmission.starts:
                self.engine.begin(now_s)
            transmission.open(now_s)
        frame: Frame = self.engine.tick(now_s)
        if transmission.starts:
            return NOTHING
        laid = self.beside.lay(frame, self._made.encoder.encode(frame))
        return transmission.packets(laid.slots, now_s, laid.priorities)

    def _dark_slots(self, now_s: float) -> np.ndarray:
        """The last frame without light, (U, 512)."""
        dark = (self.engine.frame or self.engine.tick(now_s)).dark()
        return self.beside.lay(dark, self._made.encoder.encode(dark)).slots

    # What is kept

    def left_behind(self) -> Data:
        """What a restart after a crash goes on from (events.Start)."""
        transmission = self.transmission
        return {
            "engine": self.engine.state(),
            "armed": transmission.armed,
            "refused": sorted(transmission.contest.refused),
            "locked": self.lock.on,
            "beside": self.beside.state(),
        }

    def lasting(self) -> Data:
        """What is on disk at once: what outlasts any stop, and what was switched last."""
        return self.engine.lasting() | {"armed": self.transmission.armed}

    def state(self) -> Data:
        """Everything that later packets depend on beside the show: a door that takes it up goes on byte for byte."""
        return {
            "now_s": self._now_s,
            "engine": self.engine.state(),
            "transmission": self.transmission.state(),
            "locked": self.lock.on,
            "beside": self.beside.state(),
            "frames": self.tracking.state(),
            "poses": poses.to_json(self.poses),
            "optics": poses.tables_to_json(self._made.optics),
            "marks": {name: list(at) for name, at in self.engine.marks.items()},
        }

    def restore(self, data: Any) -> None:
        """Take up what `state` gave, under the same show and CID."""
        data = mapping_in(data)
        optics = poses.tables_from_json(data.get("optics", {}))
        self._made = make(self.show, poses.from_json(data["poses"]), optics=optics)
        self.engine.marks.update(marks_from(data["marks"]))
        self.engine.restore(data["engine"])
        self.beside = self._beside(self._made)
        self.beside.restore(data.get("beside"))
        self.tracking.restore(data.get("frames"))
        self.tracking.tell(self.engine)
        self.beside.tell(self.engine)
        self._hold_back(self._now_s)
        self.transmission.restore(data["transmission"])
        self.lock.on, self._now_s = data["locked"] is True, float(data["now_s"])


def marks_from(data: Mapping[str, Any]) -> dict[str, Point3]:
    """Places of marks from JSON data."""
    return {str(name): (float(x), float(y), float(z)) for name, (x, y, z) in data.items()}
