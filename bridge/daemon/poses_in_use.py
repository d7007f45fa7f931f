"""The poses the daemon aims with, kept beside its live state.

A restart after a crash goes on with these, not with what a solve may have written to the show folder in the meantime:
poses that a running daemon did not take, because they are not trusted, must not come in by a crash either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from bridge.rig.fixture import Mechanics, Pose

_TUPLES = ("position", "rotation", "faces", "position_sigma", "rotation_sigma")


def to_json(poses: Mapping[str, Pose]) -> dict[str, Any]:
    """JSON-able data."""
    return {name: asdict(pose) | {"residuals": {}} for name, pose in poses.items()}


def from_json(data: Any) -> dict[str, Pose]:
    """The poses again; raises KeyError, TypeError, AttributeError or ValueError on anything `to_json` did not write."""
    return {str(name): _pose(entry) for name, entry in data.items()}


def _pose(entry: Mapping[str, Any]) -> Pose:
    known = {field.name for field in fields(Pose)}
    values = {key: value for key, value in entry.items() if key in known}
    values["mechanics"] = Mechanics(**{key: float(value) for key, value in entry["mechanics"].items()})
    for key in _TUPLES:
        if values.get(key) is not None:
            values[key] = tuple(values[key])
    if len(values["position"]) != 3 or len(values["rotation"]) != 4:
        raise ValueError("a pose has three numbers of position and four of rotation")
    return Pose(**values)
