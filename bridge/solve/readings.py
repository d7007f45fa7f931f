"""Ways in which a whole survey can be misread: mirrored, feet for metres, turned by a corner; and every pan reversed.

A reading is a similarity of all surveyed marks in one go. Sightings alone know no place, no heading and no scale: they
tell a mirror image (from four marks on), and by their noise a scale; the plot tells the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array

FOOT = 0.3048
AS_SAID, MIRROR, REVERSED, FEET, METRES, TURN = "as said", "mirror", "reversed pans", "feet", "metres", "corner"
SAME = 0.3  # metres: two centres that are nearer than this make one reading
LOW, HIGH, FAR = 1.5, 20.0, 60.0  # metres: heads hang between these heights, and so near to where they light
OUTSIDE = 3.0  # metres from the performance polygon at which a mark is out of place


@dataclass(frozen=True)
class Reading:
    """What marks as surveyed really are: plan `turn` (2, 2) about `centre` (2,), times `scale` in all three axes about
    the origin, and the sign of every pan. `name` says which of a kind; `penalty`: score, the larger the rarer."""

    kind: str
    name: str
    penalty: float
    turn: Array
    centre: Array
    scale: float = 1.0
    pan: float = 1.0
    with_polygon: bool = False

    def of(self, points: Array) -> Array:
        """Where marks (P, 3) as surveyed really are."""
        out = points * self.scale
        out[:, :2] = (out[:, :2] - self.centre) @ self.turn.T + self.centre
        return out


MIRRORS = {"x": (-1.0, 0, 0, 1.0), "y": (1.0, 0, 0, -1.0), "x and y exchanged": (0, 1.0, 1.0, 0)}
TURNS = {"90": (0, -1.0, 1.0, 0), "180": (-1.0, 0, 0, -1.0), "270": (0, 1.0, -1.0, 0)}


def readings(stage: Stage) -> list[Reading]:
    """All of them, as said first. Mirrors and turns are about the origin and about the middle of the polygon."""
    corners = np.array(stage.polygon.area.corners)
    origin, middle = np.zeros(2), (corners.min(axis=0) + corners.max(axis=0)) / 2
    same = np.eye(2)
    out = [
        Reading(AS_SAID, "", 0.0, same, origin),
        Reading(REVERSED, "", 7.0, same, origin, pan=-1.0),
        Reading(FEET, "marks", 12.0, same, origin, scale=FOOT),
        Reading(FEET, "stage", 14.0, same, origin, scale=FOOT, with_polygon=True),
        Reading(METRES, "", 14.0, same, origin, scale=1 / FOOT),
    ]
    for kind, penalty, plans in ((MIRROR, 6.0, MIRRORS), (TURN, 10.0, TURNS)):
        for k, (name, values) in enumerate(plans.items()):
            turn = np.array(values).reshape(2, 2)
            out.append(Reading(kind, name, penalty + k, turn, origin))
            if np.linalg.norm((same - turn) @ middle) > SAME:
                out.append(Reading(kind, name, penalty + k + 1, turn, middle))
    return out


def implausible(reading: Reading, marks: Array, p: Array, floor: float, stage: Stage) -> float:
    """Score for what no show has: marks (M, 3) far outside the polygon, heads at `p` (F, 3) too low, high or far."""
    corners: Sequence[tuple[float, float]] = stage.polygon.area.corners
    if reading.with_polygon:
        corners = [(x * reading.scale, y * reading.scale) for x, y in corners]
    polygon = Polygon(corners)
    out = 5.0 * np.count_nonzero(polygon.outside_by(marks[:, :2]) > OUTSIDE)
    height = p[:, 2] - floor
    odd = np.clip((height - HIGH) / 2, 0, 1) + (height < LOW) + (polygon.outside_by(p[:, :2]) > FAR)
    return float(min(out, 25.0) + 15.0 * np.mean(odd))
