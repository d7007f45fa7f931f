"""The place: areas, floors, marks and targets, as plain data. Lengths in metres, stage frame, times in seconds.

`show` builds these from `stage.yaml`; everybody else reads them. All are frozen: what changes live (an area that is
switched, a floor that moves) is state of the engine, not of the description.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]


@dataclass(frozen=True)
class Area:
    """A vertical prism over a plan polygon. `height` is (lowest, highest) z of points in it."""

    name: str
    corners: tuple[Point2, ...]
    height: tuple[float, float] = (-math.inf, math.inf)
    on: bool = True


@dataclass(frozen=True)
class PerformancePolygon:
    """Where the target may be lit, and how the light goes and comes at its edge (margin m, fades s)."""

    area: Area
    margin: float = 0.15
    fade_out: float = 0.2
    fade_in: float = 0.3


@dataclass(frozen=True)
class Floor:
    """A plan polygon whose floor is at `height`; where floors overlap the highest counts; elsewhere it is 0."""

    name: str
    corners: tuple[Point2, ...]
    height: float


@dataclass(frozen=True)
class Mark:
    """A point on the floor. `at` is None while unknown; then `height` (z), if given, is all that is known.

    `sigma` is the survey error per axis; `height_sigma` that of the height of an unsurveyed mark.
    """

    name: str
    at: Point3 | None
    sigma: float = 0.01
    height: float | None = None
    height_sigma: float = 0.01


@dataclass(frozen=True)
class Datum:
    """Frame of a show without a survey: mark `origin` is (0, 0), mark `along_x` lies on the +x axis."""

    origin: str
    along_x: str


@dataclass(frozen=True)
class Tape:
    """A measured straight distance; an end is a mark or a fixture (where its axes meet)."""

    between: tuple[str, str]
    metres: float
    sigma: float = 0.01


@dataclass(frozen=True)
class Source:
    """A point of a tracking input that steers a target. `z`: floor (the target's height over the floor) | tag."""

    input: str
    point: str
    z: str = "floor"


@dataclass(frozen=True)
class Walk:
    """How a target moves and is seen. `predict`: its heads are led; `fastest` m/s; `noise` is the sigma of what is seen
    of it, m per axis, None: found out; `delay`: how old an observation is when it arrives, s."""

    predict: bool = True
    fastest: float = 9.0
    noise: float | None = None
    delay: float = 0.0


@dataclass(frozen=True)
class Target:
    """What fixtures follow: `height` of the beam centre above the floor, `size` the spot's diameter, both in metres.

    `sizes` and `heights` are the metres that a name stands for. `sources` steer it beside OSC, the preferred one first.
    """

    name: str
    height: float = 1.3
    size: float = 2.0
    sources: tuple[Source, ...] = ()
    sizes: Mapping[str, float] = field(default_factory=dict)
    heights: Mapping[str, float] = field(default_factory=dict)
    walk: Walk = field(default_factory=Walk)


@dataclass(frozen=True)
class LevelMap:
    """Factor over the stage, bilinear between grid points, held at the edges; rows of `factor` go by y."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    factor: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Stage:
    """Everything `stage.yaml` says.

    `sighted_by`: pool | axis | unknown, what the hands centre on a mark. `accept`: metres, the largest predicted aim
    error (95 %, worst place) of a trusted pose. `stay_within`: metres beyond the area in which heads that stay go on.
    `evenness_least`: what evenness leaves of any head's light. `at_most_lux`: what all heads of a target give together.
    `seat`: where the operator's eyes are, for the panel's seat view.
    """

    polygon: PerformancePolygon
    more_areas: tuple[Area, ...] = ()
    floors: tuple[Floor, ...] = ()
    no_light: tuple[Area, ...] = ()
    marks: Mapping[str, Mark] = field(default_factory=dict)
    datum: Datum | None = None
    tapes: tuple[Tape, ...] = ()
    targets: tuple[Target, ...] = (Target("lead"),)
    move_in_black_after: float = 0.6
    evenness: bool = False
    level_map: LevelMap | None = None
    aim_sigma: float = 0.03
    sighted_by: str = "unknown"
    accept: float = 0.3
    stay_within: float = 5.0
    evenness_least: float = 0.5
    at_most_lux: float | None = None
    seat: Point3 | None = None
