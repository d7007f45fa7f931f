"""Everything that can change what is sent, as plain frozen events. They are applied in one place: door.Door.apply.

To add an input (a desk, a tracking system): an event here, a line in `Door.apply`, and its two lines in record.py, so
that a capture keeps it. Times are seconds of the daemon's monotonic clock, in whole microseconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Point3
from bridge.rig.fixture import OwnTables, Pose
from bridge.show.model import Show


class OtherSource(NamedTuple):
    """Another source of sACN: its name, where it sends from, its priority, and what is odd about it, if anything."""

    name: str
    host: str
    priority: int
    remark: str = ""


Heard = Mapping[int, tuple[OtherSource, ...]]
"""Other sources by universe."""


def host_of(sender: str) -> str:
    """The host of a sender, which is that alone or NAME@HOST."""
    return sender.rpartition("@")[2]


@dataclass(frozen=True, slots=True)
class Message:
    """An OSC message when it arrived; `sender` is its host, or NAME@HOST of an operator who gave a name (inbox.py)."""

    at_s: float
    sender: str
    address: str
    args: tuple[Any, ...]

    @property
    def host(self) -> str:
        """The address of the machine that it came from."""
        return host_of(self.sender)


@dataclass(frozen=True, slots=True)
class NewPoses:
    """Other poses to aim with from now on, places of marks that were solved with them, and tables of zoom and focus.

    `prepared` is what Door.prepare_poses made of them beside the loop; without it that is done now.
    """

    at_s: float
    poses: Mapping[str, Pose]
    marks: Mapping[str, Point3] = field(default_factory=dict)
    prepared: Any = None
    optics: Mapping[str, OwnTables] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NewShow:
    """The show folder was read again; `prepared` as for poses. `files` are its texts by name, for a capture."""

    at_s: float
    show: Show
    files: Mapping[str, str] = field(default_factory=dict)
    prepared: Any = None


@dataclass(frozen=True, slots=True)
class Start:
    """The daemon starts; `armed`: it may send. Universes are heard since `listening_since_s`.

    Of the last one: `left_behind` if it crashed just now, what is `lasting` (as the door gives both), the `sequences`
    of its universes, and whether it `crashed` at all, so that more packets may have left than those tell. `freshest`:
    what Engine.freshest gave with its last frame.
    """

    at_s: float
    armed: bool
    listening_since_s: float = 0.0
    left_behind: Mapping[str, Any] | None = None
    lasting: Mapping[str, Any] | None = None
    sequences: Mapping[int, int] = field(default_factory=dict)
    crashed: bool = False
    freshest: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Stop:
    """The daemon stops: dark, and the streams end."""

    at_s: float


@dataclass(frozen=True, slots=True)
class OthersHeard:
    """Who else is heard on our universes has changed."""

    at_s: float
    sources: Heard


@dataclass(frozen=True, slots=True)
class Unsent:
    """The network did not take the last packet of these universes."""

    at_s: float
    universes: tuple[int, ...]


class DeskFrame(NamedTuple):
    """What the desk sends on one universe, all its sources merged: 512 `slots`; the last ones while not `alive`.

    `source`, `host` and `priority` are the strongest source's. `equal`: several of the highest priority differ.
    """

    universe: int
    slots: bytes
    source: str = ""
    host: str = ""
    priority: int = 0
    alive: bool = True
    equal: bool = False


@dataclass(frozen=True, slots=True)
class DeskHeard:
    """Universes of the desk that are heard for the first time, or on which something changed."""

    at_s: float
    frames: tuple[DeskFrame, ...]


class Seen(NamedTuple):
    """A point of a tracking input: when it was seen (our clock, jitter taken out), and where in the input's axes, m.

    `velocity` m/s in the same axes, where the input says it. `host` sent it.
    """

    point: str
    at_s: float
    place: Point3
    velocity: Point3 | None = None
    host: str = ""


@dataclass(frozen=True, slots=True)
class Tracked:
    """Points of a tracking input that targets follow were seen; `at_s` is when that arrived."""

    at_s: float
    input: str
    seen: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class NewFrames:
    """The frames of tracking inputs from now on, by input; one that is not there is not known."""

    at_s: float
    frames: Mapping[str, InputFrame]


Event = Message | Tracked | NewFrames | DeskHeard | NewPoses | NewShow | Start | Stop | OthersHeard | Unsent
