"""Reads each mode of a `lifelike.Life` and marks what came out of it: right, asked, or wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from bridge.exchange.gdtf import open_gdtf, profile_of
from tests.unit.exchange.lifelike import Ends, Life, Truth
from tests.unit.exchange.lifelike_write import gdtf

DEGREES = 0.01


@dataclass
class Verdict:
    """Of one mode. `marks`: part -> right | asked | wrong; `texts`: what was found where it is not right."""

    mode: str
    marks: dict[str, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    questions: tuple[str, ...] = ()

    def mark(self, part: str, right: bool, asked: bool, text: str) -> None:
        """Of several findings of one part the worst stands."""
        order = ("right", "asked", "wrong")
        new = "right" if right else "asked" if asked else "wrong"
        if order.index(new) >= order.index(self.marks.get(part, "right")):
            self.marks[part] = new
            if not right:
                self.texts[part] = text


def judge(life: Life) -> Iterator[Verdict]:
    """All modes, each by its name."""
    opened = open_gdtf(gdtf(life), "life.gdtf")
    for mode in life.modes:
        found = profile_of(opened, mode.name)
        verdict = Verdict(mode.name, questions=found.questions)
        if found.profile is None:
            verdict.mark("taken", bool(mode.why_not and found.skipped), False, str(found.skipped))
        elif mode.why_not:
            verdict.mark("taken", False, False, f"{mode.why_not} became a profile")
        else:
            _compare(mode, found.profile.document, verdict)
        yield verdict


def _compare(mode: Truth, document: dict[str, Any], verdict: Verdict) -> None:
    verdict.mark("taken", True, False, "")
    asked = " ".join(verdict.questions)
    channels = document["channels"]
    for name in ("pan", "tilt"):
        right = tuple(channels[name]) == mode.channels[name] and _close(document[name], getattr(mode, name))
        verdict.mark(name, right, False, f"{channels[name]} {document[name]}, truth {mode.channels[name]}")
    for name in ("dimmer", "zoom", "focus"):
        here = tuple(channels.get(name, ()))
        verdict.mark(name, here == mode.channels.get(name, ()), f"{name}:" in asked, f"{here}")
    top = document.get("dimmer", {}).get("to", 256 ** len(channels["dimmer"]) - 1) >> 8 * (len(channels["dimmer"]) - 1)
    verdict.mark("dimmer", top == mode.dimmer_to, False, f"full light at {top}, truth {mode.dimmer_to}")
    if mode.dimmer_to < 255:
        verdict.mark(
            "dimmer", "dimmer shares its channel" in asked, False, "nothing asked of the strobe in its channel"
        )
    if "zoom" in mode.channels:
        table = document.get("zoom", {}).get("table")
        rows = None if mode.zoom_stub else [list(each) for each in mode.zoom or ()]
        near = rows is not None and table is not None and all(map(_near, table, rows))
        verdict.mark("zoom", near or table == rows, False, f"{table}, truth {rows}")
    verdict.mark("footprint", document["footprint"] == mode.footprint, False, str(document["footprint"]))
    for attribute, offsets, good in mode.light:
        held = document["fixed"].get(offsets[0])
        right = held is not None and any(low <= held <= high for low, high in good)
        asks = re.search(rf"slot {offsets[0]}\b", asked) is not None
        verdict.mark("light", right, asks, f"{attribute} at {offsets} held at {held}, good {good}")
        verdict.mark(re.sub(r"\d+[AB]?|_.*", "", attribute), right, asks, f"{offsets} held at {held}, good {good}")


def _near(row: list[float], truth: list[float]) -> bool:
    """The same angle at the same coarse byte: fine bytes hang on how a program writes where ranges begin."""
    return row[1] == truth[1] and abs(row[0] - truth[0]) <= 256


def _close(axis: dict[str, Any], truth: Ends) -> bool:
    """The degrees at raw 0 and at the end of the function; fine bytes of an end hang on how a program writes it."""
    end = axis["from"] + (axis["to"] - axis["from"]) * truth[0]
    most = DEGREES if truth[0] == 1 else abs(truth[2] - truth[1]) / 128
    return abs(axis["from"] - truth[1]) < DEGREES and abs(end - truth[2]) < most
