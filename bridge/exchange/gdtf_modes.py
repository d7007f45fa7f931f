"""Which mode of a GDTF file is meant: the wanted one, the only one, the only one that can follow, or a question."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import NamedTuple

from bridge.exchange.found import Ask
from bridge.exchange.gdtf_ours import ATTRIBUTES
from bridge.exchange.gdtf_values import offsets_of
from bridge.exchange.xml_tree import Element

SHOWN = 40


class Chosen(NamedTuple):
    """`mode` or an `ask`; `note` says why it is that mode."""

    mode: str | None
    note: str = ""
    ask: Ask | None = None


def choose(modes: Sequence[Element], wanted: str | None, about: str = "") -> Chosen:
    """The mode that is meant, by its name in the file. `about` goes into the question."""
    names = [mode.get("Name") for mode in modes]
    if wanted is not None:
        alike = _alike(names, wanted)
        return Chosen(alike) if alike is not None else Chosen(None, "", _ask(modes, about, wanted))
    if len(modes) == 1:
        return Chosen(names[0])
    able = [mode for mode in modes if can_follow(mode)]
    if len(able) == 1:
        name = able[0].get("Name")
        return Chosen(name, f"mode '{name}' is the only one of {len(modes)} with pan, tilt and dimmer")
    return Chosen(None, "", _ask(able or modes, about, None))


def can_follow(mode: Element) -> bool:
    """Whether channels of pan, tilt and dimmer, with slots, are in it."""
    found = set()
    for channel in mode.below("DMXChannels", "DMXChannel"):
        if not offsets_of(channel):
            continue
        for logical in channel.all("LogicalChannel"):
            for element in (logical, *logical.all("ChannelFunction")):
                attribute = element.get("Attribute").rpartition(".")[2].casefold()
                found |= {name for name in ("pan", "tilt", "dimmer") if re.fullmatch(ATTRIBUTES[name][0], attribute)}
    return len(found) == 3


def _alike(names: list[str], wanted: str) -> str | None:
    """The name itself, else the only one that differs in case and blanks."""
    if wanted in names:
        return wanted
    plain = _plain(wanted)
    alike = sorted({name for name in names if _plain(name) == plain})
    return alike[0] if len(alike) == 1 else None


def _plain(name: str) -> str:
    return re.sub(r"\s+", "", name).casefold()


def _ask(modes: Sequence[Element], about: str, wanted: str | None) -> Ask:
    names = list(dict.fromkeys(mode.get("Name") for mode in modes))
    listed = ", ".join(f"'{mode.get('Name')[:60]}' ({_slots(mode)})" for mode in modes[:SHOWN])
    more = f" and {len(modes) - SHOWN} more" if len(modes) > SHOWN else ""
    text = f"which mode is the head set to? Allowed are {listed}{more}"
    if wanted is not None:
        near = difflib.get_close_matches(wanted[:100], [name[:100] for name in names], 1, 0.4)
        text = f"found no mode '{wanted[:60]}'{f' (is it {near[0]!r}?)' if near else ''}; {text}"
    return Ask("mode", about, text, tuple(names))


def _slots(mode: Element) -> str:
    """Slots as the channels have them; those of geometries that are referred to are not counted."""
    offsets = [offset for c in mode.below("DMXChannels", "DMXChannel") for offset in offsets_of(c) or ()]
    return f"{max(offsets, default=0)} slots"
