"""Where each head of a show hangs, and who says so: what an export may write."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bridge.geometry.frames import Array, rotation_from_quaternion
from bridge.rig.fixture import Fixture, Pose
from bridge.show.model import Show
from bridge.show.plot import plot_poses

SOLVED, PLOT = "solved", "plot"
NOT_TRUSTED = "its pose is not trusted and nobody accepted it"


class Placed(NamedTuple):
    """`at`: m, stage frame, where the axes meet, shape (3,); `rotation`: stage_from_fixture, (3, 3).

    `source`: SOLVED or PLOT; `doubt`: what is to be said of a solve that is not trusted, "" for nothing.
    """

    at: Array
    rotation: Array
    source: str
    doubt: str = ""

    def origin(self, fixture: Fixture) -> Array:
        """m, stage frame, (3,): where drawings place the base, at - R · axes_at."""
        return self.at - self.rotation @ fixture.profile.axes_at


def placed_heads(show: Show) -> tuple[dict[str, Placed], dict[str, str]]:
    """The heads whose place is known, by name, and for all others why not.

    A solved pose counts where it is trusted or a person accepted it; else the plot's place (`at` and `hang`).
    """
    taken = {name: pose for name, pose in show.poses.items() if pose.may_be_taken}
    poses = {**plot_poses(show.fixtures, taken), **taken}
    placed, nowhere = {}, {}
    for fixture in show.fixtures:
        name = fixture.name
        doubt = _doubt(show.poses.get(name))
        if (pose := poses.get(name)) is None:
            nowhere[name] = f"{doubt or 'it is not solved'}, and rig.yaml has no `at` for it"
            continue
        at, turn = np.array(pose.position, dtype=np.float64), rotation_from_quaternion(pose.rotation)
        placed[name] = Placed(at, turn, SOLVED if name in taken else PLOT, doubt)
    return placed, nowhere


def _doubt(pose: Pose | None) -> str:
    if pose is None or pose.trusted:
        return ""
    return f"not trusted, but accepted by {pose.accepted}" if pose.accepted else NOT_TRUSTED
