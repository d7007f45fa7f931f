"""Which OSC addresses there are, asked of the groups that obey them, for what a show folder may name."""

from __future__ import annotations

import functools

from bridge.follow.commands.heads import HeadCommands
from bridge.follow.commands.sights import SightCommands
from bridge.follow.commands.table import ALONE
from bridge.follow.commands.targets import TargetCommands
from bridge.show.problems import nearest, shown

NOT_OF_THE_ENGINE = (
    *("/arm", "/lock", "/reload", "/sight/solve", "/sight/back", "/walk/confirm"),
    *("/sight/NAME/record", "/sight/NAME/forget", "/sight/NAME/accept"),
)
"""Addresses of the door and of the daemon. /feed and /operator are between a program and the bridge: never here."""
KINDS = {
    "target": "target",
    "fixture": "fixture",
    "sight": "fixture",
    "truss": "truss",
    "area": "area",
    "no-light": "no-light area",
    "floor": "floor",
}
"""What the second word of an address names, by its first."""
_TAKE_NOTHING = ("take", "alive", "done", "reload", "solve", "back", "accept")
_TAKE_NAMES = ("crew", "follow", "act", "walk", "confirm", "near", "record", "forget")


@functools.cache
def forms() -> tuple[str, ...]:
    """Every address there is, such as `/dark`, `/area/NAME` and `/target/NAME/size`."""
    table = TargetCommands.__new__(TargetCommands).table  # addresses are known before there is an engine
    table |= HeadCommands.__new__(HeadCommands).table | SightCommands.__new__(SightCommands).table
    found = [[first, *([] if first in ALONE else ["NAME"]), *([last] if last else [])] for first, last in table]
    return tuple(sorted({*NOT_OF_THE_ENGINE, *("/" + "/".join(words) for words in found)}))


def form_of(address: str) -> str | None:
    """The form that an address has, None where there is none such."""
    words = address.split("/")[1:]
    named = "/".join(["", words[0], "NAME", *words[2:]]) if len(words) in (2, 3) else ""
    return next((form for form in (address, named) if form in forms()), None)


def name_in(address: str) -> tuple[str, str] | None:
    """(kind, name) of what an address is about, such as (target, lead); None where it names nothing."""
    words = address.split("/")[1:]
    return (KINDS[words[0]], words[1]) if "NAME" in (form_of(address) or "") else None


def takes_names(address: str) -> bool:
    """Whether its arguments are names, also those that look like numbers."""
    return address.split("/")[-1] in _TAKE_NAMES or address == "/walk"


def takes_nothing(address: str) -> bool:
    """Whether it is sent without arguments."""
    return address.split("/")[-1] in _TAKE_NOTHING


def allowed_instead(address: str) -> str:
    """What is allowed where an address is none, with the nearest that there is."""
    words = address.split("/")[1:] if address.startswith("/") else address.split("/")
    alone = "/" + "/".join(words)
    named = "/" + "/".join([words[0], "NAME", *words[2:]])
    near = alone if alone in forms() else nearest(named if len(words) > 1 else alone, forms())
    return "an OSC address that changes something, such as /dark or /target/NAME/size" + (
        f" (nearest is '{shown(near)}')" if near else ""
    )
