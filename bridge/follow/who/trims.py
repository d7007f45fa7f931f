"""Trims: shifts of what heads light on the floor, kept until they are set to 0 0."""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.follow.keeping import Data, mapping_in, numbers_in
from bridge.geometry.frames import Array
from bridge.rig.rig import Rig

FARTHEST_M = 10.0
Shift = tuple[float, float]


class Trims:
    """Metres by head and by truss; `shift` (N, 2) is what both come to."""

    def __init__(self, rig: Rig) -> None:
        self._names = rig.names
        self._trusses = tuple(fixture.truss or "" for fixture in rig.fixtures)
        self.by_head: dict[str, Shift] = {}
        self.by_truss: dict[str, Shift] = {}
        self.shift: Array = np.zeros((len(rig), 2))

    def set_head(self, name: str, shift: Shift) -> None:
        """Shift what one head lights."""
        self._set(self.by_head, name, shift)

    def set_truss(self, name: str, shift: Shift) -> None:
        """Shift what all heads of a truss light."""
        self._set(self.by_truss, name, shift)

    def _set(self, trims: dict[str, Shift], name: str, shift: Shift) -> None:
        trims[name] = shift
        if not any(shift):
            del trims[name]
        self._gather()

    def _gather(self) -> None:
        none = (0.0, 0.0)
        single = np.array([self.by_head.get(name, none) for name in self._names]).reshape(-1, 2)
        self.shift = single + np.array([self.by_truss.get(truss, none) for truss in self._trusses]).reshape(-1, 2)

    def words(self) -> list[str]:
        """Each trim that is in force, for people."""
        rows = [*self.by_head.items(), *((f"truss {name}", shift) for name, shift in self.by_truss.items())]
        return [f"{name} by x {dx:+.2f}, y {dy:+.2f} m" for name, (dx, dy) in rows]

    def state(self) -> Data:
        """As of keeping.Part."""
        trims = {"heads": self.by_head, "trusses": self.by_truss}
        return {kind: {name: list(shift) for name, shift in by.items()} for kind, by in trims.items()}

    def restore(self, data: Any) -> None:
        """Take up what `state` gave."""
        data = mapping_in(data)
        self.by_head = _shifts(data.get("heads"), set(self._names))
        self.by_truss = _shifts(data.get("trusses"), set(self._trusses) - {""})
        self._gather()


def _shifts(data: Any, known: set[str]) -> dict[str, Shift]:
    found = {n: numbers_in(shift, 2, -FARTHEST_M, FARTHEST_M) for n, shift in mapping_in(data).items() if n in known}
    return {name: (shift[0], shift[1]) for name, shift in found.items() if shift}
