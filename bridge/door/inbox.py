"""From datagrams to commands: allow-list, decoding, counting; nothing that arrives raises, stops or stalls."""

from __future__ import annotations

import ipaddress
from collections import deque
from collections.abc import Callable, Iterable
from typing import NamedTuple

from bridge.door.events import Message, host_of
from bridge.errors import Refused
from bridge.wire import osc

KNOWN_SENDERS = 1024
TEXT_SHOWN = 300
OPERATOR = "/operator"
LONGEST_NAME = 32

Handle = Callable[[Message], None]


class Refusal(NamedTuple):
    """What was not obeyed: when, from whom, which address ("" where there is none), a fixed word and a sentence."""

    at_s: float
    sender: str
    address: str
    reason: str
    text: str

    @property
    def host(self) -> str:
        """The address of the machine that it came from."""
        return host_of(self.sender)


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
    """Takes datagrams, gives each message to `handle(message)`, and what is refused to `refused(refusal)`.

    Messages wait in order until `work`, so that the loop can stop between any two of them when a frame is due.
    `obeyed` counts all that were worked on since somebody set it back: a capture notes it with every tick.
    """

    def __init__(self, allow: Iterable[str], handle: Handle, refused: Callable[[Refusal], None]) -> None:
        self.allow(allow)
        self._handle, self._refused = handle, refused
        self._pending: deque[Message] = deque()
        self.taken = 0
        self.obeyed = 0

    def allow(self, networks: Iterable[str]) -> None:
        """Hear these networks (CIDR) from now on."""
        self._allow = AllowList(networks)

    @property
    def busy(self) -> bool:
        """Whether messages are waiting."""
        return bool(self._pending)

    def datagram(self, data: bytes, host: str, at_s: float) -> None:
        """Check and decode one datagram."""
        try:
            if host not in self._allow:
                raise Refused("sender", f"{host} is not in `osc: allow` of network.yaml")
            discarded: list[osc.OscError] = []
            messages, sender = _named(osc.decode(data, discarded), discarded, host)
            self._pending.extend(Message(at_s, sender, message.address, message.args) for message in messages)
            for error in discarded:
                self._refuse(error, error.address, host, at_s)
        except osc.OscError as error:
            self._refuse(error, error.address, host, at_s)
        except Refused as error:
            self._refuse(error, "", host, at_s)
        except Exception as error:  # our own mistake: it is said and counted, and the show goes on
            self._fault(error, f"a datagram of {len(data)} octets", host, at_s)

    def work(self) -> Message | None:
        """Obey the next waiting message; returns it, or None when there is none or it was refused."""
        message = self._pending.popleft()
        self.obeyed += 1
        try:
            self._handle(message)
        except Refused as error:
            self._refuse(error, message.address, message.sender, message.at_s)
            return None
        except Exception as error:
            self._fault(error, message.address, message.sender, message.at_s)
            return None
        self.taken += 1
        return message

    def _refuse(self, error: Refused, address: str, sender: str, at_s: float) -> None:
        self._refused(Refusal(at_s, sender, address, error.reason, str(error)[:TEXT_SHOWN]))

    def _fault(self, error: Exception, what: str, sender: str, at_s: float) -> None:
        text = f"{what} met a fault of this program, please report it: {error!r}"
        self._refused(Refusal(at_s, sender, "", "internal", text[:TEXT_SHOWN]))


def _named(
    messages: list[osc.OscMessage], discarded: Iterable[osc.OscError], host: str
) -> tuple[list[osc.OscMessage], str]:
    """The messages of a datagram without `/operator NAME`, and their sender: NAME@HOST where it begins with that.

    A name holds for its own datagram only. Where it cannot be taken nothing of the datagram is obeyed: somebody who
    meant to be told apart from others on the host must not act as all of them.
    """
    unread = any(error.address == OPERATOR for error in discarded)
    places = [at for at, message in enumerate(messages) if message.address == OPERATOR]
    if not places and not unread:
        return messages, host
    rest = "; nothing of its datagram is obeyed"
    if places != [0] or unread:
        raise _no_operator(f"expected once, with a name, as the first message of a bundle{rest}")
    if len(messages) == 1:
        raise _no_operator("alone does nothing: a name holds for the messages after it in the same bundle")
    args = messages[0].args
    if len(args) != 1 or not isinstance(args[0], str):
        raise _no_operator(f"takes one name, as text, found {len(args)} arguments: {args!r:.80}{rest}")
    name = args[0]
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable() or "@" in name or name.isspace():
        shown = ascii(name)[:80]
        raise _no_operator(f"found {shown}, allowed are 1 to {LONGEST_NAME} printable characters without @{rest}")
    return messages[1:], f"{name}@{host}"


def _no_operator(text: str) -> osc.OscError:
    return osc.OscError("operator", f"{OPERATOR}: {text}", OPERATOR)
