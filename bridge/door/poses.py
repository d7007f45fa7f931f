"""The poses the daemon aims with, kept beside its live state.

A restart after a crash goes on with these, not with what a solve may have written to the show folder in the meantime:
poses that a running daemon did not take, because they are not trusted, must not come in by a crash either.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from bridge.rig.fixture import Mechanics, OwnTables, Pose

OFF_UNIT = 1e-6
MOST, MOST_SCALE = 1e9, 0.5  # what the engine can reckon with; the scale as in poses.yaml
_ERRORS = ("aim_error_rms", "aim_error_p95")
_TUPLES = ("position", "rotation", "faces", "position_sigma", "rotation_sigma")


def to_json(poses: Mapping[str, Pose]) -> dict[str, Any]:
    """JSON-able data."""
    return {name: asdict(pose) | {"residuals": {}} for name, pose in poses.items()}


def from_json(data: Any) -> dict[str, Pose]:
    """The poses again; raises KeyError, TypeError, AttributeError or ValueError on anything `to_json` did not write."""
    return {str(name): _pose(entry) for name, entry in data.items()}


def tables_to_json(tables: Mapping[str, OwnTables]) -> dict[str, Any]:
    """JSON-able data."""
    return {name: own._asdict() for name, own in tables.items()}


def tables_from_json(data: Any) -> dict[str, OwnTables]:
    """What `tables_to_json` was given."""
    return {str(name): OwnTables(*(_rows(own.get(key)) for key in OwnTables._fields)) for name, own in data.items()}


def _rows(rows: Any) -> Any:
    return None if rows is None else tuple(tuple(row) for row in rows)


def _pose(entry: Mapping[str, Any]) -> Pose:
    known = {field.name for field in fields(Pose)}
    values = {key: value for key, value in entry.items() if key in known}
    values["mechanics"] = Mechanics(**{key: _number(value) for key, value in entry["mechanics"].items()})
    _number(values["mechanics"].pan_scale, MOST_SCALE)
    for key in _ERRORS:
        values[key] = None if values.get(key) is None else _number(values[key])
    for key in _TUPLES:
        if values.get(key) is not None:
            values[key] = tuple(_number(value) for value in values[key])
    if len(values["position"]) != 3 or len(values["rotation"]) != 4:
        raise ValueError("a pose has three numbers of position and four of rotation")
    if abs(math.hypot(*values["rotation"]) - 1.0) > OFF_UNIT:
        raise ValueError("a rotation is a unit quaternion")
    values["faces"] = tuple(int(face) for face in values.get("faces", (1, 2)))
    if not set(values["faces"]) <= {1, 2} or not all(type(values[key]) is bool for key in ("trusted", "verified")):
        raise ValueError("faces are 1 and 2; trusted and verified are true or false")
    if not isinstance(values.get("accepted", ""), str):
        raise ValueError("who accepted a pose is a text")
    return Pose(**values)


def _number(value: Any, most: float = MOST) -> float:
    if type(value) not in (int, float) or not abs(value) <= most:
        raise ValueError(f"{value!r:.40} is no number of at most {most:g}")
    return float(value)
