"""What a head's lens does with zoom and focus values: the profile's tables, and how this lens differs from them.

What the bridge has learned (poses.yaml) does not change a lens, so whether it learned rightly can be measured.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bridge.rig.fixture import Fixture
from bridge.venue.truth import FixtureTruth

Array = NDArray[np.float64]
BEAM_WITHOUT_TABLE_DEG = 8.0  # a head whose profile says nothing of its lens; common practice, no source
LENS_APERTURE_M = 0.12  # a spot's front lens; common practice, no source
# Field (10 %) to beam (50 %) angle of a Gaussian beam: sqrt(ln 2 / ln 10).
BEAM_OF_FIELD = 0.5486


class OpticsTables:
    """True zoom and focus tables of n heads; values are shares 0..1 of the channel's full scale, (n,)."""

    def __init__(self, fixtures: Sequence[Fixture], truths: Sequence[FixtureTruth]) -> None:
        pairs = list(zip(fixtures, truths, strict=True))
        self._zoom = [_zoom_table(f, t.zoom_scale) for f, t in pairs]
        self._focus = [_focus_table(f, t.focus_off) for f, t in pairs]

    def zoom(self, share: Array) -> tuple[Array, Array]:
        """Full beam angles (rad, to 50 % of centre intensity) and candela at full level (nan: not known)."""
        angle = np.array([np.interp(s, t[0], t[1]) for s, t in zip(share, self._zoom, strict=True)])
        candela = np.array([np.interp(s, t[0], t[2]) for s, t in zip(share, self._zoom, strict=True)])
        return np.radians(angle), candela

    def focus_distance(self, share: Array) -> Array:
        """Distances (m) at which the image is sharp; nan for heads without focus, held at the table's ends."""
        pairs = zip(share, self._focus, strict=True)
        return np.array([np.nan if t is None else 1 / np.interp(s, t[0], t[1]) for s, t in pairs])


def _zoom_table(fixture: Fixture, scale: float) -> tuple[Array, Array, Array]:
    table = fixture.profile.zoom
    rows = table.rows if table else ((0.0, BEAM_WITHOUT_TABLE_DEG, None),)
    full = fixture.profile.full_scale("zoom") if "zoom" in fixture.profile.channels else 1
    share = np.array([row[0] for row in rows]) / full
    edge = BEAM_OF_FIELD if table and table.edge == "field" else 1.0
    angle = np.array([row[1] for row in rows]) * edge * scale
    candela = np.array([np.nan if row[2] is None else row[2] for row in rows], dtype=np.float64)
    return share, angle, candela


def _focus_table(fixture: Fixture, off: float) -> tuple[Array, Array] | None:
    """Raw (as a share, rising) against dioptres: between the rows a lens is nearly linear in 1/distance."""
    rows = fixture.profile.focus
    if not rows or "focus" not in fixture.profile.channels:
        return None
    full = fixture.profile.full_scale("focus")
    ordered = sorted((raw / full + off, 1 / distance) for distance, raw in rows)
    return np.array([r for r, _ in ordered]), np.array([d for _, d in ordered])


def sharpness(distance_m: Array, focus_m: Array, zoom_rad: Array) -> Array:
    """1 for a sharp edge, 0 when the blur is as wide as the spot; nan where there is no focus.

    Thin lens: a point imaged at the focus distance f spreads at distance r over aperture * |r / f - 1|.
    """
    blur = LENS_APERTURE_M * np.abs(distance_m / focus_m - 1)
    spot = 2 * distance_m * np.tan(zoom_rad / 2)
    return np.asarray(1 - np.minimum(blur / np.maximum(spot, 1e-9), 1.0))
