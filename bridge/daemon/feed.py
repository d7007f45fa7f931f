"""The feed: the state, as OSC bundles, to whoever subscribed within the last 10 s.

/feed/bridge   armed dark still master universes contested taken refused send_errors packets locked
/feed/target   name x y z inside age_ms      age -1 before the first input
/feed/fixture  name state pan tilt level
/feed/universe number word other priority    sent | refused | overruled | waiting; another source there, if any
/feed/trim     kind name dx dy               fixture or truss; only what is trimmed
/feed/behind   name metres                   a lit head whose motors do not keep up; 0 once when it has caught up
/feed/desk     universe source priority alive age_ms    beside a desk; source "", age -1 before it was heard
/feed/input    name protocol points rate_hz jitter_ms age_ms framed followed lost refused   once a second: input_report
/feed/point    input point x y z rate_hz age_ms          to those who subscribed to `all`, four times a second
/feed/refused  address reason text [sender]  to the host that sent it; which sender, to whoever asked for all
/feed/kept     part on_disk                  what was switched is on disk, or could not be written
/feed/hand and others                         to those who subscribed to `all`: see feed_details.py
/feed/notice   text     something a person should know; /feed/sighting, /feed/solve and others: see focus.py
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from bridge.daemon.input_report import InputRow, PointTold
from bridge.daemon.logs import printable
from bridge.daemon.status import Rows
from bridge.door.controls import SENDER as DESK
from bridge.errors import Refused
from bridge.wire import osc

FOR_S = 10.0
ALL = "all"
RATES_HZ = (0.1, 60.0)
MAX_SUBSCRIBERS = 16
REFUSED_AGAIN_S = 1.0
MOST_REFUSALS = 1000
MAX_OCTETS = 1400
"""A datagram this long crosses any Ethernet whole."""

Address = tuple[str, int]
Send = Callable[[bytes, Address], None]
_THREE_FLOATS = struct.Struct(">fff")


@dataclass
class _Subscriber:
    period_s: float
    until_s: float
    next_s: float
    all: bool = False
    behind: frozenset[str] = frozenset()
    """Heads that it was told last to be behind."""


class Feed:
    """Who is told, and when. `send(datagram, address)` must not block and must not raise."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._subscribers: dict[Address, _Subscriber] = {}
        self._heads: dict[tuple[str, str], bytes] = {}
        self._refusals: dict[tuple[str, str, str], float] = {}

    def subscribe(self, host: str, port: object, rate_hz: object, now_s: float, more: object = None) -> None:
        """Feed this host and port for FOR_S from now; raises Refused outside the bounds.

        `more` is "all" where the rows of feed_details.py are asked for as well.
        """
        if more not in (None, ALL):
            raise Refused(
                "range", f"/feed/subscribe: found {more!r:.40} after port and rate, expected {ALL}, or nothing"
            )
        if isinstance(port, bool) or not isinstance(port, int | float) or port != int(port):
            raise Refused("range", f"/feed/subscribe: port {port!r}, expected a whole number 1 to 65535")
        if not 1 <= port <= 65535:
            raise Refused("range", f"/feed/subscribe: port {port}, expected 1 to 65535")
        if isinstance(rate_hz, bool) or not isinstance(rate_hz, int | float):
            raise Refused("range", f"/feed/subscribe: rate {rate_hz!r}, expected a number of Hz")
        if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
            raise Refused("range", f"/feed/subscribe: rate {rate_hz:g}, expected {RATES_HZ[0]} to {RATES_HZ[1]:g} Hz")
        self._expire(now_s)
        address = (host, int(port))
        known = self._subscribers.get(address)
        if known is None and len(self._subscribers) >= MAX_SUBSCRIBERS:
            raise Refused("subscribers", f"/feed/subscribe: {MAX_SUBSCRIBERS} subscribers already, wait 10 s")
        next_s = min(known.next_s, now_s + 1.0 / rate_hz) if known else now_s
        behind = known.behind if known else frozenset()
        self._subscribers[address] = _Subscriber(1.0 / rate_hz, now_s + FOR_S, next_s, more == ALL, behind)

    def due(self, now_s: float) -> list[Address]:
        """Who is to be told now; they are then due again one period later, never in a burst."""
        if not self._subscribers:
            return []
        self._expire(now_s)
        due = [(address, s) for address, s in self._subscribers.items() if now_s >= s.next_s]
        for _, subscriber in due:
            subscriber.next_s = max(subscriber.next_s + subscriber.period_s, now_s)
        return [address for address, _ in due]

    def tell(
        self,
        addresses: Sequence[Address],
        bridge: tuple[Any, ...],
        rows: Rows,
    ) -> None:
        """Send the whole state to these subscribers."""
        messages = [osc.encode("/feed/bridge", *bridge)]
        messages += [_target(*target) for target in rows.targets]
        messages += [self._fixture(*fixture) for fixture in rows.fixtures]
        messages += [osc.encode("/feed/universe", *universe) for universe in rows.universes]
        messages += [osc.encode("/feed/trim", *trim) for trim in rows.trims]
        messages += [_desk(*row) for row in rows.desk]
        behind = dict(rows.behind)
        messages += [_behind(*row) for row in behind.items()]
        self.send(messages, addresses)
        for address in addresses:
            self._tell_caught_up(address, frozenset(behind))

    def _tell_caught_up(self, address: Address, behind: frozenset[str]) -> None:
        """Tell once who is not behind any more."""
        subscriber = self._subscribers.get(address)
        if subscriber is not None and subscriber.behind != behind:
            before, subscriber.behind = subscriber.behind, behind
            self.send([_behind(name, 0.0) for name in sorted(before - behind)], [address])

    def asking_all(self) -> list[Address]:
        """Who asked for all rows."""
        return [address for address, s in self._subscribers.items() if s.all]

    def send(self, messages: Iterable[bytes], addresses: Iterable[Address]) -> None:
        """Send these messages, in as few bundles as hold them."""
        datagrams = bundles(messages)
        for address in addresses:
            for datagram in datagrams:
                self._send(datagram, address)

    def inputs(self, rows: Iterable[InputRow]) -> None:
        """Tell everybody how tracking inputs are."""
        if self._subscribers:
            self.send([_input(row) for row in rows], list(self._subscribers))

    def points(self, rows: Iterable[PointTold]) -> None:
        """Tell those who asked for all where points are heard."""
        self.send([osc.encode("/feed/point", *row) for row in rows], self.asking_all())

    def event(self, address: str, *args: osc.Argument) -> None:
        """One message, at once, to everybody who subscribed; texts may come from anybody and are made printable."""
        safe = [shown(arg) if isinstance(arg, str) else arg for arg in args]
        datagram = osc.encode_bundle([osc.encode(address, *safe)])
        for subscriber in self._subscribers:
            self._send(datagram, subscriber)

    def refused(self, host: str, address: str, reason: str, text: str, now_s: float, sender: str = "") -> None:
        """Tell who sent a message that it was not obeyed: the first of each address and reason, then one a second.

        Whoever asked for all hears which `sender` of the host it was, too; and what the desk asked for in vain.
        """
        told = [address for address, s in self._subscribers.items() if address[0] == host or (host == DESK and s.all)]
        key = (sender or host, address, reason)
        if not told or now_s - self._refusals.get(key, -math.inf) < REFUSED_AGAIN_S:
            return
        if len(self._refusals) >= MOST_REFUSALS:  # a flood of made-up addresses must not fill memory
            self._refusals.clear()
        self._refusals[key] = now_s
        words = shown(address), reason, shown(text)
        for subscriber in told:
            more = (shown(sender or host),) if self._subscribers[subscriber].all else ()
            self._send(osc.encode_bundle([osc.encode("/feed/refused", *words, *more)]), subscriber)

    def _expire(self, now_s: float) -> None:
        for address in [a for a, s in self._subscribers.items() if s.until_s <= now_s]:
            del self._subscribers[address]

    def _fixture(self, name: str, state: str, pan_deg: float, tilt_deg: float, level: float) -> bytes:
        """The texts before the numbers rarely change: they are encoded once for each fixture and state."""
        head = self._heads.get((name, state))
        if head is None:
            head = osc.encode("/feed/fixture", name, state, 0.0, 0.0, 0.0)[:-12]
            self._heads[name, state] = head
        return head + _THREE_FLOATS.pack(pan_deg, tilt_deg, level)


def _target(name: str, x: float, y: float, z: float, inside: bool, age_s: float) -> bytes:
    x, y, z = (float(value) if math.isfinite(value) else 0.0 for value in (x, y, z))
    return osc.encode("/feed/target", name, x, y, z, bool(inside), _age_ms(age_s))


def _desk(universe: int, source: str, priority: int, alive: bool, age_s: float) -> bytes:
    return osc.encode("/feed/desk", universe, shown(source), priority, bool(alive), _age_ms(age_s))


def _behind(name: str, metres: float) -> bytes:
    return osc.encode("/feed/behind", name, metres)


def _input(row: InputRow) -> bytes:
    name, protocol, points, rate_hz, jitter_ms, age_ms, framed, followed, lost, refused = row
    numbers = points, rate_hz, jitter_ms, age_ms, int(framed)
    return osc.encode("/feed/input", shown(name), protocol, *numbers, shown(followed), shown(lost), refused)


def _age_ms(age_s: float) -> float:
    return float(age_s * 1000.0) if math.isfinite(age_s) else -1.0


def shown(text: str) -> str:
    """Printable, and no longer than every reader of OSC takes."""
    return printable(text).encode()[: osc.MAX_STRING].decode(errors="ignore")


def bundles(messages: Iterable[bytes]) -> list[bytes]:
    """As few bundles as hold the messages in datagrams of at most MAX_OCTETS."""
    out: list[bytes] = []
    part: list[bytes] = []
    size = 16
    for message in messages:
        if part and size + 4 + len(message) > MAX_OCTETS:
            out.append(osc.encode_bundle(part))
            part, size = [], 16
        part.append(message)
        size += 4 + len(message)
    if part:
        out.append(osc.encode_bundle(part))
    return out
