"""Schema of `inputs:` in network.yaml: where tracking systems are heard, and that no two are heard at one place."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterator, Mapping

from bridge.show.keys import KeyReader
from bridge.show.names import by_name
from bridge.show.problems import Problem, listed, shown
from bridge.show.values import Parse, bad, choice, whole
from bridge.show.yaml12 import Node
from bridge.wire.settings import InputSettings, OscSettings

Endpoint = tuple[str, int]
KEYS = {"otp": ("interface", "system"), "psn": ("interface", "to"), "adm-osc": ("listen",)}
MOST_SYSTEM = 200  # E1.59: system numbers are 1 to 200
PSN_GROUP = ("236.10.10.10", 56_565)
ADM_LISTEN = ("127.0.0.1", 4001)
_MEANT = {("psn", "listen"): "to", ("adm-osc", "to"): "listen", ("adm-osc", "interface"): "listen"}
_ANYWHERE = ("0.0.0.0", "::")
_what = 'a mapping of names to inputs such as {tags: {protocol: otp}, stage: {protocol: psn, to: "236.10.10.10:56565"}}'


def input_settings(interface: Parse[str], listen: Parse[Endpoint]) -> Parse[dict[str, InputSettings]]:
    """Reader of network.yaml's `inputs:`; `interface` and `listen` read an interface and where to listen."""

    def one(_: str, node: Node) -> InputSettings:
        m = KeyReader(node, "a mapping such as {protocol: otp, system: 1}")
        protocol = m.required("protocol", choice(*KEYS), "")
        found_interface = m.optional("interface", interface, None)
        system = m.optional("system", whole(1, MOST_SYSTEM), 1)
        group = m.optional("to", _group, PSN_GROUP)
        here = m.optional("listen", listen, ADM_LISTEN)
        if protocol:
            _keys_of_others(m, protocol)
        m.done()
        host, port = {"psn": group, "adm-osc": here}.get(protocol, ("", 0))
        return InputSettings(protocol, found_interface, system, host, port)

    return by_name(one, _what)


def _keys_of_others(m: KeyReader, protocol: str) -> None:
    for key in dict.fromkeys(key for keys in KEYS.values() for key in keys):
        if key in m and key not in KEYS[protocol]:
            near = _MEANT.get((protocol, key))
            hint = f", nearest is '{near}'" if near else ""
            whose = " and ".join(other for other, keys in KEYS.items() if key in keys)
            text = f"found '{key}', a key of {whose}, beside protocol {protocol}{hint}"
            m.fail(key, f"{text}; allowed: {listed(['protocol', *KEYS[protocol]])}")


def _group(node: Node) -> Endpoint:
    """An IPv4 multicast group and its port."""
    found = re.fullmatch(r"([0-9.]{7,15}):([0-9]{1,5})", node.text) if isinstance(node.value, str) else None
    try:
        group = ipaddress.IPv4Address(found[1]) if found else None
    except ValueError:
        group = None
    if found is None or group is None or not group.is_multicast or not 1 <= int(found[2]) <= 65_535:
        allowed = 'an IPv4 multicast group and a port from 1 to 65535, such as "236.10.10.10:56565"'
        raise bad(node, allowed + " (what is sent to one address of this machine is not heard)")
    return str(group), int(found[2])


def doubled_places(inputs: Mapping[str, InputSettings], osc: OscSettings, sacn: str, node: Node) -> Iterator[Problem]:
    """Inputs heard where another one is, or OSC. `sacn` is the interface of those that name none."""
    same = {"otp": _same_system, "psn": _same_group, "adm-osc": _same_port}
    before: list[tuple[str, InputSettings]] = []
    for name, ours in inputs.items():
        for other, theirs in before:
            if ours.protocol == theirs.protocol and (what := same[ours.protocol](ours, theirs, sacn)):
                text = f"found {what}, where '{shown(other)}' is heard already (line {node.line_of(other)})"
                yield Problem(node.line_of(name), f"{text}, allowed is a place of its own", (name,))
                break
        if ours.protocol == "adm-osc" and _meet((ours.host, ours.port), (osc.host, osc.port)):
            text = f"found {ours.host}:{ours.port}, where osc listens ({osc.host}:{osc.port})"
            yield Problem(node.line_of(name), f"{text}, allowed is another port", (name, "listen"))
        before.append((name, ours))


def _same_system(one: InputSettings, other: InputSettings, sacn: str) -> str:
    here = one.interface or sacn
    alike = one.system == other.system and here == (other.interface or sacn)
    return f"system {one.system} on {here}" if alike else ""


def _same_group(one: InputSettings, other: InputSettings, sacn: str) -> str:
    here = one.interface or sacn
    alike = (one.host, one.port) == (other.host, other.port) and here == (other.interface or sacn)
    return f"{one.host}:{one.port} on {here}" if alike else ""


def _same_port(one: InputSettings, other: InputSettings, _: str) -> str:
    return f"{one.host}:{one.port}" if _meet((one.host, one.port), (other.host, other.port)) else ""


def _meet(one: Endpoint, other: Endpoint) -> bool:
    """Whether two sockets would ask for the same port; port 0 takes any free one."""
    everywhere = one[0] in _ANYWHERE or other[0] in _ANYWHERE
    return one[1] == other[1] != 0 and (one[0] == other[0] or everywhere)
