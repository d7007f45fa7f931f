"""Where a visualiser's beams go: scene by pymvr, head by pygdtf, against what `aim` sends for one place.

The chain is DIN SPEC 15800's: M · base · yoke · Rz(pan) · head · Rx(tilt) · beam, pan and tilt from the bytes on the
wire by the physical ranges of the file.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pygdtf
from scipy.spatial.transform import Rotation

from bridge.commands.aim import describe, settle
from bridge.exchange.mvr_out import new_mvr
from bridge.follow.engine import Engine
from bridge.rig.fixture import Pose
from bridge.rig.rig import Rig
from bridge.show.model import Show
from tests.unit.exchange.made_show import fixtures_by_pymvr, harbour_hall

PLACE = np.array([0.7, 2.5, 1.4])
STEP_DEG = 540 / 65535  # of pan; what bytes cannot say


def solved_show() -> Show:
    """Harbour Hall hung askew: up to 40 cm and some degrees off the plot."""
    show, random = harbour_hall(), np.random.default_rng(11)
    poses = {}
    for fixture in show.fixtures:
        hang = Rotation.from_euler("ZYX", [fixture.hang.yaw, fixture.hang.pitch, fixture.hang.roll], degrees=True)
        turn = (Rotation.from_rotvec(random.normal(0, 0.06, 3)) * hang).as_quat()
        assert fixture.at is not None
        at = np.array(fixture.at) + random.uniform(-0.4, 0.4, 3)
        poses[fixture.name] = Pose(tuple(at.tolist()), tuple(turn.tolist()))
    return replace(show, poses=poses)


def beam(fixture: Any, kind: Any, slots: dict[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Start (m) and direction of the beam that these bytes give (offset from the address, from 1)."""
    (mode,) = (each for each in kind.dmx_modes if each.name == fixture.gdtf_mode)
    angles = {}
    for channel in mode.dmx_channels:
        name = str(channel.logical_channels[0].attribute)
        if name in ("Pan", "Tilt"):
            function = channel.logical_channels[0].channel_functions[0]
            raw = int.from_bytes(bytes(slots[offset] for offset in channel.offset), "big")
            part = raw / (256 ** len(channel.offset) - 1)
            start, end = function.physical_from.value, function.physical_to.value
            angles[name] = np.radians(start + (end - start) * part)
    world = np.eye(4)
    rows = np.array(fixture.matrix.matrix, dtype=np.float64)[:, :3]
    world[:3, :3], world[:3, 3] = rows[:3].T, rows[3] / 1000
    (base,) = kind.geometries
    (yoke,) = base.geometries
    (head,) = yoke.geometries
    (light,) = head.geometries
    for geometry, turn in ((base, None), (yoke, ("z", "Pan")), (head, ("x", "Tilt")), (light, None)):
        world = world @ np.array(geometry.position.matrix, dtype=np.float64)
        if turn:
            spun = np.eye(4)
            spun[:3, :3] = Rotation.from_euler(turn[0], angles[turn[1]]).as_matrix()
            world = world @ spun
    return world[:3, 3], world[:3, :3] @ [0, 0, -1]


def test_every_beam_of_the_exported_scene_meets_the_place_that_aim_was_given(tmp_path: Path) -> None:
    show = solved_show()
    rig = Rig.from_fixtures(show.fixtures, show.poses)
    answer = describe(rig, settle(Engine(rig, show.stage, show.network.lost_input, {}), tuple(PLACE)))["fixtures"]
    octets = new_mvr(show)
    fixtures, archive = fixtures_by_pymvr(octets), zipfile.ZipFile(io.BytesIO(octets))
    (tmp_path / "head.gdtf").write_bytes(archive.read(fixtures["foh-1"].gdtf_spec))
    kind, misses = pygdtf.FixtureType(str(tmp_path / "head.gdtf")), {}
    for fixture in show.fixtures:
        if answer[fixture.name]["state"] != "lit":
            continue
        first = fixture.address - 1
        slots = {int(key.split(".")[1]) - first: value for key, value in answer[fixture.name]["slots"].items()}
        start, direction = beam(fixtures[fixture.name], kind, slots)
        away = PLACE - start
        miss = np.linalg.norm(away - direction * (direction @ away))
        misses[fixture.name] = miss / (np.linalg.norm(away) * np.radians(STEP_DEG))
    assert len(misses) >= 8, {name: row["state"] for name, row in answer.items()}
    assert max(misses.values()) < 1, "no beam is off by a whole step of its bytes"
