"""The show lock: while it is on, what belongs to the time before the show is refused."""

from __future__ import annotations

from collections.abc import Sequence

from bridge.errors import Refused

ROOMS = ("sight", "walk", "floor", "frame", "reload")
"""First words of the addresses that are locked; /fixture/.../trim, /truss/.../trim and /arm 0 are as well."""


class Lock:
    """On or off. A switch against slips, not against people: OSC knows no passwords."""

    def __init__(self) -> None:
        self.on = False

    def check(self, address: str, args: Sequence[object]) -> None:
        """Raise Refused for a message that the lock holds back."""
        if self.on and _belongs_before_the_show(address, args):
            raise Refused("locked", f"{address} while the show is locked: /lock 0 unlocks it")


def _belongs_before_the_show(address: str, args: Sequence[object]) -> bool:
    words = address.split("/")[1:]
    if words == ["arm"]:
        return list(args) == [0]
    return words[0] in ROOMS or (words[0] in ("fixture", "truss") and words[-1] == "trim")
