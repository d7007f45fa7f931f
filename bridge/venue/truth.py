"""The truth of a simulated venue: how every head really hangs and errs, and where the marks really are.

Plain data. `truth_file.py` reads and writes it, `invent.py` makes one up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bridge.errors import InputError
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Mechanics
from bridge.show.model import Show

DEAD_SHARE = 0.3  # of a head's lag: pure delay of packet and processor; the rest is the motors' smoothing
Quaternion = tuple[float, float, float, float]


@dataclass(frozen=True)
class FixtureTruth:
    """One real head. Metres, stage frame; rotation is stage_from_fixture as [x, y, z, w]; times in seconds.

    `backlash_deg` is the play of both axes, `dead_time_s` the pure delay from packet to motor, `smoothing_s` the lag
    that the maker's filter adds to a steady motion, the travel times are from one end of zoom or focus to the other,
    `dimmer_s` the time constant of the light's response. `zoom_scale` is the true beam angle over the profile's, and
    `focus_off` what the true focus is beside the profile's, as a share of full scale. `colour` are the offsets of the
    slots that mix red, green and blue light (255: all of it); None is a head whose light is always white.
    """

    position: Point3
    rotation: Quaternion
    mechanics: Mechanics = field(default_factory=Mechanics)
    backlash_deg: float = 0.0
    dead_time_s: float = 0.0
    smoothing_s: float = 0.0
    zoom_travel_s: float = 0.0
    focus_travel_s: float = 0.0
    dimmer_s: float = 0.0
    zoom_scale: float = 1.0
    focus_off: float = 0.0
    colour: tuple[int, int, int] | None = None


@dataclass(frozen=True)
class Truth:
    """Everything that is true of a venue. `seed` is None when no dice were thrown."""

    fixtures: Mapping[str, FixtureTruth]
    marks: Mapping[str, Point3] = field(default_factory=dict)
    seed: int | None = None

    def ordered(self, show: Show) -> list[FixtureTruth]:
        """The heads in the rig's order. Raises InputError when this truth does not fit the rig."""
        names = [fixture.name for fixture in show.fixtures]
        missing = [name for name in names if name not in self.fixtures]
        unknown = [name for name in self.fixtures if name not in names]
        problems = []
        if missing:
            problems.append(f"no truth for {', '.join(missing)}, which the rig of {show.path} has")
        if unknown:
            problems.append(f"truth for {', '.join(unknown)}, which the rig of {show.path} does not have")
        for fixture in show.fixtures:
            most = fixture.profile.footprint
            head = self.fixtures.get(fixture.name)
            if head is not None and head.colour is not None and max(head.colour) > most:
                problems.append(f"colour {list(head.colour)} of {fixture.name}, whose profile has {most} slots")
        if problems:
            raise InputError("the truth does not fit the rig: " + "; ".join(problems) + "; is it another show's?")
        return [self.fixtures[name] for name in names]

    def true_marks(self, show: Show) -> dict[str, Point3]:
        """True places of the show's marks: the truth's where it has them, else as surveyed or solved."""
        known: dict[str, Point3] = {}
        for name, mark in show.stage.marks.items():
            place = self.marks.get(name) or mark.at or show.solved_marks.get(name)
            if place is not None:
                known[name] = place
        return known


def truth_from_poses(show: Show) -> Truth | None:
    """A venue in which every solved pose is exactly true, or None where a fixture has no pose."""
    if any(fixture.name not in show.poses for fixture in show.fixtures):
        return None
    heads = {}
    for fixture in show.fixtures:
        pose = show.poses[fixture.name]
        lag = fixture.profile.lag if fixture.lag is None else fixture.lag
        heads[fixture.name] = FixtureTruth(
            pose.position,
            pose.rotation,
            pose.mechanics,
            dead_time_s=DEAD_SHARE * lag,
            smoothing_s=(1 - DEAD_SHARE) * lag,
        )
    return Truth(heads, dict(show.solved_marks))
