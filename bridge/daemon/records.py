"""What a focus session changes in the show folder. Everything here touches the disk: call it in the worker only."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from pathlib import Path

from bridge.errors import InputError, ShowError
from bridge.show.folder import read_tree
from bridge.show.load import POSES, SIGHTINGS
from bridge.show.poses import read_poses
from bridge.show.problems import Bad, Problem
from bridge.show.sightings import read_sightings
from bridge.show.store import save_poses, save_sightings
from bridge.show.yaml12 import Node
from bridge.solve.measurements import Sighting

Change = Callable[[list[Sighting]], list[Sighting]]


def change_sightings(folder: Path, change: Change) -> None:
    """Apply a change to the sightings as they are on disk now: somebody may have edited them since the start."""
    save_sightings(folder, change(sightings_on_disk(folder)))


def sightings_on_disk(folder: Path) -> list[Sighting]:
    """Every sighting of the file; ShowError when it holds anything that cannot be read, so that nothing is lost."""
    path = folder / SIGHTINGS
    if not path.exists():
        return []
    node = _tree(path)
    entries, problems = read_sightings(node, path.name)
    _expect_none(path, problems)
    return [entry.sighting for entry in entries]


def confirm_walk(folder: Path, mark: str, wall_s: float, seen: Collection[str]) -> str:
    """Note in poses.yaml that eyes saw the beams of the `seen` heads on this mark; returns in words what was written.

    Poses that are trusted but could not check themselves (two marks) count as verified from now on.
    """
    path = folder / POSES
    if not path.exists():
        raise InputError(f"{path.name} is not there: solve first, then walk")
    node = _tree(path)
    document, (read, _) = node.plain(), read_poses(node)
    at = time.strftime("%Y-%m-%dT%H:%M:%S+00:00", time.gmtime(wall_s))
    document["checked"] = [*(document.get("checked") or []), {"mark": mark, "at": at}]
    fixtures = document.get("fixtures") or {}
    doubted = [entry.name for entry in read.entries if not entry.pose.may_be_taken]
    if not doubted:
        for name in seen:
            if name in fixtures:
                fixtures[name]["verified"] = True
    save_poses(folder, document, keep_previous=False)
    if doubted:
        return f"not verified: {', '.join(doubted[:8])} not trusted"
    unseen = [name for name in fixtures if name not in seen]
    return f"verified, but not {', '.join(unseen[:8])}: not lit on it" if unseen else "all poses verified"


def accept_pose(folder: Path, fixture: str, who: str) -> None:
    """Note in poses.yaml who took the pose of this head though it is not trusted."""
    document = _tree(folder / POSES).plain()
    document["fixtures"][fixture]["accepted"] = who
    save_poses(folder, document, keep_previous=False)


def _tree(path: Path) -> Node:
    try:
        node, problems = read_tree(path)
    except Bad as error:
        raise _error(path, error.problems) from None
    _expect_none(path, problems)
    return node


def _expect_none(path: Path, problems: list[Problem]) -> None:
    if problems:
        raise _error(path, problems)


def _error(path: Path, problems: list[Problem]) -> ShowError:
    return ShowError([f"{path.name}:{problem.line}: {problem}" for problem in problems])
