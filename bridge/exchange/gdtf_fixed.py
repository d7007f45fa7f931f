"""The slots of a GDTF mode: who owns which, and the byte that every one that is not ours is held at."""

from __future__ import annotations

import re
from collections.abc import Mapping

from bridge.exchange.gdtf_active import Actives
from bridge.exchange.gdtf_channels import Channel
from bridge.exchange.gdtf_ours import Missing, Sayings
from bridge.exchange.gdtf_values import LAST_SLOT, bytes_of

_FINE = re.compile(r"(pan|tilt|dimmer|zoom|focus)[\W\d_]*(fine|lsb|ultra|uber|16)")


def here(channels: list[Channel], dmx_break: int) -> list[Channel]:
    """The channels with slots in this break, in the file's order."""
    return [c for c in channels if c.offsets and not c.broken and c.dmx_break == dmx_break]


def footprint_of(channels: list[Channel], dmx_break: int) -> int:
    """The highest slot of a break that a universe has."""
    return max((o for c in here(channels, dmx_break) for o in c.offsets if o <= LAST_SLOT), default=0)


def more_breaks(channels: list[Channel], dmx_break: int) -> tuple[tuple[int, int], ...]:
    """(break, footprint) of the others."""
    others = sorted({c.dmx_break for c in channels if c.offsets and not c.broken} - {dmx_break})
    return tuple((each, footprint_of(channels, each)) for each in others)


def check_apart(ours: Mapping[str, Channel]) -> None:
    """Raises Missing where two channels of ours share a slot."""
    owners: dict[int, str] = {}
    for name, channel in ours.items():
        for offset in channel.offsets:
            if offset in owners:
                raise Missing(f"{owners[offset]} and {name} are both at offset {offset}")
            owners[offset] = name


def fixed_of(actives: Actives, ours: Mapping[str, Channel], footprint: int, said: Sayings) -> dict[int, int]:
    """offset -> byte, of all slots that are not a byte of ours; why, doubts and overlaps go to `said`."""
    taken = {offset: name for name, channel in ours.items() for offset in channel.offsets}
    out: dict[int, int] = {}
    moved = list(ours.values())
    dmx_break = moved[0].dmx_break
    for channel in here(actives.channels, dmx_break):
        if channel in moved:
            continue
        choice = actives.held(channel)
        if choice.doubt:
            said.ask(choice.doubt)
        for offset, byte in zip(channel.offsets, bytes_of(choice.raw, len(channel.offsets)), strict=True):
            if offset in taken:
                said.ask(
                    f"slot {offset} is a byte of {taken[offset]} and of {channel.label} too: it is moved as "
                    f"{taken[offset]}; compare the maker's table of channels"
                )
            elif offset in out and out[offset] != byte:
                said.ask(f"slot {offset} is of two channels, {channel.label} the second: held at {out[offset]}")
            elif offset <= footprint and offset not in out:
                out[offset] = byte
                said.why[f"fixed.{offset}"] = choice.why if offset == channel.offsets[0] else f"{choice.why} (fine)"
    for offset in range(1, footprint + 1):
        if offset not in out and offset not in taken:
            out[offset] = 0
            said.why[f"fixed.{offset}"] = "not used by the file"
    return dict(sorted(out.items()))


def say_fine(channels: list[Channel], ours: Mapping[str, Channel], said: Sayings) -> None:
    """Some files have the fine byte of a channel of ours as a channel of its own, which the standard does not know."""
    for channel in here(channels, next(iter(ours.values())).dmx_break):
        for function in channel.functions:
            found = _FINE.match(function.attribute.casefold())
            if found and found[1] in ours and channel is not ours[found[1]]:
                coarse, fine = ours[found[1]].offsets, channel.offsets
                said.ask(
                    f"{found[1]}: the file has '{function.attribute[:40]}' at slot {fine[0]} as a channel of its own, "
                    f"held as it is: if it is the fine byte, write {found[1]}: {[*coarse, *fine]} under channels"
                )
                break


def say_beyond(channels: list[Channel], dmx_break: int, said: Sayings) -> None:
    """What of the mode cannot be held."""
    beyond = [c for c in here(channels, dmx_break) if max(c.offsets) > LAST_SLOT]
    if beyond:
        said.ask(f"{len(beyond)} channels lie beyond the {LAST_SLOT} slots of a universe and are not sent")
    for channel in channels:
        if channel.broken:
            said.ask(f"{channel.label}: found {channel.broken}: this channel is not held")
    for number, footprint in more_breaks(channels, dmx_break):
        said.ask(
            f"the mode has an address of its own for DMX break {number} ({footprint} slots), which is not sent: hold "
            "those slots with a desk, or choose a mode with all in one"
        )
