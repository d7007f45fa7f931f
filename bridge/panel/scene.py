"""What stands still, for the page: the stage, marks, heads and targets of a show. Plain JSON, metres, stage frame."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from bridge.geometry.stage import Area, Point3
from bridge.rig.fixture import Fixture, Pose
from bridge.show.model import Show


def scene(show: Show, in_use: Mapping[str, Pose], revision: int) -> dict[str, Any]:
    """The scene that `/stream` sends; `in_use` are the poses that the bridge aims with."""
    stage, polygon = show.stage, show.stage.polygon
    return {
        "name": show.name,
        "revision": revision,
        "polygon": {**_prism(polygon.area), "margin": round(polygon.margin, 3)},
        "areas": [{**_prism(area), "on": area.on} for area in stage.more_areas],
        "no_light": [{**_prism(area), "on": area.on} for area in stage.no_light],
        "floors": [
            {"name": f.name, "corners": _corners(f.corners), "height": round(f.height, 3)} for f in stage.floors
        ],
        "marks": _marks(show),
        "tapes": [{"between": list(t.between), "metres": t.metres, "sigma": t.sigma} for t in stage.tapes],
        "heads": [_head(fixture, in_use.get(fixture.name), show) for fixture in show.fixtures],
        "trusses": sorted({f.truss for f in show.fixtures if f.truss}),
        "targets": [
            {"name": t.name, "height": t.height, "size": t.size, "sizes": dict(t.sizes), "heights": dict(t.heights)}
            for t in stage.targets
        ],
        "desk": _desk(show),
        "seat": _point(getattr(stage, "seat", None)),
        "accept": stage.accept,
        "sightings": [{"fixture": s.fixture, "mark": s.mark, "face": 1 if s.tilt >= 0 else 2} for s in show.sightings],
        "warnings": list(show.warnings),
    }


def _desk(show: Show) -> dict[str, Any] | None:
    """The desk beside us: `universes` are its own by ours."""
    desk = show.network.desk
    if desk is None:
        return None
    under = desk.under(sorted({fixture.universe for fixture in show.fixtures}))
    guide = None if desk.guide is None else {"fixture": desk.guide.fixture, "target": desk.guide.target}
    return {"way": desk.way, "universes": {str(ours): theirs for ours, theirs in under.items()}, "guide": guide}


def _marks(show: Show) -> dict[str, Any]:
    """Every mark; one that was never surveyed stands where it was solved, or nowhere (`at` null)."""
    found = {}
    for name, mark in show.stage.marks.items():
        at = mark.at if mark.at is not None else show.solved_marks.get(name)
        found[name] = {"at": _point(at), "sigma": mark.sigma, "surveyed": mark.at is not None}
    return found


def _head(fixture: Fixture, pose: Pose | None, show: Show) -> dict[str, Any]:
    """`at` is where the head hangs as solved, else by the plot; `on_disk` tells of the pose in poses.yaml."""
    written = show.poses.get(fixture.name)
    profile = fixture.profile
    return {
        "name": fixture.name,
        "truss": fixture.truss,
        "at": _point(pose.position if pose else fixture.at),
        "solved": pose is not None,
        "trusted": pose is not None and pose.trusted,
        "verified": pose is not None and pose.verified,
        "aim_error": pose.aim_error_p95 if pose else None,
        "on_disk": None
        if written is None
        else {"trusted": written.trusted, "accepted": written.accepted, "aim_error": written.aim_error_p95},
        "zoom": "zoom" in profile.channels,
        "focus": "focus" in profile.channels,
        "profile": profile.name,
        "universe": fixture.universe,
        "address": fixture.address,
        "guides": fixture.outside == "stay",
    }


def _prism(area: Area) -> dict[str, Any]:
    height = [round(v, 3) if math.isfinite(v) else None for v in area.height]
    return {"name": area.name, "corners": _corners(area.corners), "height": height}


def _corners(corners: Sequence[Sequence[float]]) -> list[list[float]]:
    return [[round(float(v), 3) for v in corner] for corner in corners]


def _point(point: Point3 | None) -> list[float] | None:
    return None if point is None else [round(float(v), 4) for v in point]
