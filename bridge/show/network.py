"""Schema of `network.yaml`: ports and universes. Addresses and networks are only read here; nothing is opened."""

from __future__ import annotations

import ipaddress
import re

from bridge.show.folder import versioned
from bridge.show.mapping import Mapping
from bridge.show.rig import MOST_UNIVERSE
from bridge.show.values import bad, choice, list_of, number, text, whole
from bridge.show.yaml12 import Node
from bridge.wire.settings import LostInput, Network, OscSettings, SacnSettings

SACN_PORT = 5568
MOST_NAME_BYTES = 63
MOST_RATE = 1000.0
_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?")
Endpoint = tuple[str, int]


def read_network(node: Node) -> Network:
    """The whole network file. Raises Bad with everything that is wrong in it."""
    top = versioned(node)
    osc, sacn, panel = OscSettings(), SacnSettings(), Network()
    default_panel = (panel.panel_host, panel.panel_port)
    osc = top.optional("osc", _osc, osc)
    sacn = top.optional("sacn", _sacn, sacn)
    host, port = top.optional("panel", _panel, default_panel)
    lost_input = top.optional("lost_input", _lost_input, LostInput())
    top.done()
    return Network(osc, sacn, host, port, lost_input)


def _osc(node: Node) -> OscSettings:
    m = Mapping(node)
    host, port = m.optional("listen", _listen, ("127.0.0.1", 9000))
    allow = m.optional("allow", list_of(_cidr, 1, what="a list of networks, a list"), ["127.0.0.0/8"])
    m.done()
    return OscSettings(host, port, tuple(allow))


def _panel(node: Node) -> Endpoint:
    m = Mapping(node)
    listen = m.optional("listen", _listen, ("127.0.0.1", 8787))
    m.done()
    return listen


def _sacn(node: Node) -> SacnSettings:
    m = Mapping(node)
    settings = SacnSettings(
        interface=m.optional("interface", _ipv4, "127.0.0.1"),
        destinations=m.optional("to", _destinations, ()),
        priority=m.optional("priority", whole(0, 200), 110),
        source_name=m.optional("source_name", _source_name, "Tetherlight"),
        rate=m.optional("rate", number(0, MOST_RATE, above=True, unit="packets/s"), 44.0),
        synchronise=m.optional("synchronise", _synchronise, None),
        contested=m.optional("contested", choice("refuse", "send"), "refuse"),
    )
    m.done()
    return settings


def _lost_input(node: Node) -> LostInput:
    m = Mapping(node)
    settings = LostInput(
        m.optional("after", number(0, 86_400, above=True, unit="s"), 2.0),
        m.optional("then", choice("hold", "dark"), "hold"),
        m.optional("fade", number(0, 3600, unit="s"), 3.0),
    )
    m.done()
    return settings


def _split(written: str) -> tuple[str, str] | None:
    """host and port texts of `host:port` or `[v6]:port`."""
    host, colon, port = written.rpartition(":")
    if not colon or not re.fullmatch(r"[0-9]{1,5}", port):
        return None
    return host, port


def _host(written: str) -> str | None:
    """A literal address (IPv6 in brackets) or a host name; None for anything else."""
    bare = written[1:-1] if written.startswith("[") and written.endswith("]") else written
    try:
        return str(ipaddress.ip_address(bare))
    except ValueError:
        pass
    looks_numeric = re.fullmatch(r"[0-9.]+", bare) is not None
    return bare if _HOST.fullmatch(bare) and not looks_numeric and bare == written else None


def _listen(node: Node) -> Endpoint:
    """Where to listen; port 0 asks the system for a free one."""
    parts = _split(node.text) if isinstance(node.value, str) else None
    host = _host(parts[0]) if parts else None
    if parts is None or host is None or int(parts[1]) > 65_535:
        raise bad(node, 'address:port such as "127.0.0.1:9000", the port from 0 (any free one) to 65535')
    return host, int(parts[1])


def _ipv4(node: Node) -> str:
    try:
        return str(ipaddress.IPv4Address(node.text if isinstance(node.value, str) else ""))
    except ValueError:
        raise bad(node, "the IPv4 address of a network interface of this machine, such as 127.0.0.1") from None


def _cidr(node: Node) -> str:
    written = node.text if isinstance(node.value, str) else ""
    try:
        return str(ipaddress.ip_network(written))
    except ValueError:
        pass
    try:  # an address with host bits set: the usual slip
        meant = f" (nearest is {ipaddress.ip_network(written, strict=False)})"
    except ValueError:
        meant = ""
    raise bad(node, f"a network such as 10.0.0.0/8, or one address{meant}")


def _destinations(node: Node) -> tuple[Endpoint, ...]:
    if node.value == "multicast":
        return ()
    allowed = 'multicast, or a list of "address[:port]" such as ["10.0.0.7"]'
    if not isinstance(node.value, list):
        raise bad(node, allowed)
    found = list_of(_destination, 1, what=allowed + ", a list")(node)
    doubled = next((item for item in found if found.count(item) > 1), None) if len(found) < 1000 else None
    if doubled:
        raise bad(node, f"each destination once ({doubled[0]}:{doubled[1]} is there twice)")
    return tuple(found)


def _destination(node: Node) -> Endpoint:
    written = node.text if isinstance(node.value, str) else ""
    host, port = _split(written) or (written, str(SACN_PORT))
    try:
        address = str(ipaddress.IPv4Address(host))
    except ValueError:
        address = ""
    if not address or not 1 <= int(port) <= 65_535:
        raise bad(node, "an IPv4 address with or without a port from 1 to 65535")
    return address, int(port)


def _source_name(node: Node) -> str:
    written = text(node)
    size = len(written.encode())
    if size > MOST_NAME_BYTES:
        raise bad(node, f"up to {MOST_NAME_BYTES} bytes of UTF-8 (this is {size})")
    return written


def _synchronise(node: Node) -> int | None:
    if not isinstance(node.value, list | dict) and node.text.lower() in ("off", "no", "false"):
        return None
    if isinstance(node.value, bool) or not isinstance(node.value, int) or not 1 <= node.value <= MOST_UNIVERSE:
        raise bad(node, f"off or a universe from 1 to {MOST_UNIVERSE}")
    return node.value
