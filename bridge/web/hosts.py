"""Which names a page of ours may be called by, and who is on this machine.

A page on another site can make a browser send requests to us under a name of its own that resolves to our address
(DNS rebinding); to the browser the answers are then that site's own. So a request must call us by a name that nobody
else can have pointed at us: a loopback name, an address (the browser shows it as it is), or this machine's name.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Collection, Iterable

from aiohttp import web

FORWARDED = ("Forwarded", "Via", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP")


def plain_address(text: str) -> str:
    """An address as it is usually written: no zone, and IPv4 heard on an IPv6 socket as IPv4. Else unchanged."""
    try:
        found = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return text
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return str(mapped or found)


def is_loopback(host: str) -> bool:
    """Whether `host` (without port or brackets) names this machine and nothing else."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(plain_address(host)).is_loopback
    except ValueError:
        return False


def machine_hosts(addresses: Iterable[str] = ()) -> frozenset[str]:
    """What this machine may be called on its networks: these addresses, its name, and that under `.local`."""
    name = socket.gethostname().lower()
    names = {name, f"{name.partition('.')[0]}.local"} if name else set()
    return frozenset(names | {plain_address(one) for one in addresses})


def host_name(value: str | None, port: int, tls: bool = False) -> str | None:
    """The name in a Host header, if its port is ours; a browser leaves out 80, and 443 with TLS."""
    if not value:
        return None
    name, colon, text = value.rpartition(":")
    if not colon or text.endswith("]"):
        name, text = value, str(443 if tls else 80)
    if text != str(port):
        return None
    if name[:1] == "[" and name[-1:] == "]":
        return plain_address(name[1:-1])
    return None if ":" in name else name.lower()


def host_allowed(value: str | None, port: int, hosts: Collection[str] = (), tls: bool = False) -> bool:
    """Whether a Host header (`name:port`) is ours: a loopback name or one of `hosts`, and our port."""
    name = host_name(value, port, tls)
    return name is not None and (is_loopback(name) or name in hosts)


def origin_allowed(value: str | None, port: int, hosts: Collection[str] = (), tls: bool = False) -> bool:
    """Whether an Origin header is one of our pages. None (not a browser, or the page itself by GET) is."""
    if value is None:
        return True
    scheme, _, host = value.partition("://")
    return scheme == ("https" if tls else "http") and host_allowed(host, port, hosts, tls)


def peer_of(request: web.Request) -> str:
    """The address at the other end of this connection; empty where it has gone."""
    return plain_address(request.remote or "")


def is_local(request: web.Request, port: int, tls: bool = False) -> bool:
    """Whether a person at this very machine asks, who needs no key.

    Three things must hold, since each alone can be had from outside:

    - the connection comes from a loopback address. A Host header alone proves nothing: any program can write it;
    - it calls us by a loopback name. Under another name it may be a site that rebound its name to 127.0.0.1;
    - nothing says that it was passed on. A proxy on this machine connects from 127.0.0.1 for people anywhere, and many
      put our own address into Host, but say so in one of FORWARDED. What says nothing (a tunnel that whoever has a
      login here opened) cannot be told from a person here, and is as trusted as that person.
    """
    name = host_name(request.headers.get("Host"), port, tls)
    passed_on = any(header in request.headers for header in FORWARDED)
    return is_loopback(peer_of(request)) and name is not None and is_loopback(name) and not passed_on
