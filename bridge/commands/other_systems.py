"""Which other systems of E1.59 are heard, for somebody who hears nothing on the one that the show names."""

from __future__ import annotations

import contextlib
import select
import socket
from contextlib import ExitStack

from bridge.daemon import clock
from bridge.daemon.input_socket import Where, open_input
from bridge.errors import NetworkError
from bridge.wire import otp

HIGHEST = 200
TURN_S = 0.05


def other_systems(interface: str, not_this: int, seconds: float) -> list[str]:
    """Join the groups of all other systems for so long: "system N from HOST" for each that sends anything."""
    heard: dict[int, str] = {}
    with ExitStack() as stack:
        systems: dict[socket.socket, int] = {}
        for system in set(range(1, HIGHEST + 1)) - {not_this}:
            with contextlib.suppress(NetworkError):  # as many as the machine lets us have
                sock = stack.enter_context(open_input(Where(otp.transform_group(system), otp.PORT, interface)))
                systems[sock] = system
        until_s = clock.now_s() + seconds
        while (left_s := until_s - clock.now_s()) > 0.0:
            for sock in select.select(list(systems), (), (), min(left_s, TURN_S))[0]:
                with contextlib.suppress(OSError):
                    packet, sender = sock.recvfrom(2048)
                    if packet.startswith(b"OTP-E1.59"):
                        heard.setdefault(systems[sock], sender[0])
    return [f"system {system} from {host}" for system, host in sorted(heard.items())]
