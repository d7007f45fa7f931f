"""Who was the last to switch what: kept in the daemon, for people to know whom to ask."""

from __future__ import annotations

from bridge.door.words import lasting_word

OWN = ("reload", "solve", "accept", "back")
"""Last words of the daemon's own addresses that change what everybody works with."""


class WhoDid:
    """`last` by switch (`dark`, `arm`, `reload`): the sender and the moment of the last message that was obeyed."""

    def __init__(self) -> None:
        self.last: dict[str, tuple[str, float]] = {}

    def obeyed(self, address: str, sender: str, at_s: float) -> None:
        """A message was obeyed."""
        word = lasting_word(address)
        if not word and (last := address.rsplit("/", 1)[-1]) in OWN:
            word = last
        if address.startswith("/frame/"):
            word = "" if address.endswith("/record") else "frame"
        if word:
            self.last[word] = (sender, at_s)
