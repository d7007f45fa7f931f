"""The whole of a show in virtual time, driven as the daemon drives it: through the one door, no socket, no clock.

Every scenario is recorded as the daemon records it, and at its end the capture is replayed: the same packets must
come out, byte for byte.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bridge.door import record
from bridge.door.door import Door, make
from bridge.door.events import Event, NewShow, Start
from bridge.door.inbox import Inbox, Refusal
from bridge.door.replay import Replay, Verdict
from bridge.errors import Refused
from bridge.follow.judging.states import WORDS
from bridge.geometry.stage import Area, Floor, Target
from bridge.show.model import Show
from bridge.wire import capture, e131, osc
from bridge.wire.capture import Datagram
from bridge.wire.capture import Event as Entry
from bridge.wire.settings import LostInput, Network

FRAME_S = 1 / 44
CID = bytes(range(16))
HERE, THERE = "127.0.0.1", "127.0.0.9"
LISTENS, SENDS = ("127.0.0.1", 9000), ("127.0.0.1", 40000)
THRUST = Area("thrust", ((-2.0, -3.0), (2.0, -3.0), (2.0, 0.0), (-2.0, 0.0)), (-0.5, 4.0), on=False)
RISER = Floor("riser", ((-2.0, 5.0), (2.0, 5.0), (2.0, 8.0), (-2.0, 8.0)), 0.6)
ROWS = Area("first-rows", ((-6.0, -20.0), (6.0, -20.0), (6.0, -16.0), (-6.0, -16.0)), (0.0, 2.0))


def datagram(address: str, *args: Any) -> bytes:
    """An OSC 1.0 message as a hostile or a careful sender would put it together: numbers in double precision."""

    def padded(text: str) -> bytes:
        octets = text.encode()
        return octets + bytes(4 - len(octets) % 4)

    tags, values = ",", b""
    for arg in args:
        if isinstance(arg, bool):
            tags += "T" if arg else "F"
        elif isinstance(arg, int):
            tags, values = tags + "i", values + struct.pack(">i", arg)
        elif isinstance(arg, str):
            tags, values = tags + "s", values + padded(arg)
        elif arg is None:
            tags += "N"
        elif isinstance(arg, bytes):
            tags, values = tags + "b", values + struct.pack(">i", len(arg)) + arg + bytes(-len(arg) % 4)
        else:
            tags, values = tags + "d", values + struct.pack(">d", arg)
    return padded(address) + padded(tags) + values


class Tape:
    """A capture in memory. Shows cannot be written as files here, so they are kept beside it, by a number."""

    def __init__(self) -> None:
        self.entries: list[Datagram | Entry] = []
        self.shows: list[Show] = []

    def files(self, show: Show) -> dict[str, str]:
        self.shows.append(show)
        return {"show": str(len(self.shows) - 1)}

    def event(self, at_s: float, payload: bytes) -> None:
        self.entries.append(Entry(round(at_s * 1e6), payload))

    def came_in(self, at_s: float, host: str, data: bytes) -> None:
        self.entries.append(Datagram(round(at_s * 1e6), True, (host, 50000), LISTENS, data))

    def went_out(self, at_s: float, universe: int, packet: bytes) -> None:
        self.entries.append(Datagram(round(at_s * 1e6), False, SENDS, (e131.multicast_group(universe), 5568), packet))

    def replay(self) -> Verdict:
        """Through the octets of a file and back."""
        octets = capture.opening(0, 1_700_000_000_000_000, "scenarios")
        octets += b"".join(block for entry in self.entries for block in capture.blocks(entry, 1_700_000_000_000_000))
        replay = Replay(lambda files: self.shows[int(files["show"])])
        replay.take(capture.read(io.BytesIO(octets)))
        return replay.verdict


class Bridge:
    """A show behind its door. `say` sends a message, `run` lets time go by at 44 frames a second."""

    def __init__(self, made: Any, lost_input: LostInput, short_ways: bool = True) -> None:
        network = Network(lost_input=lost_input)
        show = Show(Path("scenario"), "scenario", made.fixtures, made.stage, network, poses=made.poses)
        self.door = Door(make(show, short_ways=short_ways), CID)
        self.tape = Tape()
        self.refusals: list[Refusal] = []
        self.inbox = Inbox(["0.0.0.0/0"], self.door.apply, self.refusals.append)
        self.now_s = 1000.0
        self.begin_tape()
        # as after a crash: armed and sending at once, so that the first frame is not the dark of a fresh start
        self.apply(Start(self.now_s, armed=True, left_behind={"armed": True}))
        self.tick()

    @property
    def engine(self) -> Any:
        return self.door.engine

    @property
    def rig(self) -> Any:
        return self.door.engine.rig

    # What goes in

    def begin_tape(self) -> None:
        self.inbox.obeyed = 0
        self.tape.event(self.now_s, record.begin(self.tape.files(self.door.show), CID, self.door.state()))

    def apply(self, event: Event) -> None:
        if isinstance(event, NewShow):
            event = replace(event, files=self.tape.files(event.show))
        self.tape.event(self.now_s, record.event(event, self._obeyed()))
        self.door.apply(event)

    def _obeyed(self) -> int:
        count, self.inbox.obeyed = self.inbox.obeyed, 0
        return count

    def say(self, address: str, *args: Any, host: str = HERE, operator: str = "") -> None:
        named = [datagram("/operator", operator)] if operator else []
        data = datagram(address, *args)
        self.throw(osc.encode_bundle([*named, data]) if named else data, host)

    def throw(self, data: bytes, host: str = HERE) -> None:
        """One datagram; the first refusal of anything in it is raised."""
        self.now_s, before = round(self.now_s * 1e6) / 1e6, len(self.refusals)
        self.tape.came_in(self.now_s, host, data)
        self.inbox.datagram(data, host, self.now_s)
        while self.inbox.busy:
            self.inbox.work()
        for refusal in self.refusals[before:]:
            raise Refused(refusal.reason, refusal.text)

    def refused(self, address: str, *args: Any, host: str = HERE, operator: str = "") -> Refused:
        """Say something that must be refused, with words for the log; the refusal."""
        with pytest.raises(Refused) as caught:
            self.say(address, *args, host=host, operator=operator)
        assert str(caught.value)
        assert caught.value.reason
        return caught.value

    def tick(self) -> Any:
        self.tape.event(self.now_s, record.tick(self.now_s, self._obeyed()))
        out = self.door.tick(self.now_s)
        for universe, packet in (*out.packets, *((e131.DISCOVERY_UNIVERSE, page) for page in out.discovery)):
            self.tape.went_out(self.now_s, universe, bytes(packet))
        self.frame = self.engine.frame
        return self.frame

    def run(self, seconds: float, meanwhile: Callable[[float], None] | None = None, every_s: float = 0.1) -> list[Any]:
        """All frames of the next seconds; `meanwhile` is called with the seconds gone by, first with 0."""
        frames, start_s, due_s = [], self.now_s, 0.0
        for number in range(1, round(seconds / FRAME_S) + 1):
            if meanwhile is not None and self.now_s - start_s >= due_s - 1e-9:
                meanwhile(self.now_s - start_s)
                due_s += every_s
            self.now_s = start_s + number * FRAME_S
            frames.append(self.tick())
        return frames

    def stand(
        self, x: float, y: float, z: float | None = None, seconds: float = 3.0, target: str = "lead"
    ) -> list[Any]:
        """The performer goes to a place and stands there, the sender being alive, until all is settled."""
        place = (x, y) if z is None else (x, y, z)
        self.say(f"/target/{target}/position", *place)
        return self.run(seconds, lambda _: self.say(f"/target/{target}/alive"))

    # What comes out

    def number(self, name: str) -> int:
        return self.rig.names.index(name)

    def state(self, name: str) -> str:
        return WORDS[int(self.frame.state[self.number(name)])]

    @property
    def states(self) -> set[str]:
        return {WORDS[int(state)] for state in self.frame.state}

    def angles(self, name: str) -> tuple[float, float]:
        """Pan and tilt as sent, degrees."""
        n = self.number(name)
        return float(np.degrees(self.frame.pan_rad[n])), float(np.degrees(self.frame.tilt_rad[n]))

    def level(self, name: str) -> float:
        return float(self.frame.level[self.number(name)])

    def place(self, target: str = "lead") -> tuple[float, float, float]:
        """Where a target is, metres: the point to be lit."""
        place = self.engine.place
        return place.points(self.now_s)[place.names.index(target)]

    def misses(self, point: Sequence[float], frame: Any = None) -> np.ndarray:
        """How far each beam axis passes from a point, metres (Heads.beam is checked against MuJoCo elsewhere)."""
        frame = self.frame if frame is None else frame
        start, direction = self.rig.heads.beam(frame.pan_rad, frame.tilt_rad)
        return np.linalg.norm(np.cross(np.asarray(point) - start, direction), axis=1)

    def meets(self, name: str, z: float) -> np.ndarray:
        """Where a beam axis meets the level z, metres."""
        n = self.number(name)
        start, direction = (v[n] for v in self.rig.heads.beam(self.frame.pan_rad, self.frame.tilt_rad))
        return start + (z - start[2]) / direction[2] * direction

    def assert_lit(self, point: Sequence[float], names: Sequence[str] | None = None, level: float = 1.0) -> None:
        """These heads (default all) are lit, at this level, and their beams go through the point."""
        where = [self.number(name) for name in names or self.rig.names]
        assert {WORDS[int(self.frame.state[n])] for n in where} == {"lit"}
        np.testing.assert_allclose(self.frame.level[where], level, atol=1e-6)
        assert self.misses(point)[where].max() < 1e-3

    def assert_dark(self, state: str, names: Sequence[str] | None = None) -> None:
        """These heads (default all) carry no light, and this is the reason given."""
        where = [self.number(name) for name in names or self.rig.names]
        assert {WORDS[int(self.frame.state[n])] for n in where} == {state}
        assert not self.frame.level[where].any()


def scenario_stage(make_stage: Callable[..., Any], **changes: Any) -> Any:
    fields: dict[str, Any] = {
        "more_areas": (THRUST,),
        "floors": (RISER,),
        "no_light": (ROWS,),
        "targets": (Target("lead"), Target("second", height=1.5, size=1.5)),
    }
    return make_stage(**{**fields, **changes})


@pytest.fixture
def make_bridge(make_rig: Callable[..., Any], make_stage: Callable[..., Any]) -> Iterator[Callable[..., Bridge]]:
    """`make_bridge(seed=1, change=..., lost_input=..., **stage)`; `change` maps the Rig of tests/conftest."""
    made_here: list[Bridge] = []

    def make(
        seed: int = 1,
        change: Callable[[Any], Any] = lambda made: made,
        lost_input: LostInput = LostInput(),  # noqa: B008 (frozen)
        short_ways: bool = True,
        rig: dict[str, Any] | None = None,
        **stage: Any,
    ) -> Bridge:
        made = make_rig(seed, stage=scenario_stage(make_stage, **stage), **(rig or {}))
        made_here.append(Bridge(change(made), lost_input, short_ways))
        return made_here[-1]

    yield make
    for bridge in made_here:
        verdict = bridge.tape.replay()
        assert verdict.equal, verdict.differences
        assert verdict.packets > 0


@pytest.fixture
def bridge(make_bridge: Callable[..., Bridge]) -> Bridge:
    """Twelve solved heads; a riser, a thrust that is off, a no-light area out of the way; lead and second."""
    return make_bridge()
