"""Raised marks: a card on a stand, turned to the head, for heads that meet the floor too flat.

What a person sees of them: how far right of the card's centre and above it the beam crosses the card's plane. In haze
that is seen also where the beam passes beside the card.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.stage import Point3
from bridge.venue.simulation import LIT, Venue

Array = NDArray[np.float64]
RAISED_M = 0.3  # a mark so far above the floor stands on something
FLATTEST_DEG = 10.0  # a pool that is stretched more than to six times its width is not put on a mark by anybody


class Cards:
    """The marks of one venue as its heads see them."""

    def __init__(self, venue: Venue) -> None:
        self._venue = venue
        self._seen_s = -math.inf
        self._seen: tuple[Array, Array, NDArray[np.bool_]] = (np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool))
        ground = venue.place.ground
        self.raised = frozenset(
            name
            for name, (x, y, z) in venue.marks.items()
            if z > float(ground.height(np.array(x), np.array(y))) + RAISED_M
        )

    def serves(self, head: str, mark: str) -> bool:
        """Whether a person would sight this head on this mark: any card, and a floor that its beam meets steeply."""
        if mark in self.raised:
            return True
        away = self._venue.hangs.position[self._venue.names.index(head)] - np.array(self._venue.marks[mark])
        return bool(away[2] > math.sin(math.radians(FLATTEST_DEG)) * np.linalg.norm(away))

    def crossing(self, head: str, mark: str) -> Point3 | None:
        """(right, up, 0) metres from the mark, as seen from the head, where its beam crosses the card; None: it points
        the other way, or is dark."""
        venue, n = self._venue, self._venue.names.index(head)
        starts, rays, lit = self._beams()
        if not lit[n]:
            return None
        start, ray, at = starts[n], rays[n], np.array(venue.marks[mark])
        facing = at - venue.hangs.position[n]
        facing /= np.linalg.norm(facing)
        ahead = float(ray @ facing)
        if ahead < 1e-3:
            return None
        right = np.cross(facing, (0.0, 0.0, 1.0))
        right /= max(float(np.linalg.norm(right)), 1e-9)
        miss = start + ray * (float((at - start) @ facing) / ahead) - at
        return float(miss @ right), float(miss @ np.cross(right, facing)), 0.0

    def _beams(self) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Starts, rays and which are lit, of all heads: once for each step of the venue."""
        if self._seen_s != self._venue.now_s:
            state = self._venue.heads.state()
            self._seen = (*self._venue.hangs.beam(state.pan_rad, state.tilt_rad), state.level > LIT / 2)
            self._seen_s = self._venue.now_s
        return self._seen
