"""Loads a show folder: every file is read and every check made before the first problem is raised."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from bridge.errors import ShowError
from bridge.geometry.stage import Stage
from bridge.rig.fixture import Fixture
from bridge.rig.profile import Profile
from bridge.show import cross
from bridge.show.desk_cross import check_desk
from bridge.show.folder import profile_file, read_tree
from bridge.show.frames import FRAMES, FramesFile, read_frames
from bridge.show.inputs_cross import check_frames, check_sources
from bridge.show.model import Show
from bridge.show.network import read_network
from bridge.show.poses import PoseEntry, PosesFile, read_poses
from bridge.show.problems import Bad, Problem, Problems
from bridge.show.profile import optics_warnings, read_profile
from bridge.show.rig import RigFile, read_rig, rig_names
from bridge.show.sightings import SightingEntry, read_sightings
from bridge.show.stage import read_stage
from bridge.show.values import text
from bridge.show.warn import network_warnings, stage_warnings
from bridge.show.yaml12 import Node, parse
from bridge.wire.settings import InputSettings, Network

T = TypeVar("T")
RIG, STAGE, NETWORK = "rig.yaml", "stage.yaml", "network.yaml"
SIGHTINGS, POSES = "sightings.yaml", "poses.yaml"


def load(
    path: str | os.PathLike[str],
    *,
    with_sightings: bool = True,
    with_poses: bool = True,
    poses_file: str = POSES,
    instead: Mapping[str, str] | None = None,
) -> Show:
    """The show of one folder. Raises ShowError with all problems of all files, each `file:line: found, allowed`.

    Only rig.yaml and stage.yaml are required; other files than the known ones are not looked at. Without
    `with_sightings`, sightings.yaml is not read and `Show.sightings` is empty; `with_poses` is the same for poses.yaml.
    `poses_file` is another file of the folder to read poses from. `instead` are texts by the names of their files, e.g.
    of stage.yaml, that are read in place of those in the folder.
    """
    folder = Path(path)
    try:
        found = None if folder.is_dir() else "found a file" if folder.exists() else "found no such folder"
    except OSError as error:
        found = f"cannot be looked at ({error.strerror})"
    if found:
        raise ShowError([f"{folder}: {found}, allowed is a show folder that holds {RIG} and {STAGE}"])
    return _Loading(folder, poses_file, instead or {}).show(with_sightings, with_poses)


class _Loading:
    """One loading of one folder: gathers problems and warnings as the files are read."""

    def __init__(self, folder: Path, poses_file: str, instead: Mapping[str, str]) -> None:
        self._folder, self._poses_file, self._instead = folder, poses_file, instead
        self._problems = Problems()
        self._warnings = Problems()
        self._profiles: dict[Path, Profile | Bad] = {}

    def show(self, with_sightings: bool, with_poses: bool) -> Show:
        stage_node, rig_node = self._tree(STAGE), self._tree(RIG)
        stage = self._whole(STAGE, stage_node, read_stage)
        rig = self._partly(RIG, rig_node, lambda node: read_rig(node, self._profile)) or RigFile("", ())
        network_node = self._tree(NETWORK, required=False)
        network = self._whole(NETWORK, network_node, lambda node: read_network(node, self._folder)) or Network()
        names = _names(stage_node, rig_node)
        cross.check_rig(rig, names, self._problems)
        if stage_node is not None:
            cross.check_stage(stage_node, names, self._problems)
        if network.desk is not None and network_node is not None:
            check_desk(network.desk, network_node, stage_node, rig, names, self._problems)
        inputs = self._input_names(network_node)
        if stage_node is not None:
            self._problems.extend(STAGE, check_sources(stage_node, network.inputs, inputs))
        frames = self._frames(network.inputs, inputs, names)
        sightings = self._sightings(rig, names) if with_sightings else []
        poses = self._poses(rig, names) if with_poses else PosesFile((), {}, {})
        if self._problems or stage is None:
            raise ShowError(self._problems.lines)
        self._warnings.extend(STAGE, stage_warnings(stage, stage_node))
        self._warnings.extend(NETWORK, network_warnings(network, network_node))
        found = {name: frame for name, frame in frames.frames.items() if name in network.inputs}
        return replace(self._finished(rig, stage, network, sightings, poses), frames=found)

    def _tree(self, file: str, required: bool = True) -> Node | None:
        """The tree of a file, or of the text instead of it; its doubled keys are noted at once."""
        path = self._folder / file
        text = self._instead.get(file)
        if text is None and not required and not os.path.lexists(path):
            return None
        try:
            node, problems = read_tree(path) if text is None else parse(text.removeprefix("\ufeff"))
        except Bad as error:
            self._problems.extend(file, error.problems)
            return None
        self._problems.extend(file, problems)
        return node

    def _whole(self, file: str, node: Node | None, read: Callable[[Node], T]) -> T | None:
        try:
            return read(node) if node is not None else None
        except Bad as error:
            self._problems.extend(file, error.problems)
            return None

    def _partly(self, file: str, node: Node | None, read: Callable[[Node], tuple[T, list[Problem]]]) -> T | None:
        if node is None:
            return None
        found, problems = read(node)
        self._problems.extend(file, problems)
        return found

    def _profile(self, node: Node) -> Profile:
        """The profile that a fixture names, each file read once; its own problems are said under its own name."""
        text(node)
        file, path = profile_file(self._folder, node)
        if path not in self._profiles:
            self._profiles[path] = self._read_profile(file, path)
        found = self._profiles[path]
        if isinstance(found, Bad):
            raise Bad([])  # without a profile the fixture is not complete, but the profile's file has said why
        return found

    def _read_profile(self, file: str, path: Path) -> Profile | Bad:
        try:
            node, problems = read_tree(path)
            self._problems.extend(file, problems)
            profile = read_profile(node)
        except Bad as error:
            self._problems.extend(file, error.problems)
            return error
        self._warnings.extend(file, optics_warnings(node, profile))
        return profile

    def _sightings(self, rig: RigFile, names: cross.Names) -> list[SightingEntry]:
        node = self._tree(SIGHTINGS, required=False)
        entries = self._partly(SIGHTINGS, node, lambda found: read_sightings(found, SIGHTINGS)) or []
        cross.check_sightings(entries, rig, names, SIGHTINGS, self._problems)
        return entries

    def _poses(self, rig: RigFile, names: cross.Names) -> PosesFile:
        node = self._tree(self._poses_file, required=False)
        poses = self._partly(self._poses_file, node, read_poses) or PosesFile((), {}, {})
        cross.check_poses(poses, rig, names, self._poses_file, self._problems, self._warnings)
        return poses

    def _input_names(self, node: Node | None) -> list[str] | None:
        """Names of inputs, also of those with problems; None where network.yaml could not be read at all."""
        if node is None:
            return None if NETWORK in self._instead or os.path.lexists(self._folder / NETWORK) else []
        return _keys(node.get("inputs"))

    def _frames(
        self, settings: Mapping[str, InputSettings], inputs: list[str] | None, names: cross.Names
    ) -> FramesFile:
        node = self._tree(FRAMES, required=False)
        frames = self._partly(FRAMES, node, read_frames) or FramesFile()
        check_frames(frames, settings, inputs, names.marks, self._warnings)
        return frames

    def _finished(
        self, rig: RigFile, stage: Stage, network: Network, sightings: list[SightingEntry], poses: PosesFile
    ) -> Show:
        optics = {entry.name: entry for entry in poses.entries}
        fixtures = tuple(_with_optics(entry.fixture, optics.get(entry.fixture.name)) for entry in rig.entries)
        present = {fixture.name for fixture in fixtures}
        return Show(
            path=self._folder,
            name=rig.name or self._folder.resolve().name,
            fixtures=fixtures,
            stage=stage,
            network=network,
            sightings=tuple(entry.sighting for entry in sightings),
            poses={entry.name: entry.pose for entry in poses.entries if entry.name in present},
            solved_marks={name: at for name, at in poses.marks.items() if name in stage.marks},
            warnings=tuple(self._warnings.lines),
            poses_of=poses.of,
        )


def _with_optics(fixture: Fixture, entry: PoseEntry | None) -> Fixture:
    """The fixture with the tables that its own sightings refined."""
    if entry is None or (entry.zoom_table is None and entry.focus_table is None):
        return fixture
    return replace(fixture, zoom_table=entry.zoom_table, focus_table=entry.focus_table)


def _names(stage_node: Node | None, rig_node: Node | None) -> cross.Names:
    """Names from the trees, so that a thing with a problem of its own is not also called unknown."""
    fixture_nodes = rig_names(rig_node)
    marks = stage_node.get("marks") if stage_node else None
    targets = stage_node.get("targets") if stage_node else None
    return cross.Names(
        fixtures=dict.fromkeys(name for name, _ in fixture_nodes) if rig_node else None,
        marks=_keys(marks) if stage_node else None,
        targets=(_keys(targets) or ["lead"]) if stage_node else None,
        fixture_nodes=fixture_nodes,
    )


def _keys(node: Node | None) -> list[str]:
    return list(node.value) if node is not None and isinstance(node.value, dict) else []
