"""Until modes are read: a plain reading of pan and tilt, to test scenes with. Goes when `profile_of` is there."""

from __future__ import annotations

from typing import Any

import pytest

from bridge.exchange import mvr_types
from bridge.exchange.found import FoundProfile, Skipped
from bridge.exchange.gdtf import FixtureType, Taken
from bridge.exchange.names import slug
from bridge.exchange.xml_tree import Element


@pytest.fixture(autouse=True)
def _plain_modes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mvr_types, "profile_of", _profile_of)


def _profile_of(opened: FixtureType, mode: str) -> Taken:
    element, found = opened.mode(mode), {}
    assert element is not None
    for channel in element.below("DMXChannels", "DMXChannel"):
        for function in channel.below("LogicalChannel", "ChannelFunction"):
            found.setdefault(function.get("Attribute"), (channel, function))
    if "Pan" not in found or "Tilt" not in found:
        return Taken(skipped=(Skipped(opened.name, "no pan and tilt"),))
    document = {"name": opened.name, "footprint": 20, "axes_at": [0, 0, -0.42]}
    document |= {axis: _ends(found[axis.title()][1]) for axis in ("pan", "tilt")}
    profile = FoundProfile(f"{opened.what}|{mode}", slug(f"{opened.name} {mode}"), opened.what, mode, document)
    return Taken(profile, dmx_break=int(found["Pan"][0].get("DMXBreak")))


def _ends(function: Element) -> dict[str, Any]:
    return {"from": function.number("PhysicalFrom"), "to": function.number("PhysicalTo")}
