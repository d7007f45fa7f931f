"""Which message goes where: a few belong to the daemon, all others go through the door."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

from bridge.daemon.feed import Feed
from bridge.daemon.focus import Focus
from bridge.daemon.frames import Frames
from bridge.daemon.other_poses import OtherPoses
from bridge.door.door import Door
from bridge.door.events import Message
from bridge.door.words import belongs_to_daemon
from bridge.errors import Refused
from bridge.follow.commands.values import count, label


class Router:
    """`apply` takes what changes what is sent; `reload` reads the show again, on the word of a host."""

    def __init__(
        self,
        door: Door,
        apply: Callable[[Message], None],
        feed: Feed,
        focus: Focus,
        others: OtherPoses,
        frames: Frames,
        reload: Callable[[str], None],
    ) -> None:
        self._door, self._apply = door, apply
        self._feed, self._focus, self._others, self._frames, self._reload = feed, focus, others, frames, reload

    def handle(self, message: Message) -> None:
        """Obey one message; raises Refused with a reason and words."""
        if not belongs_to_daemon(message.address):
            self._apply(message)
            return
        self._door.lock.check(message.address, message.args)
        words, args = message.address.split("/")[1:], message.args
        match words:
            case ["feed", "subscribe"]:
                port, rate, *more = self._subscription(message.address, args)
                self._feed.subscribe(message.host, port, rate, message.at_s, *more)
            case ["reload"]:
                count(args, "reload", 0)
                self._reload(message.sender)
            case ["sight", "solve"]:
                count(args, "solve", 0)
                self._focus.solve()
            case ["sight", "back"]:
                count(args, "back", 0)
                self._others.back(message.sender, message.at_s)
            case ["sight", fixture, "accept"]:
                count(args, "accept", 0)
                self._others.accept(fixture, message.sender, message.at_s)
            case ["sight", fixture, "record"]:
                self._focus.record(fixture, self._mark(args))
            case ["sight", fixture, "forget"]:
                self._focus.forget(fixture, self._mark(args))
            case ["frame", name, word]:
                self._frames.handle(name, word, message)
            case ["walk", "confirm"]:
                self._focus.confirm_walk(self._mark(args), time.time())

    @staticmethod
    def _subscription(address: str, args: Sequence[Any]) -> Sequence[Any]:
        if len(args) not in (2, 3):
            raise Refused(
                "arguments", f"{address} with {len(args)} arguments, expected port rate_hz, or port rate_hz all"
            )
        return args

    @staticmethod
    def _mark(args: Sequence[object]) -> str:
        return label(count(args, "this", 1)[0], "the mark")
