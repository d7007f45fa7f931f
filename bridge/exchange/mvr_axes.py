"""Where the heads of a drawing have their axes, by the GDTF files in it: places are given back as they are read."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bridge.errors import FileRefused
from bridge.exchange.archive import Archive
from bridge.exchange.gdtf import FixtureType, open_gdtf, profile_of
from bridge.exchange.gdtf_modes import choose
from bridge.exchange.mvr_scene import Placed
from bridge.exchange.mvr_types import MOST_GDTF, Members
from bridge.geometry.frames import Array
from bridge.rig.profile import Axis

SAME_DEG = 1e-6


class Axes(NamedTuple):
    """`at` (3,) m from the origin by which the drawing places the head; `base` (3, 3) turns its frame into ours.

    `pan`: degrees at raw 0 and at full, as the drawing's geometry has them.
    """

    at: Array
    base: Array
    pan: tuple[float, float]

    def turn_deg(self, pan: Axis) -> float:
        """By how much the zero of pan in a profile of ours lies beside the drawing's; 0 where it runs the other way."""
        off = self.pan[0] - pan.from_deg
        return off if abs(self.pan[1] - pan.to_deg - off) < SAME_DEG else 0.0


class DrawnAxes:
    """Each file inside is read once, and each of its modes."""

    def __init__(self, archive: Archive) -> None:
        self._archive, self._members = archive, Members(archive)
        self._types: dict[str, FixtureType | None] = {}
        self._axes: dict[tuple[str, str], Axes | None] = {}

    def of(self, drawn: Placed) -> Axes | None:
        """None where the drawing has no file of its type that says it."""
        spec, mode = drawn.said.get("gdtfspec", ""), drawn.said.get("gdtfmode", "")
        if (spec, mode) not in self._axes:
            try:
                self._axes[spec, mode] = self._read(spec, mode)
            except FileRefused:
                self._axes[spec, mode] = None
        return self._axes[spec, mode]

    def _read(self, spec: str, mode: str) -> Axes | None:
        member = self._members.find(spec)
        if member is None:
            return None
        if member not in self._types:
            self._types[member] = None  # also where it cannot be read
            self._types[member] = open_gdtf(self._archive.read(member, MOST_GDTF), member)
        opened = self._types[member]
        if opened is None:
            return None
        meant = choose(list(opened.element.below("DMXModes", "DMXMode")), mode or None).mode
        taken = profile_of(opened, meant) if meant is not None else None
        if taken is None or taken.profile is None or taken.head is None:
            return None
        pan = taken.profile.document["pan"]
        return Axes(np.array(taken.head.axes_at), np.array(taken.head.base_rotation), (pan["from"], pan["to"]))
