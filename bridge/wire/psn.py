"""PosiStageNet 2.03: what is heard of the trackers of any number of senders. No socket, no clock.

`counters` have one word for each packet: taken, info, or why not: oversized, not-psn, malformed, other-version, old,
duplicate. `point_counters` have one for each tracker of the taken ones: taken, or why not: invalid, no-place,
not-finite, range, again, too-many; and bad-speed beside taken: its place without its speed. Decisions:

- The points of a packet count at once: a frame that spans packets is never waited for.
- A sender is a host: data packets say no more of who sent them. Two systems on one host are not told apart.
- **Old**: the timestamp lies before the last from that host, by less than OLD_US. By more, or when that host gave
  nothing newer for RESTART_S: its clock began anew, and the packet is taken.
- **Again**: the frame of that host (timestamp and frame number) has had the tracker already. A packet with nothing but
  those is a duplicate. After STANDING_S the same frame counts once more: there are senders without a clock.
- Validity of 0 or below, or not finite: the tracker is not seen now. Without validity it is seen.
- A speed of exactly 0, 0, 0 counts once the host has given another: many senders fill the field with zeros (common
  practice, no source), and a runner who is said to stand would be led nowhere.
- A timestamp of 0 says nothing. Trackers' own times may have a beginning of their own: a clock apart.
"""

from __future__ import annotations

import math
from collections import Counter

from bridge.wire.names import keep
from bridge.wire.psn_packet import Data, Header, Info, PsnError, Tracker, data, info, parse
from bridge.wire.tracked import Place, Point

__all__ = ["GROUP", "PORT", "Reader", "Tracker", "data", "info"]

GROUP, PORT = "236.10.10.10", 56565
FARTHEST_M = 1e4
FASTEST_M_S = 1e3
OLD_US = 5_000_000
RESTART_S = 1.0
STANDING_S = 0.1
MAX_SENDERS = 64
MAX_TRACKERS = 1024
"""In one frame; names are kept for as many."""


class _Sender:
    """One host: its frame, when that began here, which trackers it has had; whether its speeds are real."""

    __slots__ = ("began_s", "frame", "heard", "speeds", "timestamp_us")

    def __init__(self) -> None:
        self.timestamp_us, self.frame = -1, -1
        self.began_s = -math.inf
        self.heard: set[int] = set()
        self.speeds = False

    def is_old(self, header: Header, now_s: float) -> bool:
        """Whether a packet belongs to a frame before this one; if not, its frame is the sender's from now on."""
        behind_us = self.timestamp_us - header.timestamp_us
        waited_s = now_s - self.began_s
        if 0 < behind_us < OLD_US and waited_s < RESTART_S:
            return True
        if behind_us or header.frame != self.frame or waited_s >= STANDING_S:
            self.timestamp_us, self.frame, self.began_s = header.timestamp_us, header.frame, now_s
            self.heard.clear()
        return False


class Reader:
    """Everything heard on one socket. `names` by point, `systems` by host: what their senders call them, printable.

    `last_refusal`: of the last packet that was no good one, what was expected and found.
    """

    def __init__(self) -> None:
        self.counters: Counter[str] = Counter()
        self.point_counters: Counter[str] = Counter()
        self.last_refusal = ""
        self.names: dict[str, str] = {}
        self.systems: dict[str, str] = {}
        self._senders: dict[str, _Sender] = {}

    def take(self, packet: bytes, host: str, now_s: float) -> list[Point]:
        """The points of one datagram; never raises. `now_s`: when it arrived, by any clock that only goes on."""
        try:
            found = parse(packet)
        except PsnError as error:
            self.counters[error.reason] += 1
            self.last_refusal = f"{host}: {error}"
            return []
        if isinstance(found, Info):
            self.counters["info"] += 1
            self._keep_names(found, host)
            return []
        return self._points(found, host, now_s)

    def _points(self, found: Data, host: str, now_s: float) -> list[Point]:
        sender = self._sender(host)
        if sender.is_old(found.header, now_s):
            self.counters["old"] += 1
            return []
        new: list[Tracker] = []
        again = 0
        for tracker in found.trackers:
            if tracker.number in sender.heard:
                again += 1
            elif len(sender.heard) < MAX_TRACKERS:
                sender.heard.add(tracker.number)
                new.append(tracker)
        if again and again == len(found.trackers):
            self.counters["duplicate"] += 1
            return []
        self.counters["taken"] += 1
        self._count("again", again)
        self._count("too-many", len(found.trackers) - again - len(new))
        points = [self._point(tracker, found.header, host, sender) for tracker in new]
        given = [point for point in points if point is not None]
        self._count("taken", len(given))
        return given

    def _point(self, tracker: Tracker, header: Header, host: str, sender: _Sender) -> Point | None:
        place = tracker.place
        if tracker.validity is not None and not 0.0 < tracker.validity < math.inf:
            self.point_counters["invalid"] += 1
        elif place is None:
            self.point_counters["no-place"] += 1
        elif not _within(place, FARTHEST_M):
            self.point_counters["range" if all(map(math.isfinite, place)) else "not-finite"] += 1
        else:
            velocity = self._velocity(tracker.speed, sender)
            if tracker.timestamp_us:
                return Point(str(tracker.number), place, velocity, tracker.timestamp_us, f"{host} trackers")
            return Point(str(tracker.number), place, velocity, header.timestamp_us or None, host)
        return None

    def _velocity(self, speed: Place | None, sender: _Sender) -> Place | None:
        if speed is None or not _within(speed, FASTEST_M_S):
            self._count("bad-speed", speed is not None)
            return None
        sender.speeds = sender.speeds or any(speed)
        return speed if sender.speeds else None

    def _keep_names(self, found: Info, host: str) -> None:
        if found.system is not None:
            keep(self.systems, host, found.system, MAX_SENDERS)
        for number, name in found.names.items():
            keep(self.names, str(number), name, MAX_TRACKERS)

    def _sender(self, host: str) -> _Sender:
        """That of the host, last in line to make room for another."""
        sender = self._senders.pop(host, None) or _Sender()
        if len(self._senders) >= MAX_SENDERS:
            del self._senders[next(iter(self._senders))]
        self._senders[host] = sender
        return sender

    def _count(self, word: str, number: int) -> None:
        if number > 0:
            self.point_counters[word] += number


def _within(vector: Place, most: float) -> bool:
    """False for whatever is not finite."""
    x, y, z = vector
    return -most <= x <= most and -most <= y <= most and -most <= z <= most
