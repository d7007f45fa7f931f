"""A listening socket, or words that say why there is none."""

from __future__ import annotations

import errno
import socket

from bridge.errors import NetworkError


def listen(host: str, port: int, what: str, holder: str = "another one of its kind") -> socket.socket:
    """A TCP socket that listens on an address of this machine; port 0 takes a free one; `::` hears IPv4 as well.

    `what` begins the message (`The panel`), `holder` is who most likely has the port. Raises NetworkError.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if family == socket.AF_INET6:
        listener.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
    try:
        listener.bind((host, port))
        listener.listen(64)
    except OverflowError as error:
        listener.close()
        raise NetworkError(f"{what} needs a port from 0 to 65535, found {port}") from error
    except OSError as error:
        listener.close()
        raise NetworkError(_why_not(host, port, what, holder, error)) from error
    listener.setblocking(False)
    return listener


def address(host: str, port: int, tls: bool = False) -> str:
    """What a person types into a browser."""
    name = f"[{host}]" if ":" in host else host
    return f"http{'s' if tls else ''}://{name}:{port}/"


def _why_not(host: str, port: int, what: str, holder: str, error: OSError) -> str:
    wanted = f"{what} could not open port {port} on {host}"
    if error.errno == errno.EADDRINUSE:
        return (
            f"{wanted}: another program has it, most likely {holder}. "
            "Stop that one, choose another port, or give port 0 to take any free one."
        )
    if error.errno == errno.EACCES:
        return f"{wanted}: this user may not open ports below 1024. Choose a port from 1024 to 65535."
    return f"{wanted}: {error.strerror}. Expected an address of this machine and a free port."
