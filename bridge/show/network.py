"""Schema of `network.yaml`: ports and universes. Addresses and networks are only read here; nothing is opened."""

from __future__ import annotations

import ipaddress
import re
from pathlib import Path

from bridge.show.desk import desk_settings
from bridge.show.folder import subfolder, versioned
from bridge.show.inputs import doubled_places, input_settings
from bridge.show.keys import KeyReader
from bridge.show.values import MOST_UNIVERSE, Parse, bad, choice, list_of, number, text, whole
from bridge.show.yaml12 import Node
from bridge.wire.settings import LostInput, Network, OscSettings, PanelSettings, RecordSettings, SacnSettings

SACN_PORT = 5568
MOST_NAME_BYTES = 63
MOST_RATE = 1000.0
MOST_DAYS = 36_500.0
MOST_MEGABYTES = 100_000_000.0
_INTERFACE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.@-]{0,14}")  # Linux: up to 15 bytes, no / and no space
Endpoint = tuple[str, int]


def read_network(node: Node, folder: Path) -> Network:
    """The whole network file of a show folder. Raises Bad with everything that is wrong in it."""
    top = versioned(node)
    network = Network(
        osc=top.optional("osc", _osc, OscSettings()),
        sacn=top.optional("sacn", _sacn, SacnSettings()),
        panel=top.optional("panel", _panel, PanelSettings()),
        lost_input=top.optional("lost_input", _lost_input, LostInput()),
        record=top.optional("record", _record(folder), None),
        desk=top.optional("desk", desk_settings(_interface), None),
        inputs=top.optional("inputs", input_settings(_interface, _listen), {}),
    )
    inputs = node.get("inputs")
    if inputs is not None and top.good("inputs", "osc", "sacn"):
        for problem in doubled_places(network.inputs, network.osc, network.sacn.interface, inputs):
            top.problem(problem.inside("inputs"))
    top.done()
    return network


def _osc(node: Node) -> OscSettings:
    m = KeyReader(node)
    host, port = m.optional("listen", _listen, ("127.0.0.1", 9000))
    allow = m.optional("allow", list_of(_cidr, 1, what="a list of networks, a list"), ["127.0.0.0/8"])
    m.done()
    return OscSettings(host, port, tuple(allow))


def _is_off(node: Node) -> bool:
    return not isinstance(node.value, list | dict) and node.text.lower() in ("off", "no", "false")


def _panel(node: Node) -> PanelSettings | None:
    if _is_off(node):
        return None
    m = KeyReader(node, 'off, or a mapping such as {listen: "127.0.0.1:8787"}')
    host, port = m.optional("listen", _listen, ("127.0.0.1", 8787))
    m.done()
    return PanelSettings(host, port)


def _record(folder: Path) -> Parse[RecordSettings | None]:
    def parse(node: Node) -> RecordSettings | None:
        if _is_off(node):
            return None
        m, default = KeyReader(node, "off, or a mapping with folder, days and megabytes"), RecordSettings()
        settings = RecordSettings(
            m.optional("folder", lambda child: subfolder(folder, child), default.folder),
            m.optional("days", number(0, MOST_DAYS, above=True, unit="days"), default.days),
            m.optional("megabytes", number(1, MOST_MEGABYTES, unit="megabytes"), default.megabytes),
        )
        m.done()
        return settings

    return parse


def _sacn(node: Node) -> SacnSettings:
    m = KeyReader(node)
    settings = SacnSettings(
        interface=m.optional("interface", _interface, "127.0.0.1"),
        destinations=m.optional("to", destinations, ()),
        priority=m.optional("priority", whole(0, 200), 110),
        source_name=m.optional("source_name", source_name, "Tetherlight"),
        rate=m.optional("rate", number(0, MOST_RATE, above=True, unit="packets/s"), 44.0),
        synchronise=m.optional("synchronise", _synchronise, None),
        contested=m.optional("contested", choice("refuse", "send"), "refuse"),
    )
    m.done()
    return settings


def _lost_input(node: Node) -> LostInput:
    m = KeyReader(node)
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
    """An address (IPv6 in brackets), `localhost` or what may be the name of an interface; None for anything else."""
    bare = written[1:-1] if written.startswith("[") and written.endswith("]") else written
    try:
        return str(ipaddress.ip_address(bare))
    except ValueError:
        return written if _may_be_interface(written) else None


def _may_be_interface(written: str) -> bool:
    """Which names there are is known only on the machine that opens the sockets."""
    return _INTERFACE.fullmatch(written) is not None and re.search("[A-Za-z]", written) is not None


def _listen(node: Node) -> Endpoint:
    """Where to listen; port 0 asks the system for a free one."""
    parts = _split(node.text) if isinstance(node.value, str) else None
    host = _host(parts[0]) if parts else None
    if parts is None or host is None or int(parts[1]) > 65_535:
        allowed = 'address:port such as "127.0.0.1:9000" or "eth0:9000", the port from 0 (any free one) to 65535'
        raise bad(node, allowed)
    return host, int(parts[1])


def _interface(node: Node) -> str:
    written = node.text if isinstance(node.value, str) else ""
    try:
        return str(ipaddress.IPv4Address(written))
    except ValueError:
        if _may_be_interface(written):
            return written
    raise bad(
        node, "a network interface of this machine: its IPv4 address, such as 127.0.0.1, or its name, such as eth0"
    )


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


def destinations(node: Node) -> tuple[Endpoint, ...]:
    """Where sACN goes: () for multicast, else addresses and ports."""
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


def source_name(node: Node) -> str:
    """What a source of sACN calls itself."""
    written = text(node)
    size = len(written.encode())
    if size > MOST_NAME_BYTES:
        raise bad(node, f"up to {MOST_NAME_BYTES} bytes of UTF-8 (this is {size})")
    return written


def _synchronise(node: Node) -> int | None:
    if _is_off(node):
        return None
    if isinstance(node.value, bool) or not isinstance(node.value, int) or not 1 <= node.value <= MOST_UNIVERSE:
        raise bad(node, f"off or a universe from 1 to {MOST_UNIVERSE}")
    return node.value
