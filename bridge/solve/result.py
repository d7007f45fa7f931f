"""What a solve says, as plain data: never bare numbers, but value, sigma, what it rests on, what looks wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bridge.geometry.stage import Point3
from bridge.rig.fixture import Mechanics
from bridge.solve.arrays import Array


def point3(v: Array) -> Point3:
    """The first three of an array as plain numbers."""
    return float(v[0]), float(v[1]), float(v[2])


@dataclass(frozen=True)
class ProfileFault:
    """What a profile seems to have wrong: `term` pan | tilt | unit | tilt-zero; `factor` degrees for each one of the
    profile, for tilt-zero rad. The travels (degrees) are those of the profile."""

    term: str
    factor: float
    pan_travel: float
    tilt_travel: float


@dataclass(frozen=True)
class Moved:
    """A place in the files, where there is one, and where the sightings put it, metres."""

    said: Point3 | None
    seen: Point3


@dataclass(frozen=True)
class Reordered:
    """Marks that all fixtures exchange: pairs (as labelled, what it really is). `turned`: the layout looks the same
    after that turn. `turned_off`: how far fixtures were from the plot if the crew did begin elsewhere, metres."""

    pairs: tuple[tuple[str, str], ...]
    turned: bool = False
    turned_off: float | None = None


@dataclass(frozen=True)
class OtherMount:
    """The head fits when mounted so: a name of mounts.py."""

    mount: str


@dataclass(frozen=True)
class Unexplained:
    """The head does not fit one pose, and no explanation was tried; `every`: none fits, all sightings are in doubt."""

    every: bool = False


@dataclass(frozen=True)
class Misread:
    """Another reading of the whole survey: `reading` and `name` as in readings.py, `rivals` other readings that explain
    as much. `off`, `off_then`: metres that the middle one of the heads is off the rough plot as said and so read, NaN
    without a plot. `pairs`: the relabelling of marks that would look the same."""

    reading: str
    name: str
    rivals: tuple[str, ...]
    off: float
    off_then: float
    pairs: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Lifted:
    """Height of a mark in stage.yaml, and where the sightings put it, metres."""

    said: float
    seen: float


@dataclass(frozen=True)
class Taped:
    """A tape as written down, and the distance that everything else gives, metres."""

    said: float
    seen: float


@dataclass(frozen=True)
class Resized:
    """Real distances are `scale` times those of the surveyed marks, `by` the tapes | plot (rough, over all heads) |
    held (heads with at_sigma). `taped`: there are tapes. `wrong`: survey | tapes, what the plot contradicts as well.
    """

    scale: float
    by: str
    taped: bool
    wrong: str = ""


@dataclass(frozen=True)
class SharedRange:
    """So many heads of a profile turn `factor` degrees on an axis for each one of its `travel`."""

    profile: str
    axis: str
    factor: float
    travel: float
    heads: int


@dataclass(frozen=True)
class OffTruss:
    """A head that does not fit where `truss` has it, and what would explain it: metres along the truss, degrees about
    the vertical; None where no such move does."""

    truss: str
    along: float | None
    turned: float | None


@dataclass(frozen=True)
class OtherTruss:
    """A truss that lost its shape: `gone` of so many `sighted` heads do not fit the others, `worst` most of all.
    `heads` are those that nothing else proves; `variant`: how all would fit, "other end" | "mirror"."""

    truss: str
    heads: tuple[str, ...]
    gone: int
    sighted: int
    worst: str
    variant: str | None = None


Detail = (
    Lifted
    | Taped
    | Resized
    | SharedRange
    | Misread
    | OffTruss
    | OtherTruss
    | ProfileFault
    | Moved
    | Reordered
    | OtherMount
    | Unexplained
)


@dataclass(frozen=True)
class Suspect:
    """Something that does not fit. `kind`: sighting | wrong-mark | mark | swap | corner | profile | hang | position |
    mirror | feet | scale | tape | truss | patch.

    `fixture` is None when it concerns the whole rig, or a truss; `also` the second fixture of a crossed patch; `mark`
    the sighting or mark meant, None for a whole fixture; `instead` the mark that fits; `misfit` in metres on the
    floor; `sure` when nothing else explains it as well.
    `detail` holds what the kind alone does not say. `rivals`: other suspects that explain the same head as well;
    `one_of_several`: more than this is wrong with the head. words.py makes the sentence.
    """

    fixture: str | None
    mark: str | None
    kind: str
    misfit: float
    instead: str | None = None
    sure: bool = True
    detail: Detail | None = None
    rivals: tuple[Suspect, ...] = ()
    one_of_several: bool = False
    also: str | None = None

    def blames(self, name: str) -> bool:
        """Whether the pose of this fixture is in doubt."""
        if isinstance(self.detail, OtherTruss):
            return name in self.detail.heads
        return self.fixture is None or name in (self.fixture, self.also)


@dataclass(frozen=True)
class SolvedFixture:
    """One pose. `sound`: nothing looks wrong with it, so that `aim_rms` and the other predictions hold; `trusted`:
    sound, and predicted to be good enough. Metres, stage frame; rotation [x, y, z, w]; sigmas of rotation in degrees
    about the stage's axes.

    `residuals` by MARK (face 2: MARK/2) in metres on the mark's plane. `by_point` is the predicted rms at each of
    `Calibration.points`. `rests_on` says what no sighting supports. `covariance` (6, 6): metres, rad, fixture turn.
    """

    name: str
    position: Point3
    rotation: tuple[float, float, float, float]
    faces: tuple[int, ...]
    position_sigma: Point3
    rotation_sigma: Point3
    aim_rms: float
    aim_p95: float
    worst_at: Point3
    worst: float
    worst_p95: float
    by_point: Array
    residuals: Mapping[str, float]
    mechanics: Mechanics | None
    verified: bool
    trusted: bool
    sound: bool
    rests_on: tuple[str, ...]
    carried_over: str | None
    covariance: Array


@dataclass(frozen=True)
class NextMark:
    """A place for another sighting: what it would bring to the rig's rms aim error (m), and whom it helps most."""

    at: Point3
    before: float
    after: float
    fixture: str


@dataclass(frozen=True)
class SharedTerms:
    """Mechanical terms (degrees and metres by name) that so many heads of a profile were seen to share."""

    profile: str
    heads: int
    terms: Mapping[str, float]


@dataclass(frozen=True)
class Learned:
    """What a rig showed of itself and was solved with: `levels` hang.sigma as said and as seen (degrees), terms that
    profiles share, names of heads whose level was not used, of heads that were not carried as another unit hangs there
    now, and of heads that are proven to be somewhere else than the plot says. `share` and its sigma between axis (0)
    and pool (1) of what the hands centred, `centring`: predicted rms aim error, metres, as it is and if that were
    known."""

    levels: tuple[float, float] | None = None
    shared: tuple[SharedTerms, ...] = ()
    loosened: tuple[str, ...] = ()
    exchanged: tuple[str, ...] = ()
    misplaced: tuple[str, ...] = ()
    share: tuple[float, float] | None = None
    centring: tuple[float, float] | None = None


@dataclass(frozen=True)
class Calibration:
    """The whole answer. `unsolved` maps fixtures to why they have no new pose."""

    fixtures: Mapping[str, SolvedFixture]
    unsolved: Mapping[str, str]
    marks: Mapping[str, Point3]
    mark_sigma: Mapping[str, float]
    suspects: tuple[Suspect, ...]
    next_marks: tuple[NextMark, ...]
    advice: tuple[str, ...]
    points: Array
    notes: tuple[str, ...] = field(default=())

    @property
    def trusted(self) -> bool:
        """Nothing looks wrong, and every pose is predicted to be good enough."""
        return not self.suspects and all(f.trusted for f in self.fixtures.values())

    @property
    def rms(self) -> float | None:
        """Predicted rms aim error over all sound fixtures and points, metres; None where none is sound."""
        values = [f.aim_rms**2 for f in self.fixtures.values() if f.sound]
        return float((sum(values) / len(values)) ** 0.5) if values else None
