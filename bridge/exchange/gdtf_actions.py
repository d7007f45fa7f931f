"""Reset and lamp slots of a GDTF mode as actions of a profile: sent on command only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from bridge.exchange.gdtf_active import Actives, Span
from bridge.exchange.gdtf_channels import Channel
from bridge.exchange.gdtf_fixed import here
from bridge.exchange.gdtf_neutral import inside
from bridge.exchange.gdtf_ours import Sayings
from bridge.exchange.gdtf_values import LAST_SLOT, bytes_of
from bridge.exchange.gdtf_words import family_of, says_open
from bridge.exchange.names import slug, unlike

MOST_ACTIONS = 12
HOLD, DARK = 5.0, 45.0  # seconds; usual, in no file
_WHOLE = re.compile(r"(all|global|fixture|total|complete|full|system|whole|master|main)")
_LAMP = re.compile(r"lamp.*\b(on|off)\b|(ignit|strike)")


def actions_of(actives: Actives, moved: list[Channel], said: Sayings) -> dict[str, Any]:
    """name -> {slots, hold, dark}."""
    out: dict[str, Any] = {}
    for channel in here(actives.channels, moved[0].dmx_break):
        if channel in moved or len(out) >= MOST_ACTIONS or max(channel.offsets) > LAST_SLOT:
            continue
        for span in actives.spans(channel):
            name = _name_of(span)
            if not name or len(out) >= MOST_ACTIONS or set(channel.offsets) & {o for c in moved for o in c.offsets}:
                continue
            values = bytes_of(inside(span, channel), len(channel.offsets))
            name = unlike(name, out)
            dark = 0.0 if name.startswith("lamp-off") else DARK
            out[name] = {"slots": dict(zip(channel.offsets, values, strict=True)), "hold": HOLD, "dark": dark}
            said.why[f"actions.{name}"] = f"the file's '{_words(span)}', {span.start} to {span.end}"
    if out:
        said.ask(
            "actions: how long their slots must be held, and the head is dark, is in no file; "
            f"{HOLD:g} s and {DARK:g} s are usual: see the manual, also whether the shutter must be closed first"
        )
    return {name: out[name] for name in sorted(out)}


def _words(span: Span) -> str:
    return (span.called or span.function.attribute)[:40]


def _name_of(span: Span) -> str:
    """reset, gobo-reset, lamp-on ...; "" for what is no action."""
    attribute = span.function.attribute.casefold()
    own = family_of(attribute)
    if own not in ("control", "nothing"):
        return ""
    label = span.called.casefold()
    gap = not span.label and any(each.name.strip() for each in span.function.sets)
    if gap or says_open("control", label) is not None:
        return ""
    lamp = _LAMP.search(label) or (attribute == "lampcontrol" and re.search(r"\b(on|off)\b", label))
    if lamp and "if" not in label:
        return "lamp-off" if re.search(r"\boff\b", label) else "lamp-on"
    if "reset" not in label and not attribute.endswith("reset"):
        return ""
    if re.search(r"\b(no|off|disable\w*|without)\b", label):
        return ""
    said = " ".join(_parts(label if "reset" in label else span.function.attribute))
    rest = re.sub(r"reset\w*|\bfixture\b|\bsettings?\b|[^a-z ]", " ", said).split()
    if not rest or _WHOLE.search(" ".join(rest)) or rest == ["control"]:
        return "reset"
    return slug("-".join(rest[:3]) + "-reset").casefold()


def _parts(text: str) -> Iterator[str]:
    """`GoboWheelReset` -> gobo, wheel, reset."""
    return (part.casefold() for part in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", text))
