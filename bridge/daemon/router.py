"""Which address goes where: a few belong to the daemon, all others to the engine's commands."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, Protocol

from bridge.daemon.feed import Feed
from bridge.daemon.session import Session
from bridge.daemon.transmission import Transmission
from bridge.errors import Refused


class Commands(Protocol):
    """What is needed of `bridge.follow.commands.Commands` here."""

    def handle(self, address: str, args: tuple[Any, ...], sender_host: str, now_s: float) -> None: ...


class Router:
    """`changed` is called when a switch or level was obeyed that a restart must not lose."""

    def __init__(
        self,
        commands: Commands,
        transmission: Transmission,
        feed: Feed,
        session: Session,
        changed: Callable[[], None],
    ) -> None:
        self._commands, self._transmission = commands, transmission
        self._feed, self._session = feed, session
        self._changed = changed

    def handle(self, address: str, args: tuple[Any, ...], host: str, now_s: float) -> None:
        """Obey one message; raises Refused with a reason and words."""
        parts = address.split("/")[1:]
        if parts == ["arm"]:
            self._arm(args)
        elif parts == ["feed", "subscribe"]:
            port, rate = _arguments(address, args, "port rate_hz", 2)
            self._feed.subscribe(host, port, rate, now_s)
        elif parts == ["sight", "solve"]:
            _arguments(address, args, "no arguments", 0)
            self._session.solve()
        elif len(parts) == 3 and parts[0] == "sight" and parts[2] in ("record", "forget"):
            mark = _text(address, args)
            (self._session.record if parts[2] == "record" else self._session.forget)(parts[1], mark)
        elif parts == ["walk", "confirm"]:
            self._session.confirm_walk(_text(address, args), time.time())
        else:
            self._commands.handle(address, args, host, now_s)
            if parts[0] not in ("target", "sight", "walk"):  # those come all the time, and are kept twice a second
                self._changed()

    def _arm(self, args: tuple[Any, ...]) -> None:
        (value,) = _arguments("/arm", args, "0 or 1", 1)
        if isinstance(value, str | bytes) or value not in (0, 1):
            raise Refused("range", f"/arm {value!r}, expected 0 or 1")
        if value:
            self._transmission.arm()
        else:
            self._transmission.disarm()
        self._changed()


def _arguments(address: str, args: tuple[Any, ...], expected: str, count: int) -> tuple[Any, ...]:
    if len(args) != count:
        raise Refused("arguments", f"{address} with {len(args)} arguments, expected {expected}")
    return args


def _text(address: str, args: tuple[Any, ...]) -> str:
    (value,) = _arguments(address, args, "the name of a mark", 1)
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise Refused("arguments", f"{address} {value!r}, expected the name of a mark")
    return str(value)  # marks are often called 1, 2, 3, and some senders make numbers of them
