"""The one table of addresses that change the engine.

To add one: a method in a group (targets.py, heads.py, sights.py) that checks all its arguments before it acts, and a
line in the group's table.
"""

from __future__ import annotations

from bridge.errors import Refused
from bridge.follow.commands.heads import HeadCommands
from bridge.follow.commands.obeying import Table
from bridge.follow.commands.sights import SightCommands
from bridge.follow.commands.targets import TargetCommands
from bridge.follow.commands.values import Args
from bridge.follow.engine import Engine

ALONE = ("level", "dark", "still", "walk", "desk")
"""Addresses of one word."""


class Commands:
    """Obeys messages for one engine. Nothing is changed by a message that is refused."""

    def __init__(self, engine: Engine) -> None:
        self._table: Table = {}
        self._engine = engine
        for group in (TargetCommands, HeadCommands, SightCommands):
            self._table |= group(engine).table

    def handle(self, address: str, args: Args, sender: str, now_s: float, came_s: float | None = None) -> None:
        """Obey one message from a sender (its host address), or raise Refused and change nothing.

        `came_s`: when it really arrived, where frames were made and other events taken in since.
        """
        self._engine.came_s = now_s if came_s is None else came_s
        words = address.split("/")[1:]
        first, name, last = (*words, "", "")[:3] if len(words) <= 3 else ("", "", "")
        obey = self._table.get((first, last)) if (len(words) == 1) == (first in ALONE) else None
        if obey is None or (last == "" and len(words) == 3):
            raise Refused("unknown-address", f"there is no address {address}")
        obey(name, args, sender, now_s)
