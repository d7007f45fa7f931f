"""Slots of the desk as an operator: what those that changed ask for, as messages for the same door as OSC's.

A desk that is lost asks for nothing: its slots are held here, also where `lost: dark` shows them as 0 on stage.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from bridge.door.events import DeskFrame, Message
from bridge.follow.commands.targets import DESK
from bridge.follow.keeping import Data
from bridge.rig.fixture import Fixture
from bridge.rig.profile import Axis
from bridge.show.addresses import takes_nothing
from bridge.wire.settings import Control, DeskGuide, DeskSettings

SENDER = DESK
RENEW_S = 0.4
"""A target of an `alive` control is renewed so often: a velocity ends after 0.5 s."""
CHOICE_SLACK = {8: 2, 16: 512}
"""So far below its lowest value a choice is kept, by bits: a fader that trembles at an edge chooses once."""
UNHEARD = -1

Args = tuple[float | str, ...]
Said = tuple[str, Args]
Place = tuple[int, tuple[int, ...]]
"""A universe and the addresses of one number on it, from 1, coarse first."""


def messages(said: Iterable[Said], at_s: float) -> list[Message]:
    """What the desk asks for, as if it had come by OSC."""
    return [Message(at_s, SENDER, address, args) for address, args in said]


class Reader(ABC):
    """Slots that are read together: `raws` as they were last, `chosen` what a switch or a choice stands at.

    `key` is what makes it the same reader after the show was read again.
    """

    def __init__(self, key: object, to: str, places: tuple[Place, ...], alive: bool = False) -> None:
        self.key, self.to, self.places, self.alive = key, to, places, alive
        self.universes = frozenset(universe for universe, _ in places)
        self.raws: tuple[int, ...] | None = None
        self.chosen = UNHEARD

    def look(self, frames: Mapping[int, bytes]) -> Args | None:
        """The arguments that are asked for now; None while nothing new is, or not all universes were heard."""
        if not self.universes <= frames.keys():
            return None
        raws = tuple(_number(frames[universe], addresses) for universe, addresses in self.places)
        if raws == self.raws:
            return None
        self.raws = raws
        return self.ask(raws)

    @abstractmethod
    def ask(self, raws: tuple[int, ...]) -> Args | None:
        """What these raw values, other than the last ones, ask for."""


class Values(Reader):
    """A number for each slot: exactly `first` at 0 and `last` at full, a straight line between."""

    def __init__(self, control: Control) -> None:
        super().__init__(control, control.to, _places(control), control.alive)
        self._ends = tuple(zip(control.first, control.last, strict=True))
        self._full = (1 << control.bits) - 1

    def ask(self, raws: tuple[int, ...]) -> Args:
        """All of them, also those that stand."""
        full = self._full
        return tuple(
            last if raw == full else first + (last - first) * (raw / full)
            for raw, (first, last) in zip(raws, self._ends, strict=True)
        )


class Switch(Reader):
    """1 once above `above`, 0 once below `below` (at 0 in any case); at first only a 1.

    What takes no arguments is sent without any once it is above, and not below.
    """

    def __init__(self, control: Control) -> None:
        super().__init__(control, control.to, _places(control), control.alive)
        self._above = control.above or 0
        self._below = max(control.below or 0, 1)
        self._bare = takes_nothing(control.to)

    def ask(self, raws: tuple[int, ...]) -> Args | None:
        """1 or 0, where that is new."""
        (raw,) = raws
        before = self.chosen
        if raw > self._above:
            self.chosen = 1
        elif raw < self._below or before == UNHEARD:
            self.chosen = 0
        if self.chosen == max(before, 0) or (self._bare and not self.chosen):
            return None
        return () if self._bare else (self.chosen,)


class Choice(Reader):
    """Arguments by the band that the value lies in. A band begins at its lowest value and is left CHOICE_SLACK below
    it, but at the lowest value of the next band down at the latest."""

    def __init__(self, control: Control) -> None:
        super().__init__(control, control.to, _places(control), control.alive)
        self._lowest = [lowest for lowest, _ in control.choose]
        self._args = [args for _, args in control.choose]
        self._slack = CHOICE_SLACK[control.bits]

    def ask(self, raws: tuple[int, ...]) -> Args | None:
        """The arguments of a band that was not chosen before; below the first nothing is chosen."""
        (raw,) = raws
        before = self.chosen
        band = sum(raw >= lowest for lowest in self._lowest) - 1
        if band < before:
            under = self._lowest[before - 1] if before else 0
            band = before if raw > under and raw >= self._lowest[before] - self._slack else band
        self.chosen = band
        return None if band in (before, UNHEARD) else self._args[band]


class Guide(Reader):
    """The desk's pan and tilt of one fixture, in degrees by its profile, steer a target."""

    def __init__(self, guide: DeskGuide, fixture: Fixture, universe: int) -> None:
        channels = fixture.profile.channels
        places = tuple(
            (universe, tuple(fixture.address + offset - 1 for offset in channels[name])) for name in ("pan", "tilt")
        )
        super().__init__((guide, places), f"/target/{guide.target}/pointing", places, guide.alive)
        self._fixture = fixture

    def ask(self, raws: tuple[int, ...]) -> Args:
        """FIXTURE pan tilt."""
        profile = self._fixture.profile
        pan = _degrees(profile.pan, raws[0], profile.full_scale("pan"))
        tilt = _degrees(profile.tilt, raws[1], profile.full_scale("tilt"))
        return self._fixture.name, pan, tilt


class Controls:
    """All that the desk operates by `network.yaml`: frames of its universes in, messages out, in the file's order."""

    def __init__(self, settings: DeskSettings, fixtures: Sequence[Fixture]) -> None:
        self._readers: list[Reader] = [_reader(control) for control in settings.controls]
        self._readers += _guides(settings, fixtures)
        self._frames: dict[int, bytes] = {}
        self._alive: set[int] = set()
        self._renewed_s = -math.inf

    def take(self, frames: Iterable[DeskFrame]) -> list[Said]:
        """What the slots ask for that changed with these frames: (address, arguments)."""
        heard = set()
        for frame in frames:
            if frame.alive:
                self._frames[frame.universe] = frame.slots
                self._alive.add(frame.universe)
                heard.add(frame.universe)
            else:
                self._alive.discard(frame.universe)
        return self._look(reader for reader in self._readers if not heard.isdisjoint(reader.universes))

    def alive(self, now_s: float) -> list[Said]:
        """Signs of life that are due for targets of `alive` controls whose universes are alive.

        A velocity is said again instead. What of these is refused (somebody else steers) needs no telling.
        """
        if now_s - self._renewed_s < RENEW_S:
            return []
        self._renewed_s = now_s
        said: dict[str, Args] = {}
        for reader in self._readers:
            words = reader.to.split("/")
            if not reader.alive or reader.raws is None or len(words) != 4 or not reader.universes <= self._alive:
                continue
            if words[3] == "velocity" and isinstance(reader, Values):
                said[reader.to] = reader.ask(reader.raws)
            else:
                said[f"/target/{words[2]}/alive"] = ()
        return list(said.items())

    def take_over(self, before: Controls) -> list[Said]:
        """Another show: go on from the controls `before`; controls that are new ask at once."""
        known = {reader.key: reader for reader in before._readers}
        for reader in self._readers:
            if (same := known.get(reader.key)) is not None:
                reader.raws, reader.chosen = same.raws, same.chosen
        self._frames, self._alive = dict(before._frames), set(before._alive)
        self._renewed_s = before._renewed_s
        return self._look(self._readers)

    def state(self) -> Data:
        """Everything that later messages depend on, as plain data."""
        return {
            "frames": {str(universe): slots.hex() for universe, slots in self._frames.items()},
            "alive": sorted(self._alive),
            "renewed_s": self._renewed_s,
            "stand": [[reader.raws, reader.chosen] for reader in self._readers],
        }

    def restore(self, data: Any) -> None:
        """Take up what `state` gave, under the same show."""
        self._frames = {int(universe): bytes.fromhex(slots) for universe, slots in data["frames"].items()}
        self._alive = set(data["alive"])
        self._renewed_s = float(data["renewed_s"])
        for reader, (raws, chosen) in zip(self._readers, data["stand"], strict=True):
            reader.raws, reader.chosen = None if raws is None else tuple(raws), int(chosen)

    def _look(self, readers: Iterable[Reader]) -> list[Said]:
        asked = ((reader.to, reader.look(self._frames)) for reader in readers)
        return [(to, args) for to, args in asked if args is not None]


def _reader(control: Control) -> Reader:
    if control.choose:
        return Choice(control)
    return Values(control) if control.above is None else Switch(control)


def _guides(settings: DeskSettings, fixtures: Sequence[Fixture]) -> list[Reader]:
    """The guide, if there is one and the desk's universe under its fixture is known."""
    guide, under = settings.guide, settings.under({fixture.universe for fixture in fixtures})
    found = [f for f in fixtures if guide is not None and f.name == guide.fixture and f.universe in under]
    return [Guide(guide, fixture, under[fixture.universe]) for fixture in found] if guide is not None else []


def _places(control: Control) -> tuple[Place, ...]:
    octets = control.bits // 8
    return tuple((universe, tuple(range(address, address + octets))) for universe, address in control.slots)


def _number(slots: bytes, addresses: tuple[int, ...]) -> int:
    return int.from_bytes(bytes(slots[address - 1] for address in addresses))


def _degrees(axis: Axis, raw: int, full: int) -> float:
    return axis.from_deg + (axis.to_deg - axis.from_deg) * (raw / full)
