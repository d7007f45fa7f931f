"""What `solve --json --maps` adds for a focus session: maps of the predicted aim error (maps.py), which sighting to
make next (next_sightings.py), and what is to be said of each head (by_head.py)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from bridge.geometry.stage import Stage
from bridge.rig.fixture import Fixture
from bridge.solve.arrays import Array
from bridge.solve.by_head import advice_by_fixture
from bridge.solve.fit import Fit
from bridge.solve.maps import AimMaps, aim_maps
from bridge.solve.measurements import Sighting
from bridge.solve.next_sightings import Helps, Next, next_sightings, without_pose
from bridge.solve.result import Calibration

TENTHS_OF_MM = 4  # decimals of predicted errors, metres


def focus_json(names: Sequence[str], calibration: Calibration, fit: Fit, stage: Stage) -> dict[str, Any]:
    """The keys beside those of `document.solve_json`; `names` of all heads of the rig."""
    rig, heads = next_sightings(names, calibration, fit, stage)
    return {
        "maps": maps_json(aim_maps(calibration, fit, stage), calibration),
        "next": {"rig": next_json(rig, whole_rig=True), "fixtures": {n: next_json(each) for n, each in heads.items()}},
        "advice_by_fixture": advice_by_fixture(calibration, names, stage),
    }


def unsolved_json(
    fixtures: Sequence[Fixture], stage: Stage, measured: Sequence[Sighting], why: Sequence[str]
) -> dict[str, Any]:
    """`next` where no head could be solved, for the reasons `why`, lines of which may begin with a head's name."""
    marks = {name: mark.at for name, mark in stage.marks.items() if mark.at is not None}
    heads = {}
    for f in fixtures:
        seen = {s.mark for s in measured if s.fixture == f.name}
        own = next((line for line in why if line.startswith(f"{f.name}: ")), None)
        heads[f.name] = next_json(without_pose(f.name, seen, marks, stage, own))
    rig = {"say": "first", "text": why[0] if why else "", "candidates": []}
    return {"next": {"rig": rig, "fixtures": heads}}


def next_json(told: Next, whole_rig: bool = False) -> dict[str, Any]:
    """What to do, in words, and the places that help, best first; metres, null where nothing is predicted."""
    return {"say": told.say, "text": told.text, "candidates": [_helps(each, whole_rig) for each in told.helps]}


def _helps(each: Helps, whole_rig: bool) -> dict[str, Any]:
    place = {
        "kind": "place" if each.place.mark is None else "mark",
        "mark": each.place.mark,
        "at": [round(v, 3) + 0.0 for v in each.place.at],
        "before": _metres(each.before),
        "after": _metres(each.after),
        "gain": _metres(each.gain),
    }
    return place | ({"heads": each.heads, "most": each.most} if whole_rig else {})


def _metres(value: float | None) -> float | None:
    return None if value is None else round(value, TENTHS_OF_MM)


def maps_json(maps: AimMaps, calibration: Calibration) -> dict[str, Any]:
    """Axes, and rows by y of every head; None outside the areas."""
    worst, who = maps.worst()
    names = np.array([*maps.names, None], dtype=object)  # -1: nobody
    return {
        "x": np.round(maps.x, 3).tolist(),
        "y": np.round(maps.y, 3).tolist(),
        "fixtures": {
            name: {"trusted": calibration.fixtures[name].trusted, "sound": bool(sound), "p95": _rows(p95)}
            for name, sound, p95 in zip(maps.names, maps.sound, maps.p95, strict=True)
        },
        "worst": {"p95": _rows(worst), "fixture": names[who].tolist()},
    }


def _rows(values: Array) -> list[list[float | None]]:
    rounded = np.round(values, TENTHS_OF_MM)
    return [[value if math.isfinite(value) else None for value in row] for row in rounded.tolist()]
