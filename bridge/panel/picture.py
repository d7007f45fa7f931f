"""One frame for the page: the newest of everything that the bridge has told, in the order of the scene."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from bridge.panel.beams import Beams
from bridge.panel.heard import Heard, Rows
from bridge.show.model import Show

NOBODY = ("", False, False, False, False, 1.0)
UNKNOWN = ("", 0.0, 0.0, 0.0)
NOWHERE = (0.0, 0.0, 0.0, False, -1.0)
LED_M = 0.01
"""Less than this ahead of a target is not told."""


class Picture:
    """Makes frames of one show. Times are those of the event loop's clock."""

    def __init__(self, show: Show, beams: Beams) -> None:
        self._heads = [fixture.name for fixture in show.fixtures]
        self._targets = [target.name for target in show.stage.targets]
        self._beams = beams

    def frame(self, heard: Heard, now_s: float, refused: bool, pages: Sequence[str]) -> dict[str, Any]:
        """Everything that moves. `refused`: the bridge's machine says that nobody listens there."""
        rows = heard.rows
        return {
            "t": round(now_s, 3),
            "age": None if heard.last_s is None else round(1000 * (now_s - heard.last_s)),
            "absent": refused,
            "bridge": rows.bridge,
            "targets": [_target(name, rows) for name in self._targets],
            "heads": self._head_rows(rows),
            "universes": [
                {"universe": number, "word": word, "other": other, "priority": priority}
                for number, (word, other, priority) in sorted(rows.universes.items())
            ],
            "desk": [
                {"universe": number, "source": source, "priority": priority, "alive": alive, "age": round(age_ms)}
                for number, (source, priority, alive, age_ms) in sorted(rows.desk.items())
            ],
            "inputs": list(rows.inputs.values()),
            "trims": [{"kind": kind, "name": name, "by": list(by)} for (kind, name), by in rows.trims.items()],
            "floors": rows.floors,
            "areas": rows.areas,
            "no_light": rows.no_light,
            "stills": [{"kind": kind, "name": name, "who": who} for (kind, name), who in rows.stills.items()],
            "by": {what: {"who": who, "ago": round(now_s - at_s)} for what, (who, at_s) in rows.by.items()},
            "counts": rows.counts,
            "late": rows.late,
            "pages": list(pages),
        }

    def _head_rows(self, rows: Rows) -> list[dict[str, Any]]:
        told = [rows.heads.get(name, UNKNOWN) for name in self._heads]
        angles = np.array([row[1:3] for row in told], dtype=np.float64).reshape(-1, 2)
        hits = self._beams.land(angles[:, 0], angles[:, 1], rows.floors).tolist()
        crew = [rows.crew.get(name, NOBODY) for name in self._heads]
        heights = np.array([rows.targets.get(who[0], NOWHERE)[2] for who in crew], dtype=np.float64)
        passes = self._beams.at_height(angles[:, 0], angles[:, 1], heights).tolist()
        return [
            {**_head(name, row, who, rows), "hit": _place(hit, row), "over": _place(over, row)}
            for name, row, who, hit, over in zip(self._heads, told, crew, hits, passes, strict=True)
        ]


def _head(
    name: str,
    row: tuple[str, float, float, float],
    crew: tuple[str, bool, bool, bool, bool, float],
    rows: Rows,
) -> dict[str, Any]:
    state, pan, tilt, level = row
    target, out, held, still, in_hand, own_level = crew
    size = rows.hands[target][2] if target in rows.hands else None
    return {
        "state": state,
        "level": round(level, 3),
        "pan": round(pan, 3),
        "tilt": round(tilt, 3),
        "pool": None if size is None else round(size / 2, 3),
        "target": target,
        "out": out,
        "held": held,
        "still": still,
        "in_hand": in_hand,
        "desk": rows.given.get(name, state == "desk"),
        "own_level": round(own_level, 3),
    }


def _place(point: list[float], row: tuple[str, float, float, float]) -> list[float] | None:
    """A point of a head that the bridge has told of."""
    return [round(v, 3) for v in point] if row[0] and math.isfinite(point[0]) else None


def _target(name: str, rows: Rows) -> dict[str, Any]:
    x, y, z, inside, age_ms = rows.targets.get(name, NOWHERE)
    hand, level, size, height = rows.hands.get(name, ("", 1.0, 0.0, 0.0))
    return {
        "name": name,
        "x": round(x, 4),
        "y": round(y, 4),
        "z": round(z, 4),
        "inside": inside,
        "age": round(age_ms),
        "hand": hand,
        "level": round(level, 3),
        "size": round(size, 3),
        "height": round(height, 3),
        "ahead": _ahead((x, y, z), rows.ahead.get(name)),
    }


def _ahead(place: tuple[float, float, float], ahead: tuple[float, float, float] | None) -> list[float] | None:
    """Where heads aim ahead of a target that is led."""
    return None if ahead is None or math.dist(place, ahead) <= LED_M else [round(v, 3) for v in ahead]
