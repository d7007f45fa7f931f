"""What `network.yaml` says, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, field


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
class Network:
    """Everything `network.yaml` says; the defaults stand where it is silent.

    Hosts and interfaces are as written: an address, or the name of an interface of the machine that opens the sockets.
    `panel` is None where it is off, `record` where nothing is recorded.
    """

    osc: OscSettings = field(default_factory=OscSettings)
    sacn: SacnSettings = field(default_factory=SacnSettings)
    panel: PanelSettings | None = field(default_factory=PanelSettings)
    lost_input: LostInput = field(default_factory=LostInput)
    record: RecordSettings | None = None


def reached_at(host: str) -> str:
    """The address at which this machine reaches what listens on `host` of its own."""
    return {"0.0.0.0": "127.0.0.1", "": "127.0.0.1", "localhost": "127.0.0.1", "::": "::1"}.get(host, host)
