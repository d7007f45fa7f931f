"""What `check` says of the panel: who can open it, and whether the bridge would hear it."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from typing import NamedTuple

from bridge.wire.settings import Network, reached_at


class Said(NamedTuple):
    """`level` as of a finding, and its text; all are about network.yaml."""

    level: str
    what: str


def about_the_panel(network: Network) -> Iterator[Said]:
    """Addresses of `network` are resolved. The panel that `run` starts sends from the address that OSC is heard on."""
    if network.panel is None:
        yield Said("note", "panel: off; the bridge is operated by OSC alone")
        return
    sender = reached_at(network.osc.host)
    if not _allowed(sender, network.osc.allow):
        text = (
            f"panel: the page that `run` starts sends from {sender}, which `osc: allow` leaves out, so nothing that is "
            f"pressed there would be obeyed; add {sender} to `osc: allow`, or say `panel: off`"
        )
        yield Said("warning", text)
    host = network.panel.host
    if not _is_loopback(host):
        text = (
            f"panel: {host} can be reached from the network: pages from elsewhere need the key that `run` prints, and "
            "without --tls that key can be read on the way; use a closed lighting network"
        )
        yield Said("note", text)


def _allowed(host: str, networks: tuple[str, ...]) -> bool:
    try:
        address = ipaddress.ip_address(host)
    except ValueError:  # the name of an interface that is not there: said elsewhere
        return True
    return any(address in ipaddress.ip_network(text, strict=False) for text in networks)


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
