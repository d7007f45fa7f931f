"""What a venue measures while a show runs: beam errors, light where it should not be, dark where it should not be.

`Meter.observe` is called at any steady rate with the venue as it is; `summary` says what was seen.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol, TextIO

import numpy as np
from numpy.typing import NDArray

from bridge.venue.simulation import LIT, Performer, Venue
from bridge.venue.thrown_beams import (
    ThrownBeams,
    axis_distance,
    edge_sharpness,
    ellipses,
    illuminance,
    in_pool,
    no_light_hits,
)
from bridge.venue.virtual_heads import HeadState

BIN_M, FARTHEST_M = 0.0005, 10.0  # of the histogram of errors
FOLLOWING = 0.25  # level from which a beam counts as following: below it is fading
COLUMNS = (
    "time_s", "fixture", "pan_deg", "tilt_deg", "level", "zoom_deg", "hit_x", "hit_y", "hit_z", "spot_m",
    "sharpness", "lux", "performer", "performer_x", "performer_y", "performer_z", "outside_m", "error_m", "in_pool",
    "no_light",
)  # fmt: skip


class _Row(Protocol):
    def writerow(self, row: Any, /) -> Any: ...


class Errors:
    """Statistics of any number of distances in fixed memory: 95 % to half a millimetre, the rest exact."""

    def __init__(self) -> None:
        self.count, self.squares, self.worst = 0, 0.0, 0.0
        self._bins = np.zeros(round(FARTHEST_M / BIN_M) + 1, dtype=np.int64)

    def add(self, distance: float) -> None:
        """Take one."""
        self.count += 1
        self.squares += distance * distance
        self.worst = max(self.worst, distance)
        self._bins[min(int(distance / BIN_M), len(self._bins) - 1)] += 1

    def merge(self, other: Errors) -> None:
        """Take all of another's."""
        self.count += other.count
        self.squares += other.squares
        self.worst = max(self.worst, other.worst)
        self._bins += other._bins

    def summary(self) -> dict[str, float | None]:
        """RMS, 95 % and worst in metres; None where nothing was taken."""
        if not self.count:
            return {"rms_m": None, "p95_m": None, "worst_m": None}
        at = int(np.searchsorted(np.cumsum(self._bins), 0.95 * self.count))
        p95 = min((at + 1) * BIN_M, self.worst) if at < len(self._bins) - 1 else self.worst
        return {
            "rms_m": round(float(np.sqrt(self.squares / self.count)), 5),
            "p95_m": round(p95, 5),
            "worst_m": round(self.worst, 5),
        }


@dataclass
class _Tally:
    """Of one fixture."""

    errors: Errors = field(default_factory=Errors)
    worst_share: float = 0.0  # of the spot's diameter
    pool_s: float = 0.0
    followed_s: float = 0.0
    lit_outside_s: float = 0.0
    lit_outside_run_s: float = 0.0
    longest_lit_outside_s: float = 0.0
    dark_inside_s: float = 0.0
    pan_speed: float = 0.0
    tilt_speed: float = 0.0
    no_light_s: float = 0.0


class Meter:
    """Measures a venue. `csv` takes one row per fixture and observation."""

    def __init__(self, venue: Venue, csv: TextIO | None = None) -> None:
        self._venue = venue
        self._margin = venue.show.stage.polygon.margin
        self._stay = [fixture.outside == "stay" for fixture in venue.show.fixtures]
        self._writer: _Row | None = None
        if csv is not None:
            import csv as csv_module

            self._writer = csv_module.writer(csv)
            self._writer.writerow(COLUMNS)
        self.restart()

    def restart(self) -> None:
        """Forget what was measured, e.g. when a new walk begins."""
        self._tallies = [_Tally() for _ in self._venue.names]
        self.observed_s = 0.0

    def current_error(self) -> NDArray[np.float64]:
        """Distances (n,) m of the performers from the beam axes now; nan where there is no performer."""
        return axis_distance(self._venue.look()[1], self._points())

    def observe(self, dt: float) -> None:
        """Take the venue as it is now; it stands for the last dt seconds."""
        venue = self._venue
        state, beams = venue.look()
        self.observed_s += dt
        forbidden = no_light_hits(beams, state.level > LIT, venue.place.ground, venue.place.no_light)
        bad = np.logical_or.reduce(list(forbidden.values())) if forbidden else np.zeros(len(venue.names), bool)
        points = self._points()
        distance, pool = axis_distance(beams, points), in_pool(beams, points)
        radius = np.linalg.norm(points - beams.start, axis=1) * np.tan(beams.half_rad)
        for i, tally in enumerate(self._tallies):
            tally.pan_speed = max(tally.pan_speed, abs(float(state.pan_speed[i])))
            tally.tilt_speed = max(tally.tilt_speed, abs(float(state.tilt_speed[i])))
            tally.no_light_s += dt if bad[i] else 0.0
            performer = venue.performers.get(venue.follows[i])
            if performer is not None:
                share = float(distance[i] / (2 * radius[i])) if radius[i] > 0 else float("inf")
                self._follow(i, performer, float(state.level[i]), float(distance[i]), share, bool(pool[i]), dt)
        if self._writer is not None:
            self._rows(state, beams, distance, pool, bad)

    def _points(self) -> NDArray[np.float64]:
        """What each head should light, (n, 3); nan where its performer is nowhere."""
        nowhere = np.full(3, np.nan)
        found = [self._venue.performers.get(name) for name in self._venue.follows]
        return np.array([nowhere if p is None else p.point for p in found])

    def _follow(
        self, i: int, performer: Performer, level: float, error: float, share: float, pool: bool, dt: float
    ) -> None:
        tally = self._tallies[i]
        outside = performer.outside_by > self._margin and not self._stay[i]
        if outside and level > LIT:
            tally.lit_outside_s += dt
            tally.lit_outside_run_s += dt
            tally.longest_lit_outside_s = max(tally.longest_lit_outside_s, tally.lit_outside_run_s)
        else:
            tally.lit_outside_run_s = 0.0
        if performer.outside_by > 0:
            return
        tally.dark_inside_s += dt if level <= LIT else 0.0
        if level >= FOLLOWING:
            tally.errors.add(error)
            tally.worst_share = max(tally.worst_share, share)
            tally.followed_s += dt
            tally.pool_s += dt if pool else 0.0

    def _rows(
        self, state: HeadState, beams: ThrownBeams, distance: NDArray[np.float64], pool: NDArray[np.bool_],
        bad: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        assert self._writer is not None
        spot, sharp, lux = ellipses(beams).diameter(), edge_sharpness(beams, state), illuminance(beams, state)
        for i, name in enumerate(self._venue.names):
            performer = self._venue.performers.get(self._venue.follows[i])
            who = [""] * 5
            if performer is not None:
                who = [performer.name, *(f"{v:.3f}" for v in performer.feet), f"{performer.outside_by:.3f}"]
            head = [np.degrees(state.pan_rad[i]), np.degrees(state.tilt_rad[i]), state.level[i]]
            where = [np.degrees(state.zoom_rad[i]), *beams.hit[i], spot[i], sharp[i], lux[i]]
            self._writer.writerow(
                [f"{self._venue.now_s:.3f}", name, *(_cell(v) for v in [*head, *where]), *who,
                 _cell(distance[i]), int(pool[i]), int(bad[i])]
            )  # fmt: skip

    def summary(self) -> dict[str, Any]:
        """JSON-able: per fixture, and `all` over the rig. Metres, seconds, degrees; None where nothing was seen."""
        each = {name: _of(t) for name, t in zip(self._venue.names, self._tallies, strict=True)}
        every = Errors()
        for tally in self._tallies:
            every.merge(tally.errors)
        return {"observed_s": round(self.observed_s, 2), "all": self._overall(every), "fixtures": each}

    def _overall(self, errors: Errors) -> dict[str, Any]:
        tallies = self._tallies
        followed = sum(t.followed_s for t in tallies)
        return {
            **errors.summary(),
            "worst_share_of_spot": round(max(t.worst_share for t in tallies), 4),
            "in_pool": round(sum(t.pool_s for t in tallies) / followed, 5) if followed > 0 else None,
            "lit_outside_s": round(max(t.lit_outside_s for t in tallies), 3),
            "longest_lit_outside_s": round(max(t.longest_lit_outside_s for t in tallies), 3),
            "dark_inside_s": round(max(t.dark_inside_s for t in tallies), 3),
            "no_light_s": round(max(t.no_light_s for t in tallies), 3),
        }


def _of(tally: _Tally) -> dict[str, Any]:
    return {
        **tally.errors.summary(),
        "worst_share_of_spot": round(tally.worst_share, 4),
        "in_pool": round(tally.pool_s / tally.followed_s, 5) if tally.followed_s > 0 else None,
        "followed_s": round(tally.followed_s, 3),
        "lit_outside_s": round(tally.lit_outside_s, 3),
        "longest_lit_outside_s": round(tally.longest_lit_outside_s, 3),
        "dark_inside_s": round(tally.dark_inside_s, 3),
        "pan_speed_deg_s": round(float(np.degrees(tally.pan_speed)), 2),
        "tilt_speed_deg_s": round(float(np.degrees(tally.tilt_speed)), 2),
        "no_light_s": round(tally.no_light_s, 3),
    }


def _cell(value: float) -> str:
    return "" if not np.isfinite(value) else f"{value:.4f}"
