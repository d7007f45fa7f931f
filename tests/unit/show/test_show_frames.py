# ruff: noqa: E501 (rows of a table stay rows)
"""frames.yaml: what is read, one test per reason to refuse or to warn, and what is written comes back."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import InputError, ShowError
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.show import load
from bridge.show.frames import load_frames
from bridge.show.store import save_frames
from bridge.show.texts import load_texts, texts

NET = "network.yaml"
LAST = "record: {folder: captures, days: 14, megabytes: 2000}\n"
FRAMES = """version: 1
frames:
  tags:
    axes: [x, -z, y]
    turn: 90
    origin: [1, 2 m, 30 cm]
    scale: 0.5
    sigma: 3 cm
    solved_from: [{mark: A, point: 1/7, at: [1, 2, 3], sigma: 0.01}]
    recorded: [{mark: B, point: 1/7, at: [4, 5, 6]}]
  stage: {recorded: [{mark: C, point: 4, at: [0, 0, 0]}]}
"""


def with_frames(folder, text: str = FRAMES) -> None:
    folder.edit(NET, LAST, LAST + "inputs: {tags: {protocol: otp}, stage: {protocol: psn}}\n")
    folder.files["frames.yaml"] = text


def test_frames_are_read_and_what_is_recorded_alone_is_none(folder) -> None:
    with_frames(folder)
    show = folder.load()
    frame = InputFrame(("x", "-z", "y"), 90, None, (1, 2, 0.3), 0.5, 0.03, (Recorded("A", "1/7", (1, 2, 3), 0.01),))
    assert show.frames == {"tags": frame}
    assert show.warnings == ()
    file = load_frames(folder.path)
    assert file.frames == show.frames
    assert file.recorded == {
        "tags": (Recorded("B", "1/7", (4, 5, 6)),),
        "stage": (Recorded("C", "4", (0, 0, 0)),),
    }


def test_without_the_file_no_input_has_a_frame(folder) -> None:
    assert folder.load().frames == {}
    found = load_frames(folder.path)
    assert (found.frames, found.recorded) == ({}, {})


def test_a_frame_that_says_nothing_is_the_stage_s_own(folder) -> None:
    with_frames(folder, "version: 1\nframes: {tags: {}}\n")
    assert folder.load().frames == {"tags": InputFrame()}


def test_a_quaternion_in_place_of_the_turn(folder) -> None:
    with_frames(folder, "version: 1\nframes: {tags: {rotation: [0, 0, 0.7071068, 0.7071068]}}\n")
    frame = folder.load().frames["tags"]
    assert frame.rotation == pytest.approx((0, 0, math.sqrt(0.5), math.sqrt(0.5)))
    assert frame.place((1, 0, 0)) == pytest.approx((0, 1, 0))


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("{axes: [x, y]}", "axes: found ['x', 'y'], allowed is three axes such as [x, -z, y], a list of 3"),
        ("{axes: [x, y, -y]}", "axes: found ['x', 'y', '-y'], allowed is each of x, y and z once, with or without -"),
        ("{axes: [x, y, w]}", "axes.3: found 'w', allowed is x or y or z or -x or -y or -z"),
        ("{turn: 400}", "turn: found 400, allowed is a number from -360 to 360 degrees"),
        ("{turn: 0, rotation: [0, 0, 0, 1]}", "turn: found turn beside rotation, allowed is one of them: turn is about z alone, in degrees"),
        ("{rotation: [0, 0, 1, 1]}", "rotation: found [0, 0, 1, 1], allowed is a unit quaternion [x, y, z, w], of length 1 (this has length 1.414)"),
        ("{scale: 0}", "scale: found 0, allowed is a number above 0 and up to 1000"),
        ("{scale: -1}", "scale: found -1, allowed is a number above 0 and up to 1000"),
        ("{origin: [0, 0]}", "origin: found [0, 0], allowed is [x, y, z] in metres, a list of 3"),
        ("{origin: [0, 0, 1e6]}", "origin.3: found 1e6, allowed is a length from -100000 to 100000 m (written in mm? then say so: '5000 mm')"),
        ("{sigma: -1}", "sigma: found -1, allowed is a length from 0 to 1000 m"),
        ("{solved_from: [{mark: A, at: [0, 0, 0]}]}", "solved_from.1: found no key 'point', which is required"),
        ("{solved_from: [{mark: A, point: a, at: [0, 0, 0]}]}", "solved_from.1.point: found 'a', allowed is the number of a point, or GROUP/POINT such as 1/7"),
        ("{recorded: [{mark: A, point: 1, at: [0, 0]}]}", "recorded.1.at: found [0, 0], allowed is [x, y, z] in metres, a list of 3"),
        ("90", "found 90, allowed is a mapping such as {axes: [x, y, z], turn: 0, origin: [0, 0, 0]}"),
    ],
)  # fmt: skip
def test_a_frame_is_refused(folder, written: str, says: str) -> None:
    with_frames(folder, f"version: 1\nframes:\n  tags: {written}\n")
    assert folder.problems() == [f"frames.yaml:3: frames.tags{': ' if says.startswith('found') else '.'}{says}"]
    with pytest.raises(ShowError) as caught:
        load_frames(folder.path)
    assert caught.value.lines == folder.problems()


def test_a_mistyped_key_has_its_nearest(folder) -> None:
    with_frames(folder, "version: 1\nframes: {tags: {origins: [0, 0, 0]}}\n")
    (said,) = folder.problems()
    assert "frames.tags: found unknown key 'origins', nearest is 'origin'" in said


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("tag: {turn: 3}", "frames: found unknown input 'tag', nearest is 'tags'; allowed: tags, stage; this frame is not used"),
        ("tags: {axes: [y, x, z]}", "frames.tags.axes: [y, x, z] is mirrored: left and right are exchanged; is one sign wrong?"),
        ("tags: {solved_from: [{mark: Z, point: 1/7, at: [0, 0, 0]}]}", "frames.tags.solved_from: found unknown mark 'Z'; allowed: A, B, C, D"),
        ("tags: {recorded: [{mark: Z, point: 1/7, at: [0, 0, 0]}]}", "frames.tags.recorded: found unknown mark 'Z'; allowed: A, B, C, D"),
    ],
)  # fmt: skip
def test_what_is_probably_not_meant_is_a_warning(folder, written: str, says: str) -> None:
    with_frames(folder, f"version: 1\nframes:\n  {written}\n")
    show = folder.load()
    assert show.warnings == (f"frames.yaml:3: {says}",)
    assert set(show.frames) <= {"tags"}


THREE = ", ".join(f"{{mark: {mark}, point: 1/7, at: [0, {n}, 0]}}" for n, mark in enumerate("ABC"))


@pytest.mark.parametrize(
    "written",
    [
        "stage: {axes: [x, z, y]}",  # PSN: x right, y up, z depth
        f"tags: {{axes: [y, x, z], solved_from: [{THREE}]}}",
    ],
)
def test_mirrored_axes_are_right_where_marks_or_the_protocol_say_so(folder, written: str) -> None:
    with_frames(folder, f"version: 1\nframes:\n  {written}\n")
    assert folder.load().warnings == ()


def test_a_capture_carries_the_frames(folder) -> None:
    with_frames(folder)
    show = folder.load()
    assert load_texts(texts(show.path)).frames == show.frames != {}


_names = st.text("abcXYZ0189-_", min_size=1, max_size=8) | st.sampled_from(["on", "no", "null", "010", "y"])
_length = st.floats(-1000, 1000, allow_nan=False)
_three = st.tuples(_length, _length, _length)
_recorded = st.lists(
    st.builds(Recorded, _names, st.sampled_from(["1/7", "4", "60000/4294967295"]), _three, st.floats(0, 1)), max_size=3
).map(tuple)
_axes = st.permutations("xyz").flatmap(
    lambda order: st.tuples(*(st.sampled_from([axis, f"-{axis}"]) for axis in order))
)
_frame = st.builds(
    InputFrame, _axes, st.floats(-360, 360), st.none(), _three, st.floats(0.001, 100), st.floats(0, 10), _recorded
)


@settings(deadline=None)
@given(st.dictionaries(_names, _frame, max_size=3), st.dictionaries(_names, _recorded, max_size=3))
def test_what_is_written_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    frames: dict[str, InputFrame],
    recorded: dict[str, tuple[Recorded, ...]],
) -> None:
    folder = tmp_path_factory.mktemp("f")
    path = save_frames(folder, frames, recorded)
    found = load_frames(folder)
    assert found.recorded.keys() == {name for name, rows in recorded.items() if rows}
    assert found.frames.keys() == frames.keys()
    for name, frame in frames.items():
        assert found.frames[name].axes == frame.axes
        assert found.frames[name].place((1, 2, 3)) == pytest.approx(frame.place((1, 2, 3)), abs=1e-5)
        assert [(r.mark, r.point) for r in found.frames[name].recorded] == [(r.mark, r.point) for r in frame.recorded]
        for read, was in zip(found.frames[name].recorded, frame.recorded, strict=True):
            assert read.at == pytest.approx(was.at, abs=1e-8)
    again = path.read_text()
    assert save_frames(folder, found.frames, found.recorded).read_text() == again


def test_a_rotation_comes_back_and_the_version_before_is_kept(tmp_path: Path) -> None:
    frame = InputFrame(("-y", "x", "z"), rotation=(0.0, 0.0, 0.6, 0.8))
    save_frames(tmp_path, {"a": InputFrame()})
    path = save_frames(tmp_path, {"a": frame})
    assert load_frames(tmp_path).frames == {"a": frame}
    assert "turn: 0.0" in (tmp_path / "frames.previous.yaml").read_text()
    assert path.name == "frames.yaml"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"scale": 0.0}, "scale: found 0.0, allowed is a number above 0"),
        ({"scale": math.nan}, "cannot write the number nan: it is not finite"),
        ({"axes": ("x", "x", "z")}, "each of x, y and z once"),
    ],
)
def test_what_could_not_be_read_again_is_never_written(tmp_path: Path, change: dict, says: str) -> None:
    save_frames(tmp_path, {"a": InputFrame()})
    with pytest.raises(InputError, match=r"frames\.yaml: not written: ") as caught:
        save_frames(tmp_path, {"a": replace(InputFrame(), **change)})
    assert says in str(caught.value)
    assert load_frames(tmp_path).frames == {"a": InputFrame()}


def test_the_show_of_every_key_has_frames() -> None:
    show = load(Path(__file__).parents[3] / "configs" / "every-key")
    marks = {"A": (0, 0, 0), "B": (10.02, 0, 0), "D": (0.2, 6.1, 0)}
    for row in show.frames["tags"].recorded:
        assert math.dist(show.frames["tags"].place(row.at), marks[row.mark]) < 0.03
