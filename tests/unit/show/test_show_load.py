"""What a good folder gives, and the freedoms that a file has."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.errors import ShowError
from bridge.geometry.stage import Datum, Mark
from bridge.rig.fixture import Hang
from bridge.rig.profile import Action
from bridge.show import load
from bridge.wire.settings import PanelSettings, RecordSettings


def test_every_value_of_every_file_arrives(folder) -> None:
    show = folder.load()
    assert show.warnings == ()
    assert show.name == "Test Hall"
    first, second = show.fixtures
    assert (first.name, first.universe, first.address, first.hang) == ("foh-1", 1, 1, Hang(0, 0, 0, 1.0))
    assert (first.at, first.at_sigma) == ((-4.0, -12.0, 9.0), (0.3, 0.3, 0.1))
    assert (first.pan_limits, first.tilt_limits, first.rest, first.lag) == ((-200, 200), (-110, 110), (0, 45), 0.12)
    assert (first.truss, first.unit, first.follows, first.outside) == ("foh", "A-1043", "lead", "dark")
    assert first.profile.channels["focus"] == (9, 10)
    assert first.profile.fixed == {11: 255, 12: 0}
    assert first.profile.zoom.rows == ((0, 55.0, None), (65535, 5.0, None))
    assert first.zoom_table == ((0, 54.0, None), (65535, 5.2, None))
    assert first.focus_table == ((3.0, 60000), (20.0, 12500))
    assert (second.hang, second.at, second.rest, second.zoom_table) == (Hang(), None, None, None)
    stage = show.stage
    assert stage.polygon.area.height == (-0.5, 4.0)
    assert (stage.polygon.margin, stage.polygon.fade_out, stage.polygon.fade_in) == (0.15, 0.2, 0.3)
    assert [area.on for area in (*stage.more_areas, *stage.no_light)] == [False, True]
    assert stage.marks["A"] == Mark("A", (-5, 1, 0), 0.01)
    assert stage.marks["C"] == Mark("C", (5, 7, 0), 0.02)
    assert stage.marks["D"] == Mark("D", None, 0.01, 0.0)
    assert stage.tapes[1].between == ("A", "foh-1")
    assert stage.level_map.factor == ((1, 0.8, 1), (1, 1, 1))
    assert (stage.evenness, stage.move_in_black_after, stage.aim_sigma) == (False, 0.6, 0.03)
    assert (stage.sighted_by, stage.accept, stage.stay_within) == ("pool", 0.2, 3.0)
    assert stage.seat == (0.0, -18.0, pytest.approx(7 * 0.3048))
    assert (stage.evenness_least, stage.at_most_lux) == (0.2, 800.0)
    assert (first.evenness, second.evenness) == ("key", None)
    (lead,) = stage.targets
    assert (lead.sizes, lead.heights) == ({"tight": 0.8, "half": 1.2}, {"seated": 0.9})
    assert first.profile.actions == {"reset": Action({13: 250, 12: 7}, 5.0, 40.0)}
    assert (first.profile.backlash, first.profile.sight_fixed) == (0.1, {11: 40, 14: 3})
    assert (show.network.osc.port, show.network.sacn.synchronise) == (9000, None)
    assert show.network.panel == PanelSettings("127.0.0.1", 8787)
    assert show.network.record == RecordSettings("captures", 14.0, 2000.0)
    assert show.sightings[0].where == "sightings.yaml:3"
    assert [sighting.face for sighting in show.sightings] == [1, 2, 1]
    assert [sighting.sighted_by for sighting in show.sightings] == [None, "axis", None]
    pose = show.poses["foh-1"]
    assert (pose.faces, pose.mechanics.tilt_zero, pose.aim_error_p95, pose.residuals["A/2"]) == ((1,), 0.1, 0.05, 0.03)
    assert show.poses["foh-2"].faces == (1, 2)
    assert show.solved_marks == {"D": (-5, 7, 0)}


def test_only_rig_and_stage_are_required(folder) -> None:
    for file in ("network.yaml", "sightings.yaml", "poses.yaml"):
        del folder.files[file]
    folder.files["stage.yaml"] = "version: 1\nperformance_polygon: {corners: [[0, 0], [1, 0], [0, 1]]}\n"
    folder.files["notes.txt"] = "not ours: \t["
    folder.files["old.yaml"] = "version: 7"
    show = folder.load()
    assert [target.name for target in show.stage.targets] == ["lead"]
    assert (show.stage.targets[0].sizes, show.stage.targets[0].heights) == ({}, {})
    assert (show.stage.stay_within, show.stage.evenness_least, show.stage.at_most_lux) == (5.0, 0.5, None)
    assert show.stage.seat is None
    assert show.network.sacn.priority == 110
    assert (show.network.panel, show.network.record) == (PanelSettings(), None)
    assert show.poses == {}


def test_without_sightings_the_file_is_not_looked_at(folder) -> None:
    folder.files["sightings.yaml"] = "["
    folder.problems()
    assert load(folder.path, with_sightings=False).sightings == ()


def test_words_that_look_like_switches_or_numbers_are_names(folder) -> None:
    folder.edit("rig.yaml", "name: foh-2", "name: no")
    folder.edit("rig.yaml", "unit: A-1043", "unit: 010")
    folder.edit("sightings.yaml", "fixture: foh-2, mark: D", "fixture: no, mark: 12")
    folder.edit("poses.yaml", "  foh-2:", "  no:")
    folder.edit("stage.yaml", "  A: [-5, 1, 0]", "  A: [-5, 1, 0]\n  12: [1, 2, 0]")
    show = folder.load()
    assert show.fixtures[1].name == "no"
    assert show.fixtures[0].unit == "010"
    assert show.sightings[2].fixture == "no"
    assert show.sightings[2].mark == "12"


@pytest.mark.parametrize(
    ("word", "value"), [("on", True), ("off", False), ("yes", True), ("No", False), ("true", True)]
)
def test_switches_take_the_words_of_people(folder, word: str, value: bool) -> None:
    folder.edit("stage.yaml", "on: false", f"on: {word}")
    folder.edit("stage.yaml", "evenness: off", f"evenness: {word}")
    stage = folder.load().stage
    assert (stage.more_areas[0].on, stage.evenness) == (value, value)


def test_lengths_with_units_are_taken_everywhere(folder) -> None:
    folder.edit("rig.yaml", "[-4.0, -12.0, 9.0]", "[-400 cm, -12 m, 30' 6\"]")
    folder.edit("rig.yaml", "at_sigma: [0.3, 0.3, 0.1]", "at_sigma: 12 in")
    folder.edit("stage.yaml", "[-6, 0]", "[-600 cm, 0]")
    folder.edit("stage.yaml", "margin: 0.15", "margin: 15 cm")
    folder.edit("stage.yaml", "metres: 10.02", "metres: 394 in")
    folder.edit("stage.yaml", "size: 2.0", "size: 6.5 ft")
    folder.edit("profiles/spot.yaml", "[[3.0, 60000]", "[[300 cm, 60000]")
    folder.edit("poses.yaml", "[-4.02,", "[-402 cm,")
    show = folder.load()
    assert show.fixtures[0].at == (-4.0, -12.0, pytest.approx(30.5 * 0.3048))
    assert show.fixtures[0].at_sigma == (pytest.approx(0.3048),) * 3
    assert show.stage.polygon.area.corners[0] == (-6.0, 0.0)
    assert show.stage.polygon.margin == 0.15
    assert show.stage.tapes[0].metres == pytest.approx(394 * 0.0254)
    assert show.stage.targets[0].size == pytest.approx(6.5 * 0.3048)
    assert show.fixtures[0].profile.focus[0] == (3.0, 60000)
    assert show.poses["foh-1"].position[0] == -4.02


def test_datum_of_two_unknown_marks(folder) -> None:
    folder.edit("stage.yaml", "A: [-5, 1, 0]", "A: {at: unknown}")
    folder.edit("stage.yaml", "tapes:", "datum: {origin: A, along_x: D}\ntapes:")
    assert folder.load().stage.datum == Datum("A", "D")


def test_unicast_destinations_and_a_synchronisation_universe(folder) -> None:
    folder.edit("network.yaml", "to: multicast", 'to: ["10.0.0.7", "10.0.0.8:6000"]')
    folder.edit("network.yaml", "synchronise: off", "synchronise: 7000")
    sacn = folder.load().network.sacn
    assert sacn.destinations == (("10.0.0.7", 5568), ("10.0.0.8", 6000))
    assert sacn.synchronise == 7000


@pytest.mark.parametrize("word", ["off", "no", "false"])
def test_panel_and_recorder_can_be_off(folder, word: str) -> None:
    folder.edit("network.yaml", '{listen: "127.0.0.1:8787"}', word)
    folder.edit("network.yaml", "{folder: captures, days: 14, megabytes: 2000}", word)
    network = folder.load().network
    assert (network.panel, network.record) == (None, None)


def test_a_recorder_without_more_words_has_its_defaults(folder) -> None:
    folder.edit("network.yaml", "{folder: captures, days: 14, megabytes: 2000}", "{}")
    assert folder.load().network.record == RecordSettings("captures", 14.0, 2000.0)


@pytest.mark.parametrize("name", ["eth0", "lo", "br-lan", "enp3s0f1", "eth0.100", "wlx_0"])
def test_an_interface_goes_by_its_name_wherever_an_address_does(folder, name: str) -> None:
    folder.edit("network.yaml", "interface: 127.0.0.1", f"interface: {name}")
    folder.edit("network.yaml", "127.0.0.1:9000", f"{name}:9000")
    folder.edit("network.yaml", "127.0.0.1:8787", f"{name}:8787")
    network = folder.load().network
    assert (network.sacn.interface, network.osc.host, network.panel.host) == (name, name, name)


def test_each_profile_is_read_once(folder) -> None:
    folder.edit("rig.yaml", "profile: spot-16bit", "profile: ./profiles/../profiles/spot.yaml")
    first, second = folder.load().fixtures
    assert first.profile is second.profile


def test_pan_may_run_from_the_larger_angle_and_limits_still_hold(folder) -> None:
    folder.edit("profiles/spot.yaml", "{from: -270, to: 270", "{from: 270, to: -270")
    assert folder.load().fixtures[0].pan_limits == (-200, 200)


def test_a_repeated_last_corner_closes_the_polygon(folder) -> None:
    folder.edit("stage.yaml", "[-6, 8]]", "[-6, 8], [-6, 0]]")
    assert len(folder.load().stage.polygon.area.corners) == 4


def test_a_quaternion_rounded_by_hand_is_normalised(folder) -> None:
    folder.edit("poses.yaml", "rotation: [0, 0, 0, 1]", "rotation: [0, 0, 0.707, 0.707]")
    assert folder.load().poses["foh-1"].rotation[2] == pytest.approx(0.5**0.5, abs=1e-12)


def test_a_pose_is_trusted_as_the_file_says_unless_it_says_itself(folder) -> None:
    folder.edit("poses.yaml", "trusted: true", "trusted: false")
    folder.edit("poses.yaml", "faces: [1]", "trusted: on")
    poses = folder.load().poses
    assert (poses["foh-1"].trusted, poses["foh-2"].trusted) == (True, False)


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("poses.yaml", "  foh-2: {", "  foh-9: {", "fixtures: found unknown fixture 'foh-9', nearest is 'foh-"),
        ("poses.yaml", "{D: [", "{Z: [", "marks: found unknown mark 'Z'"),
        ("stage.yaml", "  B: [5, 1, 0]", "  B: [500, 1, 0]", "marks.B: found a mark 500 m"),
        ("network.yaml", "rate: 44", "rate: 60", "sacn.rate: found 60 packets/s"),
        ("profiles/spot.yaml", "focus: {table: [[3.0, 60000], [8.0, 31000], [20.0, 12000]]}", "", "channel 'focus'"),
    ],
)
def test_what_is_only_warned_of(folder, file: str, old: str, new: str, words: str) -> None:
    line = folder.edit(file, old, new)
    if file.startswith("profiles"):
        line = 4  # where the channels are
    show = folder.load()
    assert len(show.warnings) == 1
    assert show.warnings[0].startswith(f"{file}:{line}: ")
    assert words in show.warnings[0]
    assert set(show.poses) <= {fixture.name for fixture in show.fixtures}


def test_no_folder_and_a_file_for_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ShowError, match="found no such folder"):
        load(tmp_path / "nowhere")
    (tmp_path / "file").write_text("")
    with pytest.raises(ShowError, match="found a file, allowed is a show folder"):
        load(tmp_path / "file")
