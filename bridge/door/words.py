"""Words for what was told to the bridge and lasts: the log says who did it."""

from __future__ import annotations

from bridge.door.events import Message

LASTING = frozenset(
    (
        "arm",
        "lock",
        "dark",
        "still",
        "out",
        "hold",
        "desk",
        "follow",
        "crew",
        "trim",
        "area",
        "no-light",
        "floor",
        "act",
    )
)
"""First or last words of the addresses whose effect stays until somebody undoes it."""


def lasting_word(address: str) -> str:
    """Which of LASTING an address is about, "" for none: `/area/out` is about an area, `/fixture/area/out` is not."""
    words = address.split("/")[1:]
    return next((word for word in (words[0], words[-1]) if word in LASTING), "")


def said(message: Message) -> str:
    """`/fixture/foh-1/out 1, by 10.0.0.7`."""
    args = " ".join(f"{arg:g}" if isinstance(arg, float) else str(arg) for arg in message.args)
    return f"{message.address} {args}".rstrip() + f", by {message.sender}"


OWN = (("feed", "subscribe"), ("sight", "solve"), ("sight", "back"), ("walk", "confirm"), ("reload",))
OF_A_HEAD = ("record", "forget", "accept")
OF_AN_INPUT = ("record", "solve", "forget")
"""Addresses that belong to the daemon: these, /sight/FIXTURE/ with a word of OF_A_HEAD and /frame/INPUT/ with one of
OF_AN_INPUT. What they lead to comes as events."""


def belongs_to_daemon(address: str) -> bool:
    """Whether a message changes nothing of what is sent by itself."""
    words = tuple(address.split("/")[1:])
    if len(words) != 3:
        return words in OWN
    return words[2] in {"sight": OF_A_HEAD, "frame": OF_AN_INPUT}.get(words[0], ())
