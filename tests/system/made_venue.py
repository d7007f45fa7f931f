"""A made-up scene and frames for tests of the view, computed from plain geometry and from no code of the venue."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

FRAME_RATE = 30
LIT_HEIGHT_M = 1.3


def scene(heads: int = 12) -> dict[str, Any]:
    """A stage of 12 x 8 m with a riser, a thrust, first rows, five marks and `heads` heads on three trusses."""
    per_truss = math.ceil(heads / 3)
    trusses = [("foh", -9.0, 8.5), ("mid", 1.5, 7.5), ("back", 9.0, 7.0)]
    placed = [
        {
            "name": f"{name}-{i + 1}",
            "truss": name,
            "position": [-7.0 + 14.0 * i / max(1, per_truss - 1), y, z],
            "up": [0.0, 0.0, 1.0],
            "profile": "generic spot 540",
        }
        for name, y, z in trusses
        for i in range(per_truss)
    ]
    return {
        "name": "Harbour Hall",
        "polygon": {
            "corners": [[-6, 0], [6, 0], [6, 8], [-6, 8]],
            "height": [-0.5, None],
            "margin": 0.15,
        },
        "areas": [{"name": "thrust", "corners": [[-1.5, -2.5], [1.5, -2.5], [1.5, 0], [-1.5, 0]], "on": False}],
        "no_light": [{"name": "first rows", "corners": [[-7, -5], [7, -5], [7, -3], [-7, -3]], "height": [0, 2]}],
        "floors": [{"name": "riser", "corners": [[-2, 5], [2, 5], [2, 8], [-2, 8]], "height": 0.6}],
        "marks": {"A": [-5, 1, 0], "B": [5, 1, 0], "C": [5, 7, 0], "D": [-5, 7, 0], "E": [0, 4, 0]},
        "heads": placed[:heads],
    }


def frame(scene: dict[str, Any], t: float, seed: int = 7) -> dict[str, Any]:
    """The venue at `t` seconds: a performer walks an eight, every head a little beside him, one far beside."""
    rng = np.random.default_rng(seed)
    x, y = 4.2 * math.sin(t / 2.3), 3.6 + 2.4 * math.sin(t / 1.15)
    floor = 0.6 if abs(x) < 2 and 5 < y < 8 else 0.0
    lit = np.array([x, y, floor + LIT_HEIGHT_M])
    heads = []
    for i, head in enumerate(scene["heads"]):
        error = rng.normal(0, 0.035, 3) if i != 4 else np.array([0.31, 0.22, 0.0])
        error = error + 0.02 * np.sin(t + i + np.arange(3))
        if i == 7:
            error = np.array([0.16, 0.05, 0.03])
        solved = rng.normal(0, 0.03, 3) + error * (i != 4)
        heads.append(_head(head, i, lit, error, solved))
    return {
        "t": t,
        "performers": [{"name": "lead", "at": [x, y, floor], "inside": True}],
        "heads": heads,
        "fps": 100.0,
        "sources": ["Tetherlight"],
        "note": "made-up frames for a test",
    }


def _head(head: dict[str, Any], i: int, lit: np.ndarray, error: np.ndarray, solved: np.ndarray) -> dict[str, Any]:
    start = np.array(head["position"]) - [0, 0, 0.1]
    direction, hit = _ray(start, lit + error)
    belief, belief_hit = _ray(start, lit + solved)
    along = (lit - start) @ direction
    miss = float(np.linalg.norm(start + along * direction - lit))
    zoom = 2 * math.degrees(math.atan(1.0 / float(np.linalg.norm(lit - start))))
    dark = i == 9
    return {
        "level": 0.0 if dark else 0.9,
        "start": start.tolist(),
        "dir": direction.tolist(),
        "hit": hit.tolist(),
        "ellipse": None if dark else _ellipse(start, direction, hit, zoom),
        "zoom_deg": zoom,
        "error_m": None if dark else miss,
        "solved": {"dir": belief.tolist(), "hit": belief_hit.tolist()},
    }


def _ray(start: np.ndarray, through: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    direction = (through - start) / np.linalg.norm(through - start)
    return direction, start + direction * (-start[2] / direction[2])


def _ellipse(start: np.ndarray, direction: np.ndarray, hit: np.ndarray, zoom_deg: float) -> dict[str, Any]:
    """Cone of full angle `zoom_deg` on the floor z = 0, from its two extreme rays in the plane of the beam."""
    half = math.radians(zoom_deg) / 2
    from_vertical = math.acos(-direction[2])
    near, far = (start[2] * math.tan(from_vertical + side * half) for side in (-1, 1))
    flat = direction[:2] / max(1e-9, float(np.linalg.norm(direction[:2])))
    centre = np.array([*(start[:2] + flat * (near + far) / 2), 0.0])
    semi_major = (far - near) / 2
    semi_minor = semi_major * math.sqrt(max(0.0, 1 - (math.sin(from_vertical) / math.cos(half)) ** 2))
    along, beside = np.array([*flat, 0.0]), np.array([-flat[1], flat[0], 0.0])
    return {"c": centre.tolist(), "a": (along * semi_major).tolist(), "b": (beside * semi_minor).tolist()}
