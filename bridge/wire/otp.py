"""ANSI E1.59-2021 (OTP) as a consumer hears it: the points of one system, each from whoever may give it.

No socket, no clock. What becomes of folios, restarts and priorities is decided in otp_folios.py; layouts are in
otp_layers.py, what is sent in otp_send.py. The points of a page are given at once: a page is a whole message, and
waiting for the others of its folio would only make them older.

Producers and points are limited in number, so junk cannot fill memory. When there is no room the lost ones are
forgotten; a newcomer beyond that is `too-many`.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import NamedTuple

from bridge.wire.otp_folios import LOSS_S, Claim, Held, Producer
from bridge.wire.otp_layers import MAX_SYSTEM, Measured, Message, OtpError, open_message, points_of
from bridge.wire.tracked import Point

PORT = 5568
ADVERTISEMENT_GROUP = "239.159.2.1"
MAX_PRODUCERS, MAX_POINTS = 16, 512
"""Of a system, and of each of its producers."""
SHOWN_S = 60.0
"""A lost point is listed until then."""
_AHEAD_US, _BEHIND_US = 50_000, int(LOSS_S * 1e6)
_TIDY_S = 1.0


class Heard(NamedTuple):
    """One point for a status: who gives it (`producer` the name it goes by, `host` the sender), and how old it is."""

    name: str
    producer: str
    host: str
    priority: int
    age_s: float
    lost: bool


def transform_group(system: int) -> str:
    """The IPv4 group of a system's transforms. Raises ValueError outside 1..200."""
    if not 1 <= system <= MAX_SYSTEM:
        raise ValueError(f"system {system}, expected 1 to {MAX_SYSTEM}")
    return f"239.159.1.{system}"


class Reader:
    """Everything that is heard of one system.

    `counters` counts packets, one word each: taken; or why nothing was: empty, no-position, old, duplicate, outranked,
    equal-priority, too-many, other-system, not-data (no transform), not-otp, malformed. `point_counters` counts the
    points of good packets by the same words, and of those taken: repeated (the sample of before), odd-time (`sampled`
    makes no sense beside the message's timestamp and is left out), changed-producer. `refusals` has the reasons of
    those not-otp and malformed, `last_refusal` the last one as a sentence.
    """

    def __init__(self, system: int) -> None:
        transform_group(system)
        self.system = system
        self.counters: Counter[str] = Counter()
        self.point_counters: Counter[str] = Counter()
        self.refusals: Counter[str] = Counter()
        self.last_refusal = ""
        self._producers: dict[bytes, Producer] = {}
        self._points: dict[tuple[int, int], Held] = {}
        self._tidied_s = -math.inf

    def take(self, packet: bytes, host: str, now_s: float) -> list[Point]:
        """Take one packet in; the points that it gives, in its order. Raises nothing, on any octets."""
        given: list[Point] = []
        self.counters[self._word(packet, host, now_s, given)] += 1
        return given

    def points(self, now_s: float) -> list[Heard]:
        """Every point that was heard in the last minute, by group and number."""
        found = []
        for _, held in sorted(self._points.items()):
            claim = held.settle(now_s)
            if claim is not None and now_s - claim.heard_s <= SHOWN_S:
                producer, age_s = claim.producer, now_s - claim.heard_s
                lost = claim.lost(now_s)
                found.append(Heard(held.name, producer.name, producer.host, claim.priority, age_s, lost))
        return found

    def _word(self, packet: bytes, host: str, now_s: float, given: list[Point]) -> str:
        try:
            message = open_message(packet)
            if message is None or message.system != self.system:
                return "not-data" if message is None else "other-system"
            measured = points_of(packet, message)
        except OtpError as error:
            self.refusals[error.reason] += 1
            self.last_refusal = str(error)
            return "not-otp" if error.reason == "not-otp" else "malformed"
        producer = self._producer(message, now_s)
        if producer is None or not producer.admits(message.folio, now_s):
            return "too-many" if producer is None else "old"
        producer.introduce(message.name, host)
        words = [self._point(producer, message, one, now_s, given) for one in measured]
        self.point_counters.update(words)
        return "taken" if given else next(iter(words), "empty")

    def _producer(self, message: Message, now_s: float) -> Producer | None:
        producer = self._producers.get(message.cid)
        if producer is None:
            if len(self._producers) >= MAX_PRODUCERS:
                self._tidy(now_s)
            if len(self._producers) >= MAX_PRODUCERS:
                return None
            producer = self._producers[message.cid] = Producer(message.cid, message.folio)
        return producer

    def _point(self, producer: Producer, message: Message, one: Measured, now_s: float, given: list[Point]) -> str:
        if one.place is None:
            return "no-position"
        held = self._held(producer, one, now_s)
        if held is None:
            return "too-many"
        claim, sampled_us = held.claims[producer.clock], _sampled(one, message)
        became = claim.take(message.folio, message.timestamp_us, sampled_us, now_s)
        if became in ("old", "duplicate"):
            return became
        before, lowered = held.holder, one.priority < claim.priority
        claim.priority = one.priority
        if before is not claim or lowered:
            held.settle(now_s)
            if held.holder is not claim:
                return "equal-priority" if held.holder and held.holder.priority == claim.priority else "outranked"
            if before is not None and before is not claim:
                self.point_counters["changed-producer"] += 1
        if became == "repeated":
            self.point_counters["repeated"] += 1
        if sampled_us is None:
            self.point_counters["odd-time"] += 1
        given.append(Point(held.name, one.place, one.velocity, sampled_us, producer.clock))
        return "taken"

    def _held(self, producer: Producer, one: Measured, now_s: float) -> Held | None:
        """The point, with a claim of this producer on it; None where there is no room for one."""
        key = one.group, one.point
        held = self._points.get(key)
        if held is not None and producer.clock in held.claims:
            return held
        if producer.claims >= MAX_POINTS:
            self._tidy(now_s)
        if producer.claims >= MAX_POINTS:
            return None
        held = self._points.setdefault(key, Held(f"{one.group}/{one.point}"))
        held.claims[producer.clock] = Claim(producer, now_s)
        producer.claims += 1
        return held

    def _tidy(self, now_s: float) -> None:
        """Forget what is lost, at most once a second: junk that fills every place must not cost a search a packet."""
        if now_s - self._tidied_s < _TIDY_S:
            return
        self._tidied_s = now_s
        for key, held in list(self._points.items()):
            gone = [clock for clock, claim in held.claims.items() if claim.lost(now_s)]
            for clock in gone:
                held.claims.pop(clock).producer.claims -= 1
            if not held.claims:
                del self._points[key]
            elif gone:
                held.settle(now_s)
        for cid, producer in list(self._producers.items()):
            if now_s - producer.heard_s > LOSS_S:
                del self._producers[cid]


def _sampled(one: Measured, message: Message) -> int | None:
    """When the point was sampled, if that can be: not said as 0, not after its message, not from before a loss."""
    sane = one.sampled_us and -_AHEAD_US <= message.timestamp_us - one.sampled_us <= _BEHIND_US
    return one.sampled_us if sane else None
