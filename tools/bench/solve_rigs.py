"""Made-up rigs with a known truth for the figures of the solver. Shares no code with bridge/solve.

The rig of facts/solver.md: four heads each at y = -12, 3 and 9 m, z = 9, 8 and 7.5 m, x spread evenly over -6 .. 6 m
(our choice) with 0.5 m of scatter per axis; polygon 12 m x 8 m, x -6 .. 6, y 0 .. 8. Base level within 1 deg per axis
(normal), yaw uniform. Marks surveyed within 1 cm per axis, the beam put on each mark within 3 cm per axis (normal, all
three axes), angles to 16 bit over 540 and 270 deg.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

LAYOUTS = {
    2: [(-5, 4, 0), (5, 4, 0)],
    3: [(-5, 1, 0), (5, 1, 0), (0, 7, 0)],
    4: [(-6, 0, 0), (6, 0, 0), (6, 8, 0), (-6, 8, 0)],
    5: [(-6, 0, 0), (6, 0, 0), (6, 8, 0), (-6, 8, 0), (0, 4, 0)],
    6: [(-6, 0, 0), (6, 0, 0), (6, 8, 0), (-6, 8, 0), (-1.5, 4, 0), (2, 3, 0)],
}
DIAGONAL = [(-5, 1, 0), (5, 7, 0)]
NAMES = "ABCDEFGHIJ"


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
class TrueHead:
    p: np.ndarray
    R: np.ndarray
    pitch: float = 0.0
    roll: float = 0.0
    terms: np.ndarray = field(default_factory=lambda: np.zeros(6))

    def angles_to(self, point, face=1):
        """Pan and tilt (rad) that put this true head's beam on a point; a few Newton steps for the terms."""
        q = self.R.T @ (np.asarray(point) - self.p)
        tilt, pan = np.arctan2(np.hypot(q[0], q[1]), -q[2]), np.arctan2(-q[0], q[1])
        if face == 2:
            pan, tilt = pan + np.pi, -tilt
            if pan > np.pi:
                pan -= 2 * np.pi
        if not np.any(self.terms):
            return pan, tilt
        x = np.array([pan, tilt])
        for _ in range(20):
            e = self.offset(point, *x)
            J = np.column_stack(
                [(self.offset(point, *(x + d)) - e) / 1e-6 for d in (np.array([1e-6, 0]), np.array([0, 1e-6]))]
            )
            x = x - np.linalg.lstsq(J, e, rcond=None)[0]
        return x[0], x[1]

    def beam(self, pan, tilt):
        tz, sq, co, lx, ly, ps = self.terms
        axis = self.R @ rz((1 + ps) * pan) @ ry(sq) @ rx(tilt + tz)
        return self.p + axis @ np.array([lx, ly, 0]), axis @ ry(co) @ np.array([0, 0, -1.0])

    def offset(self, point, pan, tilt):
        start, d = self.beam(pan, tilt)
        v = np.asarray(point) - start
        return v - d * (v @ d)


@dataclass
class TrueRig:
    heads: list[TrueHead]
    marks: np.ndarray  # true places (M, 3)


def invent(rng, layout, mount="hanging", level_deg=1.0, mechanics=False, heads=12):
    """A rig of `heads` heads (12: the rig of the facts; else the same three lines with more heads each)."""
    out = []
    per = heads // 3
    for y, z in ((-12, 9.0), (3, 8.0), (9, 7.5)):
        for i in range(per):
            p = np.array([-6 + 12 * i / max(per - 1, 1), y, z]) + rng.uniform(-0.5, 0.5, 3)
            roll = {"hanging": 0.0, "standing": np.pi}[mount]
            R0 = rx(roll)
            tip = np.radians(level_deg) * rng.standard_normal(2)
            R = rz(rng.uniform(-np.pi, np.pi)) @ rx(tip[0]) @ ry(tip[1]) @ R0
            terms = np.zeros(6)
            if mechanics:
                terms = rng.standard_normal(6) * [np.radians(0.5), np.radians(0.2), np.radians(0.1), 0.05, 0.05, 0.001]
            out.append(TrueHead(p, R, 0.0, roll, terms))
    return TrueRig(out, np.array(layout, float))


def quantise(pan, tilt):
    step_p, step_t = 540 / 65535, 270 / 65535
    return np.round(np.degrees(pan) / step_p) * step_p, np.round(np.degrees(tilt) / step_t) * step_t


def sight(rng, rig, hand=0.03, faces=((1, None),)):
    """[(head, mark, pan deg, tilt deg)]: faces = ((face, mark numbers or None for all), ...)."""
    out = []
    for f, head in enumerate(rig.heads):
        for face, which in faces:
            for m in range(len(rig.marks)) if which is None else which:
                pan, tilt = head.angles_to(rig.marks[m] + hand * rng.standard_normal(3), face)
                out.append((f, m, *quantise(pan, tilt)))
    return out


def survey(rng, rig, sigma=0.01):
    return rig.marks + sigma * rng.standard_normal(rig.marks.shape)


def grid():
    x, y, z = np.meshgrid(np.linspace(-6, 6, 7), np.linspace(0, 8, 5), [0.0, 1.4], indexing="ij")
    return np.stack([x, y, z], -1).reshape(-1, 3)


def solved_misses(truth: TrueHead, p, R, terms=None, face=1):
    """Perpendicular distances (m) from every grid point to the true beam when aimed through the solved pose."""
    points = grid()
    if terms is None or not np.any(terms):
        q = (points - p) @ R
        pan, tilt = np.arctan2(-q[:, 0], q[:, 1]), np.arctan2(np.hypot(q[:, 0], q[:, 1]), -q[:, 2])
        if face == 2:
            pan, tilt = pan + np.pi, -tilt
            pan = np.where(pan > np.pi, pan - 2 * np.pi, pan)
    else:
        head = TrueHead(p, R, terms=terms)
        pan, tilt = np.array([head.angles_to(point, face) for point in points]).T
    if np.any(truth.terms):
        return np.array([np.linalg.norm(truth.offset(pt, a, b)) for pt, a, b in zip(points, pan, tilt, strict=False)])
    u = np.stack([-np.sin(pan) * np.sin(tilt), np.cos(pan) * np.sin(tilt), -np.cos(tilt)], -1) @ truth.R.T
    v = points - truth.p
    return np.linalg.norm(v - u * np.einsum("ni,ni->n", u, v)[:, None], axis=1)
