"""Where targets may be lit: the performance polygon and the areas joined to it, with margin and height range."""

from __future__ import annotations

from bridge.geometry.areas import Prism
from bridge.geometry.stage import Point3, Stage


class Zones:
    """The area test. The polygon itself is always on; `more_areas` are joined to it while on."""

    def __init__(self, stage: Stage) -> None:
        self.polygon = Prism(stage.polygon.area)
        self.polygon.on = True
        self.more = {area.name: Prism(area) for area in stage.more_areas}
        self.margin, self.stay_within = stage.polygon.margin, stage.stay_within
        self.fade_in, self.fade_out = stage.polygon.fade_in, stage.polygon.fade_out

    def outside_by(self, point: Point3) -> float:
        """How far a point is outside all areas that are on, metres; negative inside."""
        outside = self.polygon.outside_by(point)
        for prism in self.more.values():
            if prism.on:
                outside = min(outside, prism.outside_by(point))
        return outside

    def judge(self, point: Point3, inside: bool, near: bool) -> tuple[bool, bool]:
        """Whether a point may be lit, and whether by heads that stay, given the last verdict on its target.

        What was allowed is lost beyond the margin, and found again only without it.
        """
        beyond = self.outside_by(point)
        near = beyond <= self.stay_within + (self.margin if near else 0.0)
        return beyond <= (self.margin if inside else 0.0), near

    def height_fault(self, point: Point3) -> str:
        """In words, where a point is inside an area in plan and only its height keeps it outside; else ""."""
        x, y, z = point
        for prism in (self.polygon, *self.more.values()):
            if prism.on and not prism.low <= z <= prism.high and prism.polygon.distance_outside(x, y) <= 0.0:
                word, limit = ("low", prism.low) if z < prism.low else ("high", prism.high)
                end = "lowest" if word == "low" else "highest"
                return f"too {word}: it is lit at {z:.2f} m, and {limit:g} m is the {end} that {prism.name} allows"
        return ""
