"""How sightings were made, and the noise that is known of: the steps of an axis and its play.

An axis that is sent in steps stands up to half a step from where a hand would have it (uniform: step / sqrt 12). One
with play stands anywhere within it, most often at one end: half of it, as sigma.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from bridge.rig.fixture import Fixture
from bridge.rig.profile import Profile
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.measurements import Sighting

SHARE, SHARE_SIGMA = 0.6, 0.5  # where nobody said: a hand centres what it sees, more often the pool than the axis
DRIVEN_PLAY = 0.6
"""Of the play, as sigma of a driven axis. Sighted from one side, driven from both: half the time all of it is missed,
less what the pose's own uncertainty has of it already. Sighted from both: half of it. This is in the middle."""
SAID = {"pool": 1.0, "axis": 0.0}


@dataclass(frozen=True)
class Sighted:
    """How each slot (F, N) was sighted. `half` rad: half the beam angle in force, 0 where it is not known; `share` how
    much of the pool's offset counts (pool.py); `free` where nobody said which; `axis` (F, 2) rad: sigma of pan and of
    tilt; `reach` (F, N) metres from lens to mark, at which that noise counts."""

    half: Array
    share: Array
    free: Mask
    axis: Array
    reach: Array

    def take(self, rows: Rows | Mask) -> Sighted:
        """Those of these heads."""
        return Sighted(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    @property
    def oblique(self) -> bool:
        """Whether any sighting may lie beside its axis."""
        return bool(np.any(self.half * self.share))

    @property
    def undecided(self) -> bool:
        """Whether any sighting waits for what the hands centred."""
        return bool(np.any(self.free & (self.half > 0)))

    def with_share(self, share: float) -> Sighted:
        """The same, with this share wherever nobody said."""
        return replace(self, share=np.where(self.free, share, self.share))

    def across(self, weight: Array, tilt: Array) -> tuple[Array, Array]:
        """Weights (F, N), 1/m, along the turn of the tilt and along that of the pan, from those of hand and mark."""
        tilting = weight * self.axis[:, 1:] * self.reach
        panning = weight * self.axis[:, :1] * self.reach * np.sin(tilt)
        return weight / np.hypot(1, tilting), weight / np.hypot(1, panning)


def how_sighted(fixtures: Sequence[Fixture], rows: Sequence[Sequence[Sighting]], slots: int, said: str) -> Sighted:
    """Of F fixtures with their sightings; `said` is what the stage says of those that do not say it themselves."""
    half, share = np.zeros((2, len(fixtures), slots))
    free = np.zeros((len(fixtures), slots), dtype=bool)
    for i, (fixture, row) in enumerate(zip(fixtures, rows, strict=True)):
        half[i, : len(row)] = [half_angle(fixture, s.zoom) for s in row]
        words = [s.sighted_by or said for s in row]
        share[i, : len(row)] = [SAID.get(word, SHARE) for word in words]
        free[i, : len(row)] = [word not in SAID for word in words]
    axis = np.array([[axis_sigma(f.profile, name) for name in ("pan", "tilt")] for f in fixtures]).reshape(-1, 2)
    return Sighted(half, share, free, axis, np.zeros((len(fixtures), slots)))


def half_angle(fixture: Fixture, zoom: int | None) -> float:
    """Half the beam angle (rad) at a raw zoom, as the table means its edge; 0 where that is not known."""
    profile = fixture.profile
    table = fixture.zoom_table or (profile.zoom.rows if profile.zoom else ())
    if not table or (zoom is None and len(table) > 1):
        return 0.0
    rows = np.array([row[:2] for row in table], dtype=float)
    return float(np.radians(np.interp(zoom or 0, rows[:, 0], rows[:, 1])) / 2)


def axis_step(profile: Profile, axis: str) -> float:
    """The smallest step (rad) that can be sent to `pan` or `tilt`."""
    motor = getattr(profile, axis)
    return float(np.radians(abs(motor.to_deg - motor.from_deg)) / profile.full_scale(axis))


def axis_sigma(profile: Profile, axis: str, play: float = 0.5) -> float:
    """Sigma (rad) of where `pan` or `tilt` stands; `play` is the part of the backlash that counts."""
    return float(np.hypot(axis_step(profile, axis) / np.sqrt(12), play * np.radians(profile.backlash)))


def driven_sigma(fixtures: Sequence[Fixture]) -> Array:
    """Sigma (F, 2) of pan and tilt, rad, when heads are driven to where they should point."""
    rows = [[axis_sigma(f.profile, name, DRIVEN_PLAY) for name in ("pan", "tilt")] for f in fixtures]
    return np.array(rows).reshape(-1, 2)
