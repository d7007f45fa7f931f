"""Where the heads of a drawing have their axes, by the GDTF files in it: places are given back as they are read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from bridge.exchange.archive import Archive
from bridge.exchange.found import Document
from bridge.exchange.gdtf_geometry import Rows
from bridge.exchange.mvr_says import Says
from bridge.exchange.mvr_scene import Placed
from bridge.exchange.mvr_types import Types, Use
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


def use_of(drawn: Placed) -> Use:
    """The type and mode of a head, as the drawing names them."""
    return Use(drawn.said.get("gdtfspec", ""), drawn.said.get("gdtfmode", ""))


def drawn_axes(archive: Archive, heads: Iterable[Placed]) -> dict[Use, Axes]:
    """By use; without those of which the drawing has no file that says it. Raises FileRefused as its reader does."""
    uses = dict.fromkeys(map(use_of, heads), ("",))
    types = Types(archive, uses, Says())
    return {use: _axes(known.profile.document, known.base) for use in uses if (known := types.of(use)).profile}


def _axes(document: Document, base: Rows) -> Axes:
    pan = document["pan"]
    return Axes(np.array(document.get("axes_at", (0.0, 0.0, 0.0))), np.array(base), (pan["from"], pan["to"]))
