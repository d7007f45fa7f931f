"""A head of a GDTF file against MuJoCo: one made file, read by us and by pygdtf, its geometry as bodies and joints.

pygdtf reads the matrices and the tree, MuJoCo multiplies them and turns the two hinges (pan about z, tilt about x);
a matrix's translation is the 4th number of each row and its rows are the local basis vectors (facts of DIN SPEC 15800).
Ours is the rest of the bridge: axes_at, signs, offsets, a turned base and the lens, fed to the heads that aim.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Sequence

import mujoco
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.exchange.gdtf import open_gdtf, profile_of
from bridge.exchange.gdtf_geometry import Head, read_head
from bridge.exchange.xml_tree import parse_xml
from bridge.geometry.mechanics import TERMS, Heads, miss_distance
from tests.unit.exchange.made_gdtf import DIMMER, PAN_TILT, Mode, description, packed

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pygdtf

EXACT_RAD, EXACT_M = 2e-5, 3e-4  # a whole degree in the file may be 5e-4 degrees off by its digits
Frame = tuple[np.ndarray, np.ndarray]  # rotation (3, 3), translation (3,)
LEVEL = np.eye(3)
FLIP_X, FLIP_Y = np.diag([1.0, -1.0, -1.0]), np.diag([-1.0, 1.0, -1.0])


def turn(axis: str, degrees: float) -> np.ndarray:
    return Rotation.from_euler(axis, degrees, degrees=True).as_matrix()


def written(frame: Frame) -> str:
    """A Position: the columns of the rotation as rows, and the translation as 4th numbers."""
    rotation, at = frame
    rows = [[*rotation[:, n], at[n]] for n in range(3)] + [[0, 0, 0, 1]]
    return "".join("{" + ",".join(f"{number:.15g}" for number in row) + "}" for row in rows)


def file_of(base: Frame, yoke: Frame, arm: Frame, head: Frame, beams: Sequence[Frame]) -> bytes:
    """Base > yoke (pan) > arm > head (tilt) > beams, as a description.xml."""
    lights = "".join(
        f'<Beam Name="Beam {n}" Position="{written(beam)}" BeamType="Spot"/>' for n, beam in enumerate(beams)
    )
    tree = (
        f'<Geometry Name="Base" Position="{written(base)}"><Axis Name="Yoke" Position="{written(yoke)}">'
        f'<Geometry Name="Arm" Position="{written(arm)}"><Axis Name="Head" Position="{written(head)}">{lights}'
        "</Axis></Geometry></Axis></Geometry>"
    )
    return description([Mode("Only", (*PAN_TILT, DIMMER))], geometries=tree).encode()


def ours(xml: bytes) -> Head:
    fixture_type = next(parse_xml(xml, "a file").all("FixtureType"))
    return read_head(fixture_type, next(fixture_type.below("DMXModes", "DMXMode")))


class MujocoFixture:
    """The same file by pygdtf and MuJoCo, hung anywhere."""

    def __init__(self, xml: bytes, at: np.ndarray, rotation: np.ndarray) -> None:
        fixture = pygdtf.FixtureType(io.BytesIO(packed(xml)))
        root = fixture.geometries.get_geometry_by_name(fixture.dmx_modes[0].geometry)
        body = f"<body {_placing(rotation, at)}>{self._body(root)}</body>"
        self.model = mujoco.MjModel.from_xml_string(f"<mujoco><worldbody>{body}</worldbody></mujoco>")
        self.data = mujoco.MjData(self.model)

    def _body(self, geometry: object) -> str:
        rows = np.array(geometry.position.matrix)  # type: ignore[attr-defined]
        name, placing = geometry.name, _placing(rows[:3, :3].T, rows[:3, 3])  # type: ignore[attr-defined]
        if isinstance(geometry, pygdtf.geometries.GeometryBeam):
            return f'<site name="{name}" {placing}/>'
        hinge = {"Yoke": "0 0 1", "Head": "1 0 0"}.get(name)
        joint = f'<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/><joint name="{name}" axis="{hinge}"/>'
        inside = "".join(map(self._body, geometry.geometries))  # type: ignore[attr-defined]
        return f"<body {placing}>{joint if hinge else ''}{inside}</body>"

    def beam(self, pan_rad: float, tilt_rad: float, site: int = 0) -> Frame:
        """Start and direction of a beam, world frame."""
        self.data.joint("Yoke").qpos[0], self.data.joint("Head").qpos[0] = pan_rad, tilt_rad
        mujoco.mj_kinematics(self.model, self.data)
        lens = self.data.site(f"Beam {site}")
        return lens.xpos.copy(), -lens.xmat.reshape(3, 3)[:, 2]


def _placing(rotation: np.ndarray, at: np.ndarray) -> str:
    quaternion = np.roll(Rotation.from_matrix(rotation).as_quat(), 1)
    return f'pos="{_words(at)}" quat="{_words(quaternion)}"'


def _words(numbers: np.ndarray) -> str:
    return " ".join(f"{number:.17g}" for number in numbers)


def heads_of(head: Head, at: np.ndarray, rotation: np.ndarray) -> Heads:
    """The bridge's head for a fixture that a drawing places there."""
    terms = np.zeros((1, len(TERMS)))
    terms[0, TERMS.index("lens_x")], terms[0, TERMS.index("lens_y")] = head.lens
    position = at + rotation @ head.axes_at
    return Heads(position[None], (rotation @ np.array(head.base_rotation))[None], terms)


def angles(head: Head, pan_rad: float, tilt_rad: float) -> tuple[np.ndarray, np.ndarray]:
    """The file's angles as ours."""
    pan = head.pan_sign * pan_rad + np.radians(head.pan_offset_deg)
    return np.array([pan]), np.array([head.tilt_sign * tilt_rad + np.radians(head.tilt_offset_deg)])


def agree(xml: bytes, pan_rad: float, tilt_rad: float, at: np.ndarray, rotation: np.ndarray) -> Head:
    """Both beams are one line, the same way along."""
    head = ours(xml)
    assert head.representable, head.questions
    start, direction = MujocoFixture(xml, at, rotation).beam(pan_rad, tilt_rad)
    our_start, our_direction = heads_of(head, at, rotation).beam(*angles(head, pan_rad, tilt_rad))
    np.testing.assert_allclose(our_direction[0], direction, atol=EXACT_RAD)
    assert miss_distance(our_start[0], our_direction[0], start + 9 * direction) < EXACT_M
    return head


DOWN_30, DOWN_20 = np.array([0, 0, -0.3]), np.array([0, 0, -0.2])
NONE = np.zeros(3)
PLAIN: dict[str, Frame] = {
    "base": (LEVEL, NONE), "yoke": (LEVEL, DOWN_20), "arm": (LEVEL, NONE), "head": (LEVEL, DOWN_30),
}  # fmt: skip
# What the geometry says by hand: (pan sign, pan offset, tilt sign, tilt offset).
CASES: dict[str, tuple[dict[str, Frame], tuple[int, float, int, float]]] = {
    "as the standard draws it": ({}, (1, 0, 1, 0)),
    "pan axis flipped about x, the yoke back": ({"yoke": (FLIP_X, DOWN_20), "arm": (FLIP_X, NONE)}, (-1, 0, 1, 0)),
    "pan axis flipped about y, the yoke back": ({"yoke": (FLIP_Y, DOWN_20), "arm": (FLIP_Y, NONE)}, (-1, 0, 1, 0)),
    "yoke turned a quarter": ({"arm": (turn("z", 90), NONE)}, (1, 90, 1, 0)),
    "yoke turned back a quarter": ({"arm": (turn("z", -90), NONE)}, (1, -90, 1, 0)),
    "yoke turned half, the tilt axis looks back": ({"arm": (turn("z", 180), NONE)}, (1, 0, -1, 0)),
    "base turned": ({"base": (turn("z", 30), NONE)}, (1, 30, 1, 0)),
    "head leans": ({"head": (turn("x", 45), DOWN_30)}, (1, 0, 1, 45)),
    "drawn standing": ({"head": (turn("x", 180), -DOWN_30)}, (1, 0, 1, 180)),
}


@pytest.mark.parametrize("name", CASES)
def test_signs_and_offsets_are_what_the_geometry_says(name: str) -> None:
    frames, expected = CASES[name]
    xml = file_of(**{**PLAIN, **frames}, beams=[(LEVEL, np.array([0, 0, -0.1]))])
    rng = np.random.default_rng(7)
    for _ in range(10):
        at, rotation = rng.uniform(-5, 5, 3), Rotation.random(random_state=rng).as_matrix()
        head = agree(xml, rng.uniform(-4.7, 4.7), rng.uniform(-2.4, 2.4), at, rotation)
    assert (head.pan_sign, head.pan_offset_deg, head.tilt_sign, head.tilt_offset_deg) == expected
    assert head.turned == (expected != (1, 0, 1, 0))


ANGLE = st.floats(-180, 180)
SHORT = st.floats(-0.5, 0.5)
UPRIGHT = st.sampled_from([LEVEL, FLIP_X, FLIP_Y, turn("z", 90), turn("z", 37.5), FLIP_X @ turn("z", 20)])
ANYHOW = st.builds(lambda *euler: Rotation.from_euler("ZYX", euler, degrees=True).as_matrix(), ANGLE, ANGLE, ANGLE)
PLACE = st.builds(lambda *xyz: np.array(xyz), SHORT, SHORT, SHORT)


@settings(max_examples=300, deadline=None)
@given(
    base=st.tuples(UPRIGHT, PLACE),
    yoke=st.tuples(UPRIGHT | ANYHOW, PLACE),
    about_z=ANGLE, about_x=ANGLE, height=SHORT, sideways=SHORT,
    lens=PLACE, lean=ANGLE, roll=ANGLE,
    pan=st.floats(-4.7, 4.7), tilt=st.floats(-2.4, 2.4), at=PLACE, hang=ANYHOW,
)  # fmt: skip
def test_any_head_whose_axes_meet_at_right_angles_throws_the_same_beam(
    base: Frame, yoke: Frame, about_z: float, about_x: float, height: float, sideways: float, lens: np.ndarray,
    lean: float, roll: float, pan: float, tilt: float, at: np.ndarray, hang: np.ndarray,
) -> None:  # fmt: skip
    across = turn("z", about_z) @ turn("x", about_x)
    arm = (LEVEL, np.array([0, 0, height]))
    head = (across, sideways * across[:, 0])  # anywhere along its own axis, which meets the pan axis
    beam = (turn("x", lean) @ turn("z", roll), lens)
    found = agree(file_of(base, yoke, arm, head, [beam]), pan, tilt, at, hang)
    assert abs(found.pan_offset_deg) <= 90


@settings(max_examples=60, deadline=None)
@given(target=PLACE, hang=ANYHOW, lens=SHORT, flip=UPRIGHT, face=st.integers(0, 1))
def test_a_head_from_a_file_aimed_by_us_lights_the_point_in_mujoco(
    target: np.ndarray, hang: np.ndarray, lens: float, flip: np.ndarray, face: int
) -> None:
    frames = {**PLAIN, "yoke": (flip, DOWN_20)}
    xml = file_of(**frames, beams=[(LEVEL, np.array([0.1 * lens, 0.05, -0.1]))])
    head, at, point = ours(xml), np.array([1.0, 2.0, 8.0]), 4 * target
    pan, tilt, _ = heads_of(head, at, hang).aim(point[None])
    file_pan = head.pan_sign * (pan[0, face] - np.radians(head.pan_offset_deg))
    file_tilt = head.tilt_sign * (tilt[0, face] - np.radians(head.tilt_offset_deg))
    start, direction = MujocoFixture(xml, at, hang).beam(file_pan, file_tilt)
    assert float(miss_distance(start, direction, point)) < 5e-4
    assert (point - start) @ direction > 0


@pytest.mark.parametrize("name", CASES)
def test_the_dmx_values_of_an_imported_profile_light_the_point(name: str) -> None:
    """The whole way: .gdtf -> profile -> raw pan and tilt; back to the file's degrees by pygdtf, then MuJoCo."""
    xml = file_of(**{**PLAIN, **CASES[name][0]}, beams=[(LEVEL, np.array([0, 0, -0.1]))])
    opened = open_gdtf(packed(xml), "spot.gdtf")
    profile = profile_of(opened, opened.modes[0]).profile  # as drawn: the file's geometry has the zero of pan
    assert profile is not None
    fixture = pygdtf.FixtureType(io.BytesIO(packed(xml)))
    channels = {each.logical_channels[0].attribute.str_link: each for each in fixture.dmx_modes[0].dmx_channels}
    rng = np.random.default_rng(7)
    for _ in range(10):
        at, hang, point = rng.uniform(-5, 5, 3), Rotation.random(random_state=rng).as_matrix(), rng.uniform(-9, 9, 3)
        head = Heads.perfect((at + hang @ profile.document["axes_at"])[None], hang[None])
        pan, tilt, _ = head.aim(point[None])
        turned = {}
        for axis, attribute, ours_deg in (
            ("pan", "Pan", np.degrees(pan[0, 0])),
            ("tilt", "Tilt", np.degrees(tilt[0, 0])),
        ):
            first, last = profile.document[axis]["from"], profile.document[axis]["to"]
            share = (ours_deg - first) / (last - first)  # beyond 0..1 the motor ends, the line goes on
            function = channels[attribute].logical_channels[0].channel_functions[0]
            span = function.physical_to.value - function.physical_from.value
            turned[axis] = np.radians(function.physical_from.value + span * share)
        start, direction = MujocoFixture(xml, at, hang).beam(turned["pan"], turned["tilt"])
        assert miss_distance(start, direction, point) < 1e-3
        assert (point - start) @ direction > 0


def test_the_middle_of_several_emitters_is_where_mujoco_has_it() -> None:
    ring = [(LEVEL, np.array([0.05 * np.cos(a) + 0.02, 0.05 * np.sin(a), -0.1])) for a in np.arange(4) * np.pi / 2]
    xml = file_of(**PLAIN, beams=ring)
    head, model = ours(xml), MujocoFixture(xml, NONE, LEVEL)
    middle = np.mean([model.beam(0.4, 0.7, site)[0] for site in range(4)], axis=0)
    start, direction = heads_of(head, NONE, LEVEL).beam(*angles(head, 0.4, 0.7))
    assert miss_distance(start[0], direction[0], middle + 9 * direction[0]) < 1e-9
    assert len(head.beams) == 4
    assert any("4 emitters" in note for note in head.notes)


def _off(frames: dict[str, Frame], beam: np.ndarray) -> tuple[Head, Callable[[float, float], float]]:
    xml = file_of(**{**PLAIN, **frames}, beams=[(beam, NONE)])
    head, model = ours(xml), MujocoFixture(xml, NONE, LEVEL)

    def angle_deg(pan: float, tilt: float) -> float:
        _, direction = model.beam(pan, tilt)
        _, our_direction = heads_of(head, NONE, LEVEL).beam(*angles(head, pan, tilt))
        return float(np.degrees(np.arccos(np.clip(direction @ our_direction[0], -1, 1))))

    return head, angle_deg


@pytest.mark.parametrize(
    ("frames", "beam", "said"),
    [
        ({"arm": (turn("y", 0.8), NONE)}, LEVEL, "0.80 degrees off the right angle to the pan axis"),
        ({}, turn("y", 0.8), "0.80 degrees off the right angle to the tilt axis"),
    ],
)
def test_axes_off_the_right_angle_are_asked_about_and_the_nearest_head_is_off_by_no_more(
    frames: dict[str, Frame], beam: np.ndarray, said: str
) -> None:
    head, angle_deg = _off(frames, beam)
    assert not head.representable
    assert any(said in question for question in head.questions)
    worst = max(angle_deg(pan, tilt) for pan in (-2.0, 0.3, 1.0) for tilt in (-1.2, 0.1, 2.0))
    assert 0.5 < worst < 0.81
