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
class Network:
    """Everything `network.yaml` says; the defaults stand where it is silent."""

    osc: OscSettings = field(default_factory=OscSettings)
    sacn: SacnSettings = field(default_factory=SacnSettings)
    panel_host: str = "127.0.0.1"
    panel_port: int = 8787
    lost_input: LostInput = field(default_factory=LostInput)
