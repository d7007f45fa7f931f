"""One tracking input: its socket, its reader, its clocks, and what is heard of its points."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container
from typing import Protocol

from bridge.daemon.heard_points import HeardPoints
from bridge.daemon.input_socket import Where, open_input, rejoin
from bridge.daemon.kernel_time import receive
from bridge.daemon.timebase import Timebase
from bridge.door.events import Seen
from bridge.wire import adm, otp, psn
from bridge.wire.settings import InputSettings
from bridge.wire.tracked import Point

MAX_OCTETS = 65535
BATCH = 64
GRACE_S = 0.0003
STANDS_S = 0.2
"""A sample that is sent again after so long is no copy: the point has not moved since, and is there. Sooner than a
source that is silent gives way to another (follow/where/steering.py)."""


class Reader(Protocol):
    """What every protocol has (wire/otp.py and others). `counters` are packets by what became of them, `point_counters`
    points."""

    counters: Counter[str]
    point_counters: Counter[str]

    def take(self, packet: bytes, host: str, now_s: float) -> list[Point]: ...


def reader_of(settings: InputSettings) -> Reader:
    """A fresh reader of the input's protocol."""
    match settings.protocol:
        case "otp":
            return otp.Reader(settings.system)
        case "psn":
            return psn.Reader()
        case "adm-osc":
            return adm.Reader()
    raise ValueError(f"no such protocol: {settings.protocol}")


class InputEars:
    """Listens from construction on; NetworkError where that cannot be. `allow` are hosts that are heard."""

    def __init__(self, settings: InputSettings, at: Where, allow: Container[str]) -> None:
        self.settings, self.at, self.allow = settings, at, allow
        self.reader = reader_of(settings)
        self.points, self.timebase = HeardPoints(), Timebase()
        self.strangers: Counter[str] = Counter()
        self.heard_s = -1.0
        self.packets = 0
        self.repeated = 0
        self.socket = open_input(at)

    def fileno(self) -> int:
        """A descriptor for the loop."""
        return self.socket.fileno()

    def read(self, clock: Callable[[], float], due_s: float) -> tuple[list[Seen], bool]:
        """What has come, until nothing is left, a frame is due or BATCH were read: what was seen, and whether all was.

        GRACE_S goes on past a due frame: of several observations that arrived together, the newest is to be sent.
        """
        seen: list[Seen] = []
        until_s = max(due_s, clock() + GRACE_S)
        for _ in range(BATCH):
            try:
                packet, sender, at_s = receive(self.socket, MAX_OCTETS, clock)
            except BlockingIOError:
                return seen, True
            except OSError:  # an ICMP error, or an interface that went: not ours to mind
                return seen, True
            seen += self.take(packet, sender[0].partition("%")[0], at_s)
            if clock() >= until_s:
                break
        return seen, False

    def take(self, packet: bytes, host: str, at_s: float) -> list[Seen]:
        """One packet that arrived then."""
        self.packets += 1
        if host not in self.allow:
            if host in self.strangers or len(self.strangers) < BATCH:  # made up ones must not fill memory
                self.strangers[host] += 1
            return []
        found = self.reader.take(packet, host, at_s)
        if found:
            self.heard_s = at_s
        return [seen for point in found if (seen := self._seen(point, host, at_s)) is not None]

    def _seen(self, point: Point, host: str, at_s: float) -> Seen | None:
        heard = self.points.point(point.name, at_s)
        if heard is None:
            return None
        if heard.repeats(point) and self.timebase.trusts(point.clock):
            if at_s - heard.at_s < STANDS_S:
                self.repeated += 1
                return None
            seen_s = at_s  # whoever sends says that it stands there
        else:
            seen_s = round(self.timebase.seen_s(point.clock, point.sampled_us, at_s) * 1e6) / 1e6
        heard.take(point.place, seen_s, at_s, host)
        return Seen(point.name, seen_s, point.place, point.velocity, host)

    def rejoin(self) -> None:
        """The interface came back."""
        rejoin(self.socket, self.at)

    def close(self) -> None:
        """Hear nothing any more."""
        self.socket.close()
