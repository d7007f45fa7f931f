"""From a simulated evening to what the solver reads, and from its answer to figures.

`BENCH_ROOT=FOLDER` measures the `bridge` of another checkout. Keys that a checkout does not know yet are left out.
"""

from __future__ import annotations

import os
import re
import sys
from collections import Counter
from dataclasses import dataclass, field, fields
from pathlib import Path

import numpy as np

ROOT = Path(os.environ.get("BENCH_ROOT") or Path(__file__).resolve().parents[2])
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

import solve_reality_world as world  # noqa: E402
import solve_rigs as rigs  # noqa: E402

from bridge.errors import TetherlightError  # noqa: E402
from bridge.geometry.frames import rotation_from_quaternion  # noqa: E402
from bridge.geometry.stage import Area, Mark, PerformancePolygon, Stage, Target  # noqa: E402
from bridge.rig.fixture import Fixture, Hang  # noqa: E402
from bridge.rig.profile import Axis, Profile, ZoomTable  # noqa: E402
from bridge.solve.calibrate import calibrate  # noqa: E402
from bridge.solve.measurements import Sighting  # noqa: E402
from bridge.solve.words import suspect_words  # noqa: E402

CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
NAMES = rigs.NAMES
ZOOMS = ((0, 55.0), (10000, 12.0), (20000, 10.0), (30000, 8.0), (40000, 6.0), (50000, 4.0), (65535, 2.0))
LEFT_OUT: Counter = Counter()


def made(cls, **values):
    """An instance, without the keys that this checkout's class does not have (counted in LEFT_OUT)."""
    known = {f.name for f in fields(cls)}
    for name in set(values) - known:
        LEFT_OUT[f"{cls.__name__}.{name}"] += 1
    return cls(**{k: v for k, v in values.items() if k in known})


@dataclass
class Scene:
    """One simulated show: the truth, what was written down, and what should be said of it.

    `right`: what the first sentence must match (regular expression), None where nothing is wrong. `faulty`: names of
    the heads that are wrong in a row where only some are.
    """

    heads: list
    fixtures: list
    stage: Stage
    sightings: list
    right: str | None = None
    earlier: dict | None = None
    faulty: frozenset = field(default_factory=frozenset)


def profile_of(bits=16, backlash=0.0, zoomed=False):
    size = bits // 8
    channels = {"pan": tuple(range(1, 1 + size)), "tilt": tuple(range(3, 3 + size)), "dimmer": (5, 6)}
    zoom = ZoomTable(tuple((raw, deg, None) for raw, deg in ZOOMS)) if zoomed else None
    if zoomed:
        channels["zoom"] = (7, 8)
    half_pan, half_tilt = world.PAN_TRAVEL / 2, world.TILT_TRAVEL / 2
    return made(
        Profile, name="bench", footprint=8, channels=channels, pan=Axis(-half_pan, half_pan),
        tilt=Axis(-half_tilt, half_tilt), zoom=zoom, backlash=backlash,
    )  # fmt: skip


def fixtures_of(heads, profile, plot=None, at_sigma=None, per_truss=None):
    """Patched heads; `plot` (F, 3) where the plot has them, as hints unless `at_sigma` (m) is given."""
    out = []
    for i in range(len(heads)):
        more = {} if plot is None else {"at": tuple(map(float, plot[i]))}
        if at_sigma is not None:
            more["at_sigma"] = (at_sigma,) * 3
        if per_truss is not None:
            more["truss"] = f"t{i // per_truss}"
        slot = 1 + 8 * (i % 60)
        out.append(Fixture(f"h{i}", profile, 1 + i // 60, slot, hang=Hang(0, 0, 0, 1.0), **more))
    return out


def stage_of(marks, aim_sigma=0.03, survey_sigma=0.01, **more):
    """`marks`: places (M, 3) as written in stage.yaml, or Marks by themselves."""
    named = {
        n: m if isinstance(m, Mark) else Mark(n, tuple(map(float, m)), sigma=survey_sigma)
        for n, m in zip(NAMES, marks, strict=False)
    }
    polygon = PerformancePolygon(Area("performance_polygon", CORNERS))
    return made(Stage, polygon=polygon, marks=named, targets=(Target("lead", 1.4),), aim_sigma=aim_sigma, **more)


def sightings_of(seen, beam=None, named=lambda f: f"h{f}"):
    """As sightings.yaml has them, with the zoom in force where the beam angle is one of ZOOMS."""
    raw = next((raw for raw, deg in ZOOMS if deg == beam), None)
    return [Sighting(named(f), NAMES[m], float(a), float(b), zoom=raw) for f, m, a, b in seen]


@dataclass
class Tally:
    """What came of the scenes of a row."""

    squares: list = field(default_factory=list)
    faulty_squares: list = field(default_factory=list)
    predicted: list = field(default_factory=list)  # (predicted, achieved) squares of heads with a prediction
    counts: Counter = field(default_factory=Counter)
    firsts: Counter = field(default_factory=Counter)
    worst: float = 0.0
    worst_trusted: float = 0.0

    def add(self, rng, scene):
        """Solve a scene, drive its heads, and count what was said. Returns the answer, None where nothing solved."""
        self.counts["scenes"] += 1
        self.counts["heads"] += len(scene.heads)
        self.counts["faulty"] += len(scene.faulty)
        try:
            answer = calibrate(scene.fixtures, scene.stage, scene.sightings, scene.earlier)
        except TetherlightError as error:
            self.hear(scene, str(error).splitlines(), [])
            return None
        told = [(s, suspect_words(s)) for s in answer.suspects]
        self.hear(scene, [*answer.advice, *answer.notes], told)
        for i, head in enumerate(scene.heads):
            if (solved := answer.fixtures.get(f"h{i}")) is not None:
                self.drive(rng, scene, head, solved)
        return answer

    def hear(self, scene, sentences, told):
        first = sentences[0] if sentences else "nothing"
        self.firsts[re.sub(r"-?\d+(\.\d+)?", "#", first)[:170]] += 1
        if scene.right is not None:
            self.counts["right first"] += bool(re.search(scene.right, first, re.I))
            self.counts["right said"] += any(re.search(scene.right, s, re.I) for s in sentences)
            told = [(s, words) for s, words in told if not re.search(scene.right, words, re.I)]
        self.counts["false"] += len(told)
        self.counts["false, sure"] += sum(s.sure for s, _ in told)

    def drive(self, rng, scene, head, solved):
        terms = None
        if (m := solved.mechanics) is not None:
            terms = np.array([*np.radians([m.tilt_zero, m.squareness, m.collimation]), m.lens_x, m.lens_y, m.pan_scale])
        R = rotation_from_quaternion(solved.rotation)
        misses = head.misses(rng, np.array(solved.position), R, rigs.grid(), terms)
        self.squares.append(np.mean(misses**2))
        self.worst = max(self.worst, float(np.max(misses)))
        if solved.trusted:
            self.worst_trusted = max(self.worst_trusted, float(np.max(misses)))
        if solved.aim_rms is not None and np.isfinite(solved.aim_rms):
            self.predicted.append((solved.aim_rms**2, np.mean(misses**2)))
        self.counts["solved"] += 1
        self.counts["trusted"] += solved.trusted
        self.counts["verified"] += solved.verified
        if solved.name in scene.faulty:
            self.faulty_squares.append(np.mean(misses**2))
            self.counts["faulty trusted"] += solved.trusted
            self.counts["faulty verified"] += solved.verified

    def row(self, right=True):
        """One line of figures, centimetres."""
        n, heads = self.counts["scenes"], self.counts["heads"]
        aim = 100 * np.sqrt(np.mean(self.squares)) if self.squares else np.nan
        said, got = 100 * np.sqrt(np.mean(self.predicted, axis=0)) if self.predicted else (np.nan, np.nan)
        out = f"aim {aim:6.1f} worst {100 * self.worst:5.0f} (trusted {100 * self.worst_trusted:5.0f})"
        out += f" predicted {said:5.1f} ratio {said / got:5.3f}"
        out += f" | false {self.counts['false']:3d} (sure {self.counts['false, sure']})"
        if right:
            share = [100 * self.counts[k] / n for k in ("right first", "right said")]
            out += f" | right first {share[0]:3.0f} %, said {share[1]:3.0f} %"
        out += f" | trusted {100 * self.counts['trusted'] / heads:3.0f} % verified"
        out += f" {100 * self.counts['verified'] / heads:3.0f} % unsolved {heads - self.counts['solved']}"
        if self.counts["faulty"]:
            those = 100 * np.sqrt(np.mean(self.faulty_squares)) if self.faulty_squares else float("nan")
            share = [100 * self.counts[k] / self.counts["faulty"] for k in ("faulty trusted", "faulty verified")]
            out += f" | those {those:.1f} cm, trusted {share[0]:.0f} % verified {share[1]:.0f} %"
        return f"{out} | n {n}"
