"""A loaded show folder: what every command works on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Point3, Stage
from bridge.rig.fixture import Fixture, Pose
from bridge.show.poses_of import PosesOf
from bridge.solve.measurements import Sighting
from bridge.wire.settings import Network


@dataclass(frozen=True)
class Show:
    """Everything the files of one show folder say. `warnings` are `file:line: text`, none of which stops anything.

    `frames` are of tracking inputs, by name; an input without one is heard and not followed.
    """

    path: Path
    name: str
    fixtures: tuple[Fixture, ...]
    stage: Stage
    network: Network
    sightings: tuple[Sighting, ...] = ()
    poses: Mapping[str, Pose] = field(default_factory=dict)
    solved_marks: Mapping[str, Point3] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    poses_of: PosesOf | None = None
    frames: Mapping[str, InputFrame] = field(default_factory=dict)
