"""From datagrams to commands: allow-list, decoding, counting; nothing that arrives raises, stops or stalls."""

from __future__ import annotations

import ipaddress
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from bridge.daemon.logs import LOG, Throttle
from bridge.errors import Refused
from bridge.wire import osc

KNOWN_SENDERS = 1024
TEXT_SHOWN = 300

Handle = Callable[[str, tuple[Any, ...], str, float], None]


class AllowList:
    """Which sender hosts are heard; the answer for a host is worked out once."""

    def __init__(self, networks: Iterable[str]) -> None:
        self._networks = [ipaddress.ip_network(text, strict=False) for text in networks]
        self._known: dict[str, bool] = {}

    def __contains__(self, host: object) -> bool:
        allowed = self._known.get(str(host))
        if allowed is None:
            if len(self._known) >= KNOWN_SENDERS:  # a flood of forged senders must not fill memory
                self._known.clear()
            allowed = self._known[str(host)] = self._look(str(host))
        return allowed

    def _look(self, host: str) -> bool:
        address = ipaddress.ip_address(host.partition("%")[0])
        if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
            address = address.ipv4_mapped
        return any(address in network for network in self._networks)


class Inbox:
    """Takes datagrams, gives each message to `handle(address, args, sender_host, now_s)`, counts what is refused.

    Messages wait in order until `work`, so that the loop can stop between any two of them when a frame is due.
    `obeyed` is called after every message that may change the next frame.
    """

    def __init__(self, allow: Iterable[str], handle: Handle, obeyed: Callable[[], None]) -> None:
        self._allow = AllowList(allow)
        self._handle = handle
        self._obeyed = obeyed
        self._pending: deque[tuple[osc.Message, str]] = deque()
        self.refused = Throttle(LOG.warning)
        self.taken = 0

    @property
    def busy(self) -> bool:
        """Messages are waiting: take no more datagrams now."""
        return bool(self._pending)

    def datagram(self, data: bytes, host: str, now_s: float) -> None:
        """Check and decode one datagram."""
        try:
            if host not in self._allow:
                raise Refused("sender", f"{host} is not in `osc: allow` of network.yaml")
            discarded: list[osc.OscError] = []
            messages = osc.decode(data, discarded)
            self._pending.extend((message, host) for message in messages)
            for error in discarded:
                self._refuse(error, host, now_s)
        except Refused as error:
            self._refuse(error, host, now_s)
        except Exception as error:  # our own mistake: it is said and counted, and the show goes on
            self._fault(error, f"a datagram of {len(data)} octets", host, now_s)

    def work(self, now_s: float) -> bool:
        """Obey the next waiting message; False when there is none."""
        if not self._pending:
            return False
        message, host = self._pending.popleft()
        try:
            self._handle(message.address, message.args, host, now_s)
            self.taken += 1
            if not message.address.endswith("/alive"):  # a sign of life changes no frame
                self._obeyed()
        except Refused as error:
            self._refuse(error, host, now_s)
        except Exception as error:
            self._fault(error, message.address, host, now_s)
        return True

    def _refuse(self, error: Refused, host: str, now_s: float) -> None:
        self.refused.count(error.reason, f"{error} (from {host})"[:TEXT_SHOWN], now_s)

    def _fault(self, error: Exception, what: str, host: str, now_s: float) -> None:
        text = f"{what} from {host} met a fault of this program, please report it: {error!r}"
        self.refused.count("internal", text[:TEXT_SHOWN], now_s)
