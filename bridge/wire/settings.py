"""What `network.yaml` says, as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

Slot = tuple[int, int]
"""A universe, and an address on it from 1."""


@dataclass(frozen=True)
class OscSettings:
    """Where to listen for OSC and which senders (networks in CIDR form) are heard."""

    host: str = "127.0.0.1"
    port: int = 9000
    allow: tuple[str, ...] = ("127.0.0.0/8",)


@dataclass(frozen=True)
class SacnSettings:
    """`destinations` empty means multicast; `synchronise` is a universe or None; `contested` refuse | send."""

    interface: str = "127.0.0.1"
    destinations: tuple[tuple[str, int], ...] = ()
    priority: int = 110
    source_name: str = "Tetherlight"
    rate: float = 44.0
    synchronise: int | None = None
    contested: str = "refuse"


@dataclass(frozen=True)
class LostInput:
    """After `after` s without a message from the target's sender: `hold`, or go `dark` over `fade` s."""

    after: float = 2.0
    then: str = "hold"
    fade: float = 3.0


@dataclass(frozen=True)
class PanelSettings:
    """Where the panel is served."""

    host: str = "127.0.0.1"
    port: int = 8787


@dataclass(frozen=True)
class RecordSettings:
    """Where captures are kept (`folder`: a path from the show folder, inside it) and how long and how many of them."""

    folder: str = "captures"
    days: float = 14.0
    megabytes: float = 2000.0


@dataclass(frozen=True)
class Control:
    """Slots of the desk that operate an OSC address: one of three kinds.

    A value for each of `slots` (`bits` 16: the next address holds the fine byte), each an argument of `to`, from
    `first` at 0 to `last` at full. A switch of one slot: 1 once it is above `above`, 0 once it is below `below`. A
    choice of one slot: `choose` holds (lowest value, arguments), rising; below the first of them nothing is sent.
    `alive`: the desk's packets are a sign of life for the target in `to`, also while nothing changes.
    """

    slots: tuple[Slot, ...]
    to: str
    bits: int = 8
    first: tuple[float, ...] = ()
    last: tuple[float, ...] = ()
    above: int | None = None
    below: int | None = None
    choose: tuple[tuple[int, tuple[float | str, ...]], ...] = ()
    alive: bool = False


@dataclass(frozen=True)
class DeskGuide:
    """The desk's pan and tilt of `fixture` steer `target`. `alive`: as of Control."""

    fixture: str
    target: str
    alive: bool = False


@dataclass(frozen=True)
class DeskSettings:
    """How we send beside a desk. `way`: overlay | by-slot; `universes`: the desk's by ours (by-slot: {} for the same).

    `own` are channels of ours, `dimmer` multiply | ours, unless a fixture says otherwise; `lost`: hold | dark.
    """

    way: str = "overlay"
    universes: Mapping[int, int] = field(default_factory=dict)
    interface: str | None = None
    own: tuple[str, ...] = ("pan", "tilt", "zoom", "focus", "dimmer")
    dimmer: str = "multiply"
    lost: str = "hold"
    controls: tuple[Control, ...] = ()
    guide: DeskGuide | None = None

    @property
    def by_slot(self) -> bool:
        """Whether nodes put the slots together, by the priority of each."""
        return self.way == "by-slot"

    def under(self, patched: Iterable[int]) -> dict[int, int]:
        """The desk's universe under each of our `patched` ones that has one."""
        if self.by_slot and not self.universes:
            return {universe: universe for universe in patched}
        return {universe: self.universes[universe] for universe in patched if universe in self.universes}

    def heard(self, patched: Iterable[int]) -> tuple[int, ...]:
        """Every universe on which the desk is listened to, rising."""
        slots = {universe for control in self.controls for universe, _ in control.slots}
        return tuple(sorted(slots.union(self.under(patched).values())))


@dataclass(frozen=True)
class InputSettings:
    """Where a tracking system is heard. `protocol`: otp | psn | adm-osc.

    otp: its `system` 1..200 on `interface` (None: sacn's); psn: at the multicast group and port `host`, `port` on
    `interface`; adm-osc: `host` and `port` are where we listen.
    """

    protocol: str
    interface: str | None = None
    system: int = 1
    host: str = ""
    port: int = 0


@dataclass(frozen=True)
class Network:
    """Everything `network.yaml` says; the defaults stand where it is silent.

    Hosts and interfaces are as written: an address, or the name of an interface of the machine that opens the sockets.
    `panel` is None where it is off, `record` where nothing is recorded, `desk` where we send alone. `inputs` are by
    name.
    """

    osc: OscSettings = field(default_factory=OscSettings)
    sacn: SacnSettings = field(default_factory=SacnSettings)
    panel: PanelSettings | None = field(default_factory=PanelSettings)
    lost_input: LostInput = field(default_factory=LostInput)
    record: RecordSettings | None = None
    desk: DeskSettings | None = None
    inputs: Mapping[str, InputSettings] = field(default_factory=dict)


def reached_at(host: str) -> str:
    """The address at which this machine reaches what listens on `host` of its own."""
    return {"0.0.0.0": "127.0.0.1", "": "127.0.0.1", "localhost": "127.0.0.1", "::": "::1"}.get(host, host)
