"""A stand-in for the daemon, in process: the sight messages of the contract to slots, no motion of its own."""

from __future__ import annotations

import numpy as np

from bridge.rig.fixture import Fixture
from bridge.show.model import Show
from bridge.venue.simulation import Venue


class FakeDaemon:
    """Obeys `/sight/FIX/...`; `records` holds (fixture, mark) -> (pan, tilt) in degrees as sent."""

    def __init__(self, show: Show) -> None:
        self.fixtures = {f.name: f for f in show.fixtures}
        self.aim = {name: [0.0, 45.0] for name in self.fixtures}
        self.level = dict.fromkeys(self.fixtures, 0.0)
        self.records: dict[tuple[str, str], tuple[float, float]] = {}
        self.done: set[str] = set()
        self.solves = 0

    def say(self, address: str, *args: float | str) -> None:
        if address == "/sight/solve":
            self.solves += 1
            return
        _, sight, name, verb = address.split("/")
        assert sight == "sight"
        if verb == "point":
            self._turn(name, float(args[0]), float(args[1]))
        elif verb == "nudge":
            pan, tilt = self.aim[name]
            self._turn(name, pan + float(args[0]), tilt + float(args[1]))
        elif verb == "level":
            self.level[name] = float(args[0])
        elif verb == "record":
            self.records[name, str(args[0])] = (self.aim[name][0], self.aim[name][1])
        elif verb == "done":
            self.done.add(name)
        else:
            raise AssertionError(f"nobody may say {address}")

    def _turn(self, name: str, pan: float, tilt: float) -> None:
        profile = self.fixtures[name].profile
        inside = all(
            min(a.from_deg, a.to_deg) <= v <= max(a.from_deg, a.to_deg)
            for a, v in ((profile.pan, pan), (profile.tilt, tilt))
        )
        if inside:  # out of range is refused, as the contract says
            self.aim[name] = [pan, tilt]

    def play(self, venue: Venue) -> None:
        """Put the slots on the venue's universes."""
        universes = {f.universe: bytearray(512) for f in self.fixtures.values()}
        for name, fixture in self.fixtures.items():
            self._write(universes[fixture.universe], name, fixture)
        for universe, slots in universes.items():
            venue.hear(universe, bytes(slots))

    def _write(self, slots: bytearray, name: str, fixture: Fixture) -> None:
        profile, (pan, tilt) = fixture.profile, self.aim[name]
        shares = {
            "pan": (pan - profile.pan.from_deg) / (profile.pan.to_deg - profile.pan.from_deg),
            "tilt": (tilt - profile.tilt.from_deg) / (profile.tilt.to_deg - profile.tilt.from_deg),
            "dimmer": self.level[name],
            "zoom": 1.0,
        }
        for channel, share in shares.items():
            offsets = profile.channels[channel]
            raw = int(np.floor(share * (256 ** len(offsets) - 1) + 0.5))
            for offset, octet in zip(offsets, raw.to_bytes(len(offsets), "big"), strict=True):
                slots[fixture.address - 2 + offset] = octet
