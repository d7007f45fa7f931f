"""Bytes to degrees and light: what a desk sends for every fixture of a rig. The way back of `encode.Encoder`."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from bridge.geometry.frames import Array
from bridge.rig.bytes import ByteMap
from bridge.rig.look import DeskSays
from bridge.rig.profile import Axis
from bridge.rig.rig import Rig

PAN, TILT, DIMMER, ZOOM, FOCUS = range(5)


class Decoder:
    """Reads slots over the universes of `at`.

    A desk that has sent nothing but 0 in the fine bytes of a head's dimmer sends it in 8 bits: 255 is full light then.
    `fine` (N,) says of which heads it has sent more; whoever keeps it keeps what later readings depend on.
    """

    def __init__(self, rig: Rig, at: ByteMap) -> None:
        profiles = [fixture.profile for fixture in rig.fixtures]
        self.fine = np.zeros(len(rig), dtype=bool)
        self._map, self._count, self._names = at, len(rig), rig.names
        self._weight = 2.0**at.shift
        self._pan, self._tilt = _scale([p.pan for p in profiles]), _scale([p.tilt for p in profiles])
        self._square = np.array([p.dimmer_curve == "square" for p in profiles], dtype=bool)
        ends = np.array([p.dimmer_raw for p in profiles], dtype=np.float64).reshape(-1, 2) / at.full[DIMMER][:, None]
        self._dark, self._brighter = ends[:, 0], ends[:, 1] - ends[:, 0]
        self._full = np.where(at.full > 0, at.full, np.nan)
        self._coarse = np.maximum((at.full[DIMMER] + 1) / 256, 1.0)
        rows = [at.universes.index(fixture.universe) for fixture in rig.fixtures]
        self._row = np.array(rows, dtype=np.intp)

    def read(self, slots: np.ndarray, heard: np.ndarray) -> DeskSays:
        """What these slots (U, 512) say; `heard` (U,) are universes on which a whole frame was heard."""
        at = self._map
        values = slots.reshape(-1)[at.slot] * self._weight
        raw = np.bincount(at.source, values, minlength=5 * self._count).reshape(5, self._count)
        share = raw / self._full
        return DeskSays(
            self._pan[0] + self._pan[1] * share[PAN],
            self._tilt[0] + self._tilt[1] * share[TILT],
            self._light(raw[DIMMER], share[DIMMER]),
            np.where(np.isnan(share[ZOOM]), np.nan, raw[ZOOM]),
            np.where(np.isnan(share[FOCUS]), np.nan, raw[FOCUS]),
            heard[self._row],
        )

    def _light(self, raw: Array, share: Array) -> Array:
        coarse = np.floor(raw / self._coarse)
        self.fine |= raw != coarse * self._coarse
        said = np.where(self.fine, share, coarse / 255.0)
        level = np.clip((said - self._dark) / self._brighter, 0.0, 1.0)
        return np.where(self._square, level**2, level)

    @property
    def fine_names(self) -> list[str]:
        """The heads of `fine`, by name."""
        return [name for name, fine in zip(self._names, self.fine.tolist(), strict=True) if fine]

    def know_fine(self, names: Iterable[str]) -> None:
        """The desk is known to send all bytes of these heads' dimmers."""
        known = set(names)
        self.fine |= np.array([name in known for name in self._names], dtype=bool)


def _scale(axes: list[Axis]) -> Array:
    """Angles (rad) of N axes at 0, and what full adds to them: (2, N)."""
    low, high = np.radians([[axis.from_deg, axis.to_deg] for axis in axes]).reshape(-1, 2).T
    return np.array([low, high - low])
