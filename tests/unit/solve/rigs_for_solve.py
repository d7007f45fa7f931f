"""Made-up rigs with a known truth; plain trigonometry of its own, nothing from bridge/solve."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from bridge.geometry.stage import Area, Mark, PerformancePolygon, Stage, Target
from bridge.rig.fixture import Fixture, Hang
from bridge.rig.profile import Axis, Profile
from bridge.solve.measurements import Sighting

CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
FIVE = [(-6, 0, 0), (6, 0, 0), (6, 8, 0), (-6, 8, 0), (-1, 4.5, 0)]
NAMES = "ABCDEFGH"
PROFILE = Profile("made up", 6, {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6)}, Axis(-270, 270), Axis(-180, 180))


def rx(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def ry(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def rz(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


@dataclass
class Head:
    """A true head; `terms` are tilt zero, squareness, collimation (rad), lens x, lens y (m), pan scale."""

    p: np.ndarray
    R: np.ndarray
    terms: np.ndarray = field(default_factory=lambda: np.zeros(6))

    def beam(self, pan, tilt):
        tz, sq, co, lx, ly, ps = self.terms
        axis = self.R @ rz((1 + ps) * pan) @ ry(sq) @ rx(tilt + tz)
        return self.p + axis @ np.array([lx, ly, 0.0]), axis @ ry(co) @ np.array([0, 0, -1.0])

    def miss(self, point, pan, tilt):
        start, d = self.beam(pan, tilt)
        v = np.asarray(point, float) - start
        return v - d * (v @ d)

    def angles_to(self, point, face=1):
        q = self.R.T @ (np.asarray(point, float) - self.p)
        x = np.array([np.arctan2(-q[0], q[1]), np.arctan2(np.hypot(q[0], q[1]), -q[2])])
        if face == 2:
            x = np.array([x[0] - np.copysign(np.pi, x[0]), -x[1]])
        for _ in range(8 if np.any(self.terms) else 0):
            e = self.miss(point, *x)
            steps = (np.array([1e-6, 0]), np.array([0, 1e-6]))
            J = np.column_stack([(self.miss(point, *(x + s)) - e) / 1e-6 for s in steps])
            x = x - np.linalg.lstsq(J, e, rcond=None)[0]
        return np.degrees(x)


def rig(rng, count=4, mount="hanging", level_deg=1.0, terms=False):
    """`count` heads spread round the stage, any yaw, base level within `level_deg`."""
    base = {"hanging": np.eye(3), "standing": rx(np.pi), "side": ry(np.pi / 2)}[mount]
    heads = []
    for i in range(count):
        p = np.array([-5 + 10 * i / max(count - 1, 1), (-11.0, 3.0, 9.5)[i % 3], 8.0]) + rng.uniform(-0.4, 0.4, 3)
        tip = np.radians(level_deg) * rng.standard_normal(2)
        R = rz(rng.uniform(-np.pi, np.pi)) @ rx(tip[0]) @ ry(tip[1]) @ base
        size = np.array([np.radians(0.5), np.radians(0.2), np.radians(0.1), 0.05, 0.05, 0.001])
        heads.append(Head(p, R, rng.standard_normal(6) * size if terms else np.zeros(6)))
    return heads


def fixtures(heads, mount="hanging", **more):
    pitch, roll = {"hanging": (0, 0), "standing": (0, 180), "side": (90, 0)}[mount]
    return [Fixture(f"h{i}", PROFILE, 1, 1 + 6 * i, hang=Hang(0, pitch, roll, 1.0), **more) for i in range(len(heads))]


def stage(marks, **more):
    """`marks`: places (surveyed to 1 cm) or Mark objects."""
    named = [m if isinstance(m, Mark) else Mark(NAMES[i], tuple(map(float, m))) for i, m in enumerate(marks)]
    polygon = PerformancePolygon(Area("performance_polygon", CORNERS))
    return Stage(polygon, marks={m.name: m for m in named}, targets=(Target("lead", 1.4),), **more)


def sight(rng, heads, places, hand=0.03, faces=((1, None),)):
    """Every head on every place, the beam within `hand` per axis."""
    out = []
    for i, head in enumerate(heads):
        for face, which in faces:
            for m in range(len(places)) if which is None else which:
                pan, tilt = head.angles_to(np.asarray(places[m], float) + hand * rng.standard_normal(3), face)
                out.append(Sighting(f"h{i}", NAMES[m], float(pan), float(tilt), where=f"sightings.yaml:{len(out) + 3}"))
    return out


def grid():
    x, y, z = np.meshgrid(np.linspace(-6, 6, 5), np.linspace(0, 8, 4), [0.0, 1.4], indexing="ij")
    return np.stack([x, y, z], -1).reshape(-1, 3)


def believed(solved):
    """The head that a SolvedFixture describes."""
    m = solved.mechanics
    turns = [] if m is None else [np.radians(v) for v in (m.tilt_zero, m.squareness, m.collimation)]
    terms = np.zeros(6) if m is None else np.array([*turns, m.lens_x, m.lens_y, m.pan_scale])
    x, y, z, w = solved.rotation
    R = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    return Head(np.array(solved.position), R, terms)


def aim_misses(head, solved, face=1):
    """Metres from each grid point to the true beam when aimed through a SolvedFixture."""
    aimed = believed(solved)
    return np.array([np.linalg.norm(head.miss(p, *np.radians(aimed.angles_to(p, face)))) for p in grid()])
