"""What the view draws: the place once, then one small frame per picture. Plain JSON with short numbers.

scene: name, polygon {corners, height, margin}, areas, no_light, floors, marks, heads [{name, truss, position, up,
profile}]. frame: t, performers, heads [{level, start, dir, hit, ellipse {c, a, b}, zoom_deg, error_m, solved, colour}],
fps, sources, note. Lengths in metres, stage frame; `solved` is where the bridge's own pose believes that the beam is;
`colour` are red, green and blue up to 255, null for white.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bridge.errors import TetherlightError
from bridge.geometry.stage import Area
from bridge.show.load import load
from bridge.show.model import Show
from bridge.venue.kinematics import Hangs
from bridge.venue.simulation import LIT, Venue
from bridge.venue.thrown_beams import Ellipses, ThrownBeams, axis_distance, ellipses, throw
from bridge.venue.truth import FixtureTruth, Truth
from bridge.venue.virtual_heads import HeadState

Array = NDArray[np.float64]


def _short(values: Sequence[float] | Array) -> list[float]:
    return [round(float(v), 3) for v in values]


def _finite(values: Sequence[float]) -> list[float | None]:
    """JSON has no infinity: an open end is null."""
    return [round(float(v), 3) if math.isfinite(v) else None for v in values]


def _corners(corners: Sequence[Sequence[float]]) -> list[list[float]]:
    return [_short(corner) for corner in corners]


def scene(show: Show, truth: Truth) -> dict[str, Any]:
    """Everything that stands still."""
    truths = truth.ordered(show)
    up = Hangs.of(truths).up()
    stage, polygon = show.stage, show.stage.polygon
    heads = [
        {
            "name": fixture.name,
            "truss": fixture.truss,
            "position": _short(head.position),
            "up": _short(up[i]),
            "profile": fixture.profile.name,
        }
        for i, (fixture, head) in enumerate(zip(show.fixtures, truths, strict=True))
    ]
    return {
        "name": show.name,
        "polygon": {
            "corners": _corners(polygon.area.corners),
            "height": _finite(polygon.area.height),
            "margin": round(polygon.margin, 3),
        },
        "areas": [{"name": a.name, "corners": _corners(a.corners), "on": a.on} for a in stage.more_areas],
        "no_light": [_prism(a) for a in stage.no_light],
        "floors": [
            {"name": f.name, "corners": _corners(f.corners), "height": round(f.height, 3)} for f in stage.floors
        ],
        "marks": {name: _short(place) for name, place in truth.true_marks(show).items()},
        "heads": heads,
    }


def _prism(area: Area) -> dict[str, Any]:
    return {"name": area.name, "corners": _corners(area.corners), "height": _finite(area.height)}


class BelievedBeams:
    """The beams as a set of solved poses believes them to be; replaced when the bridge solves anew."""

    def __init__(self, show: Show) -> None:
        self.which = [i for i, fixture in enumerate(show.fixtures) if fixture.name in show.poses]
        poses = [show.poses[show.fixtures[i].name] for i in self.which]
        self._hangs = Hangs.of([FixtureTruth(p.position, p.rotation, p.mechanics) for p in poses])

    def beams(self, venue: Venue, state: HeadState) -> ThrownBeams | None:
        """Beams of the heads in `which`; None where nothing is solved."""
        if not self.which:
            return None
        picked = HeadState(*(getattr(state, name)[self.which] for name in HeadState.__dataclass_fields__))
        return throw(self._hangs, picked, venue.place.ground)


class PosesWatch:
    """The solved beams of a show folder, read anew when its poses.yaml has changed and is whole and good."""

    def __init__(self, show: Show) -> None:
        self._folder = show.path
        self._seen = self.written()
        self._solved = BelievedBeams(show)
        self._calls = 0

    def written(self) -> int:
        """When poses.yaml was written, 0 where there is none."""
        try:
            return (self._folder / "poses.yaml").stat().st_mtime_ns
        except OSError:
            return 0

    def now(self) -> BelievedBeams:
        """Cheap: looks at the file once in 30 calls."""
        self._calls += 1
        if self._calls % 30 == 0 and self.written() != self._seen:
            self._seen = self.written()
            # The bridge's own loader says what is wrong with it; the last good poses stay in the picture.
            with contextlib.suppress(TetherlightError):
                self._solved = BelievedBeams(load(self._folder))
        return self._solved


def picture(
    venue: Venue, solved: BelievedBeams | None = None, fps: float = 0.0, sources: Sequence[str] = (), note: str = ""
) -> dict[str, Any]:
    """One frame of the venue as it is now."""
    state, beams = venue.look()
    spots = ellipses(beams)
    believed = _believed(venue, solved, state)
    errors = _errors(venue, beams)
    heads = [
        {
            "level": round(float(state.level[i]), 3),
            "start": _short(beams.start[i]),
            "dir": [round(float(v), 5) for v in beams.ray[i]],
            "hit": None if math.isnan(beams.length[i]) else _short(beams.hit[i]),
            "ellipse": _ellipse(spots, i) if beams.on_top[i] else None,
            "zoom_deg": round(math.degrees(state.zoom_rad[i]), 2),
            "error_m": round(errors[i], 4) if state.level[i] > LIT and math.isfinite(errors[i]) else None,
            "solved": believed.get(i),
            "colour": _colour(state.colour[i]),
        }
        for i in range(len(venue.names))
    ]
    performers = [
        {"name": p.name, "at": _short(p.feet), "inside": p.outside_by == 0} for p in venue.performers.values()
    ]
    return {
        "t": round(venue.now_s, 3),
        "performers": performers,
        "heads": heads,
        "fps": round(fps, 1),
        "sources": list(sources),
        "note": note,
    }


def _ellipse(spots: Ellipses, i: int) -> dict[str, list[float]] | None:
    if np.isnan(spots.centre[i]).any():
        return None
    return {"c": _short(spots.centre[i]), "a": _short(spots.long[i]), "b": _short(spots.short[i])}


def _colour(shares: Array) -> list[int] | None:
    return None if shares.min() >= 1 else [round(255 * float(share)) for share in shares]


def _errors(venue: Venue, beams: ThrownBeams) -> list[float]:
    nowhere = np.full(3, np.nan)
    found = [venue.performers.get(name) for name in venue.follows]
    points = np.array([nowhere if p is None else p.point for p in found])
    return [float(v) for v in axis_distance(beams, points)]


def _believed(venue: Venue, solved: BelievedBeams | None, state: HeadState) -> dict[int, dict[str, Any]]:
    beams = solved.beams(venue, state) if solved else None
    if solved is None or beams is None:
        return {}
    return {
        i: {
            "dir": [round(float(v), 5) for v in beams.ray[k]],
            "hit": None if math.isnan(beams.length[k]) else _short(beams.hit[k]),
        }
        for k, i in enumerate(solved.which)
    }
