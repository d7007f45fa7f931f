"""What `listen` and `check --live` hear of tracking inputs: sockets beside a running bridge, and rows of points."""

from __future__ import annotations

import select
import time
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from bridge.daemon import clock
from bridge.daemon.input_ears import InputEars
from bridge.daemon.input_socket import Where, where
from bridge.daemon.link import trouble
from bridge.door.inbox import AllowList
from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Point3
from bridge.show.model import Show
from bridge.wire.settings import InputSettings

TURN_S = 0.05


class PointRow(NamedTuple):
    """A point: `place` in the input's axes, `stage` on the stage where there is a frame; which targets follow it.

    Rate and jitter (one sigma of the gaps between packets) are of its last whole second.
    """

    point: str
    name: str
    place: Point3
    stage: Point3 | None
    rate_hz: float
    jitter_ms: float
    age_ms: float
    host: str
    targets: tuple[str, ...]


class Listening:
    """One input of a show. NetworkError where it cannot be listened to."""

    def __init__(self, show: Show, name: str) -> None:
        network = show.network
        self.name, self.settings = name, network.inputs[name]
        self.frame: InputFrame | None = show.frames.get(name)
        self.interface = network.sacn.interface
        self.at: Where = where(self.settings, self.interface)
        self.ears = InputEars(self.settings, self.at, AllowList(network.osc.allow))
        self.targets: dict[str, tuple[str, ...]] = {}
        for target in show.stage.targets:
            for source in target.sources:
                if source.input == name:
                    self.targets[source.point] = (*self.targets.get(source.point, ()), target.name)
        self.ears.points.always = frozenset(self.targets)

    def read(self) -> None:
        """What has come."""
        while not self.ears.read(clock.now_s, float("inf"))[1]:
            pass

    def rows(self, now_s: float) -> list[PointRow]:
        """Points that are heard, in the order of their numbers."""
        names: dict[str, str] = getattr(self.ears.reader, "names", {})
        there = self.ears.points.there(now_s)
        return [
            PointRow(
                name,
                names.get(name, ""),
                heard.place,
                None if self.frame is None else self.frame.place(heard.place),
                heard.rate_hz,
                1e3 * heard.jitter_s,
                1e3 * (now_s - heard.at_s),
                heard.host,
                self.targets.get(name, ()),
            )
            for name, heard in sorted(there.items(), key=lambda item: _number(item[0]))
        ]

    def missing(self, now_s: float) -> list[str]:
        """Points that targets follow and that are not heard, with those targets."""
        there = self.ears.points.there(now_s)
        return [f"{point} ({', '.join(of)})" for point, of in self.targets.items() if point not in there]

    def remarks(self, now_s: float) -> list[str]:
        """What a person should know of what is heard: a frame that is missing, strangers, packets that are wrong."""
        said = [f"{point} is not heard" for point in self.missing(now_s)]
        if self.frame is None:
            said.append("no frame in frames.yaml: places are the input's own, and it is not followed yet")
        strangers = self.ears.strangers
        said += [f"{n} packets of {host}, which is not in `osc: allow`: not heard" for host, n in strangers.items()]
        words = ", ".join(f"{n} {word}" for word, n in sorted(self.ears.reader.counters.items()) if n)
        return [*said, f"packets: {words}"] if words else said

    def silence(self, others: Sequence[str] = ()) -> list[str]:
        """What to look at when nothing is heard at all; `others` is what else was heard where it might be."""
        if self.ears.strangers:
            host = next(iter(self.ears.strangers))
            return [f"packets come, from {host}, which is not in `osc: allow` of network.yaml"]
        if self.ears.packets:
            last = getattr(self.ears.reader, "last_refusal", "")
            words = ", ".join(f"{n} {word}" for word, n in sorted(self.ears.reader.counters.items()))
            return [f"packets come but give no place: {words}{'; ' if last else ''}{last}"]
        said = []
        if link := trouble(self.at.interface or self.at.host):
            said.append(link)
        said += [f"heard instead: {other}" for other in others]
        return [*said, *_advice(self.settings, self.at)]

    def close(self) -> None:
        """Hear nothing any more."""
        self.ears.close()


def _advice(settings: InputSettings, at: Where) -> list[str]:
    how = {
        "otp": f"does the producer send system {settings.system}",
        "psn": f"does the server send to {at.host}:{at.port}",
        "adm-osc": f"does the sender send to this machine, port {at.port}",
    }[settings.protocol]
    if at.interface:
        return [
            f"{how}, and on the network of {at.interface}? (`interface` of the input in network.yaml)",
            f"does the switch pass multicast (IGMP), and this machine's firewall UDP {at.port}?",
        ]
    loopback = ", from this machine alone: it listens on loopback" if at.host in ("127.0.0.1", "::1") else ""
    return [f"{how}{loopback}?", f"does this machine's firewall pass UDP {at.port}?"]


def _number(point: str) -> tuple[Any, ...]:
    return tuple(int(part) if part.isdigit() else 0 for part in point.split("/")), point


def wait(listenings: Iterable[Listening], until_s: float) -> None:
    """Hear these until then (the daemon's clock)."""
    found = list(listenings)
    while (left_s := until_s - clock.now_s()) > 0.0:
        ready, _, _ = select.select([one.ears.fileno() for one in found], (), (), min(left_s, TURN_S))
        for one in found:
            if one.ears.fileno() in ready:
                one.read()
        if not found:
            time.sleep(min(left_s, TURN_S))
