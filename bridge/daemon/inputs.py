"""The sockets of tracking inputs in the loop: points that targets follow become events, all others are only listed.

An input that cannot be opened (a port that is taken, an interface that is not there) is said, tried again every second,
and costs the others nothing. A show that is read again keeps what stays as it is: not a packet is lost on it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping
from typing import NamedTuple

from bridge.daemon.input_ears import InputEars
from bridge.daemon.input_report import InputRow, PointTold, Refusals, points, row
from bridge.daemon.input_socket import Where, where
from bridge.daemon.link import LinkWatch
from bridge.daemon.logs import LOG, Throttle
from bridge.daemon.loop import Loop
from bridge.door.events import Tracked
from bridge.door.inbox import AllowList, Refusal
from bridge.errors import NetworkError
from bridge.geometry.stage import Target
from bridge.wire import otp, otp_send
from bridge.wire.settings import InputSettings, Network
from bridge.wire.tracked import Place

RETRY_S = 1.0
MOST_TOLD = 64
"""So many points are told of all inputs together."""


class InputWays(NamedTuple):
    """Where things go: events, the moment of one (a frame is due), refusals with how many they stand for.

    `rests` tells until when reading would be of no use, `due_s` when the next frame is due (monotonic seconds).
    """

    apply: Callable[[Tracked], None]
    observed: Callable[[float], None]
    refused: Callable[[Refusal, int], None]
    rests: Callable[[], float]
    due_s: Callable[[], float]


class _Input:
    """One input of the show, open or not; `behind`: more has come than was read."""

    def __init__(self, name: str, settings: InputSettings, interface: str) -> None:
        self.name, self.settings, self.interface = name, settings, interface
        self.ears: InputEars | None = None
        self.followed: frozenset[str] = frozenset()
        self.behind = False
        self.refusals = Refusals(name)
        self.retry_s, self.said = -math.inf, ""
        self.advertise_s, self.folio = -math.inf, 0

    def same(self, settings: InputSettings, interface: str) -> bool:
        """Whether it is heard as these say already."""
        return (self.settings, self.interface) == (settings, interface)


class TrackingInputs:
    """Hears all inputs of a network file; `cid` and `name` are who we are to those who ask (E1.59's advertisements)."""

    def __init__(self, loop: Loop, clock: Callable[[], float], cid: bytes) -> None:
        self._loop, self._clock, self._cid = loop, clock, cid
        self._inputs: dict[str, _Input] = {}
        self._links: dict[str, LinkWatch] = {}
        self._allow: AllowList = AllowList(())
        self._watched, self._source_name = "", ""
        self._ways: InputWays | None = None
        self._faults = Throttle(LOG.error, named=False)

    # From start to stop

    def take(self, network: Network, targets: Iterable[Target]) -> None:
        """Listen as this says from now on, for these targets."""
        self._allow, self._source_name = AllowList(network.osc.allow), network.sacn.source_name
        self._watched = network.sacn.interface  # by the chores, for what we send
        followed: dict[str, set[str]] = {}
        for target in targets:
            for source in target.sources:
                followed.setdefault(source.input, set()).add(source.point)
        for name in [n for n, known in self._inputs.items() if not self._stays(known, network)]:
            self._close(self._inputs.pop(name))
        for name, settings in network.inputs.items():
            known = self._inputs.setdefault(name, _Input(name, settings, network.sacn.interface))
            known.followed = frozenset(followed.get(name, ()))
            if known.ears is None:
                self._open(known)
            else:
                known.ears.allow, known.ears.points.always = self._allow, known.followed
        self._watch_links()

    @staticmethod
    def _stays(known: _Input, network: Network) -> bool:
        settings = network.inputs.get(known.name)
        return settings is not None and known.same(settings, network.sacn.interface)

    def _open(self, known: _Input) -> None:
        try:
            at = where(known.settings, known.interface)
            known.ears = InputEars(known.settings, at, self._allow)
        except NetworkError as error:
            if str(error) != known.said:
                LOG.error("input %s is not heard: %s; tried again", known.name, error)
            known.said, known.retry_s = str(error), self._clock() + RETRY_S
            return
        known.ears.points.always = known.followed
        known.said, known.advertise_s = "", -math.inf
        LOG.info("input %s: %s at %s", known.name, known.settings.protocol, at)
        if self._ways is not None:
            self._listen(known, known.ears)

    def begin(self, ways: InputWays) -> None:
        """From now on things go these ways, in the loop."""
        self._ways = ways
        for known in self._inputs.values():
            if known.ears is not None:
                self._listen(known, known.ears)

    def _listen(self, known: _Input, ears: InputEars) -> None:
        """Input waits until it can be of use; where there is much of it, it must not, lest the socket overflows."""
        ways = self._ways
        assert ways is not None

        def rests() -> float:
            return -math.inf if known.behind else ways.rests()

        def read() -> bool:
            self._read(known, ears, ways)
            return False

        self._loop.add_reader(ears.fileno(), read, rests)

    def _close(self, known: _Input) -> None:
        if known.ears is not None:
            self._loop.remove_reader(known.ears.fileno())
            heard = ", ".join(f"{n} {word}" for word, n in sorted(known.ears.reader.counters.items()) if n)
            LOG.info("packets of input %s until now: %s", known.name, heard or "none")
            known.ears.close()
            known.ears = None

    def close(self) -> None:
        """Hear nothing any more."""
        for known in self._inputs.values():
            self._close(known)
        self._inputs.clear()

    # In the loop

    def _read(self, known: _Input, ears: InputEars, ways: InputWays) -> None:
        """What has come; a fault of ours with one packet is said, and the next one may be good."""
        try:
            seen, all_read = ears.read(self._clock, ways.due_s())
            known.behind = not all_read
            followed = tuple(one for one in seen if one.point in known.followed)
            if followed:
                ways.apply(Tracked(ears.heard_s, known.name, followed))
                ways.observed(ears.heard_s)
        except Exception as error:
            text = f"input {known.name}: a fault of this program, please report it: {error!r}"
            self._faults.count(known.name, text, self._clock())

    def look(self, now_s: float) -> None:
        """Once a second or so: try again what is not open, say who we are, tell what was refused."""
        for known in self._inputs.values():
            if known.ears is None:
                if now_s >= known.retry_s:
                    self._open(known)
                    self._watch_links()
                continue
            if known.settings.protocol == "otp" and now_s >= known.advertise_s:
                known.advertise_s = now_s + otp_send.ADVERTISE_S
                self._advertise(known, known.ears)
            for refusal, count in known.refusals.fresh(known.ears, now_s):
                if self._ways is not None:
                    self._ways.refused(refusal, count)

    def _advertise(self, known: _Input, ears: InputEars) -> None:
        packet = otp_send.module_advertisement(self._cid, self._source_name, known.folio)
        known.folio = (known.folio + 1) % (1 << 32)
        try:
            ears.socket.sendto(packet, (otp.ADVERTISEMENT_GROUP, otp.PORT))
        except OSError as error:  # producers send without it; the link's watch says what is wrong
            LOG.debug("input %s: no advertisement was sent: %s", known.name, error)

    # Interfaces

    def _watch_links(self) -> None:
        """Interfaces that nobody else watches."""
        there = {known.ears.at.interface for known in self._inputs.values() if known.ears is not None}
        wanted = there - {"", self._watched}
        gone, back = "TRACKING IS NOT HEARD: {}", "the link of {} is back, tracking is listened to again"
        self._links = {at: self._links.get(at) or LinkWatch(at, gone=gone, back=back) for at in sorted(wanted)}

    def look_at_links(self) -> list[tuple[str, str]]:
        """Level and words of what has changed since last asked."""
        said = []
        for interface, link in self._links.items():
            if text := link.look():
                said.append(("error" if link.down else "warning", text))
                if not link.down:
                    self.rejoin(interface)
        return said

    def rejoin(self, interface: str = "") -> None:
        """The interface came back; all did, where none is named."""
        for known in self._inputs.values():
            if known.ears is not None and interface in ("", known.ears.at.interface):
                known.ears.rejoin()

    # What is heard

    def rows(self, now_s: float, framed: Container[str] = ()) -> list[InputRow]:
        """For /feed/input, in the order of the network file; `framed` are inputs that have a frame."""
        return [
            row(n, k.settings, k.ears, k.followed, n in framed, k.refusals.total, now_s)
            for n, k in self._inputs.items()
        ]

    def points_told(self, now_s: float) -> list[PointTold]:
        """For /feed/point: at most MOST_TOLD, the same share of each input that is open."""
        open_ones = [(n, k.ears, k.followed) for n, k in self._inputs.items() if k.ears is not None]
        most = MOST_TOLD // max(1, len(open_ones))
        return [told for n, ears, followed in open_ones for told in points(n, ears, followed, most, now_s)]

    def last_second(self, name: str, point: str, now_s: float) -> list[tuple[float, Place]]:
        """(when, where in the input's axes) a point was seen within the last second; [] where nothing is known."""
        known = self._inputs.get(name)
        heard = None if known is None or known.ears is None else known.ears.points.by_name.get(point)
        return [] if heard is None else heard.last_second(now_s)

    def points(self, name: str, now_s: float) -> list[str]:
        """The points of an input that are heard now."""
        known = self._inputs.get(name)
        return [] if known is None or known.ears is None else list(known.ears.points.there(now_s))

    @property
    def open(self) -> Mapping[str, Where]:
        """Where each input that is open is heard."""
        return {name: known.ears.at for name, known in self._inputs.items() if known.ears is not None}
