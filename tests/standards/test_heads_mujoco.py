"""Pan/tilt heads against MuJoCo: a body tree with two hinges, and a ray cast along the beam onto floor and ceiling.

MuJoCo computes rigid-body kinematics on its own; the model below is conventions.md's head written as bodies and joints:
pan hinge about z, squareness a turn about y, tilt hinge about x, then a site for the lens whose -z is the beam.
"""

from __future__ import annotations

from collections.abc import Mapping

import mujoco
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.geometry.frames import beam_in_fixture, pan_tilt_of, rotation_from_quaternion
from bridge.geometry.mechanics import TERMS, Heads, miss_distance

SEED = 7
FLOOR_M, CEILING_M = 0.0, 12.0
# one sigma of facts/solver.md, "Mechanics": 0.5, 0.2, 0.1 deg; 5 cm; 0.1 %
SIGMAS = dict(zip(TERMS, [*np.radians([0.5, 0.2, 0.1]), 0.05, 0.05, 0.001], strict=True))
PERFECT = dict.fromkeys(TERMS, 0.0)


class MujocoHead:
    """One head in MuJoCo; `beam` gives start and direction, `lit` where the ray meets floor or ceiling."""

    def __init__(self, position: np.ndarray, quaternion_xyzw: np.ndarray, terms: Mapping[str, float]) -> None:
        self.terms, w_first = terms, np.roll(quaternion_xyzw, 1)
        numbers = {
            "position": _words(position),
            "base": _words(w_first),
            "square": _about("y", terms["squareness"]),
            "zero": _about("x", terms["tilt_zero"]),
            "collimated": _about("y", terms["collimation"]),
            "lens": _words((terms["lens_x"], terms["lens_y"], 0.0)),
        }
        self.model = mujoco.MjModel.from_xml_string(HEAD_XML.format(**numbers))
        self.data = mujoco.MjData(self.model)

    def beam(self, pan_rad: float, tilt_rad: float) -> tuple[np.ndarray, np.ndarray]:
        self.data.qpos[:] = (1 + self.terms["pan_scale"]) * pan_rad, tilt_rad
        mujoco.mj_kinematics(self.model, self.data)
        lens = self.data.site("lens")
        return lens.xpos.copy(), -lens.xmat.reshape(3, 3)[:, 2]

    def lit(self, pan_rad: float, tilt_rad: float) -> np.ndarray:
        start, direction = self.beam(pan_rad, tilt_rad)
        geom = np.zeros(1, dtype=np.int32)
        distance = mujoco.mj_ray(self.model, self.data, start, direction, None, True, -1, geom)
        assert distance > 0, "the beam meets neither floor nor ceiling"
        return start + distance * direction


HEAD_XML = f"""
<mujoco><worldbody>
  <geom type="box" size="1000 1000 1" pos="0 0 {FLOOR_M - 1}"/>
  <geom type="box" size="1000 1000 1" pos="0 0 {CEILING_M + 1}"/>
  <body pos="{{position}}" quat="{{base}}">
    <body><inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/><joint type="hinge" axis="0 0 1"/>
      <body quat="{{square}}"><inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
        <joint type="hinge" axis="1 0 0"/>
        <body quat="{{zero}}"><site name="lens" pos="{{lens}}" quat="{{collimated}}"/></body>
      </body>
    </body>
  </body>
</worldbody></mujoco>"""


def _words(numbers: object) -> str:
    return " ".join(f"{float(n):.17g}" for n in np.asarray(numbers).ravel())


def _about(axis: str, angle_rad: float) -> str:
    return _words(np.roll(Rotation.from_euler(axis, angle_rad).as_quat(), 1))


def random_base(rng: np.random.Generator, mount: str) -> tuple[np.ndarray, np.ndarray]:
    """Position and quaternion of a head that hangs or stands up to 30 deg from level, or sits anyhow."""
    height = 1.0 if mount == "standing" else 8.0
    position = np.array([*rng.uniform(-6, 6, 2), height])
    if mount == "anyhow":
        return position, Rotation.random(random_state=rng).as_quat()
    roll = np.pi if mount == "standing" else 0.0
    angles = [rng.uniform(-np.pi, np.pi), *rng.uniform(-np.radians(30), np.radians(30), 2)]
    return position, Rotation.from_euler("ZYX", angles + np.array([0, 0, roll])).as_quat()


def random_point(rng: np.random.Generator, mount: str) -> np.ndarray:
    """On the floor, or for a standing head on the ceiling too."""
    height = CEILING_M if mount == "standing" and rng.random() < 0.5 else FLOOR_M
    return np.array([*rng.uniform(-6, 6, 2), height])


MOUNTS = pytest.mark.parametrize("mount", ["hanging", "standing", "anyhow"])


@MOUNTS
def test_a_perfect_head_throws_its_beam_where_mujoco_does(mount: str) -> None:
    rng = np.random.default_rng(SEED)
    for _ in range(40):
        position, base = random_base(rng, mount)
        pan, tilt = rng.uniform(-4.7, 4.7), rng.uniform(-2.4, 2.4)
        start, direction = MujocoHead(position, base, PERFECT).beam(pan, tilt)
        np.testing.assert_allclose(start, position, atol=1e-12)
        ours = rotation_from_quaternion(base) @ beam_in_fixture(pan, tilt)
        np.testing.assert_allclose(ours, direction, atol=1e-12)


@MOUNTS
def test_a_perfect_head_aimed_by_us_lights_the_point_in_mujoco_on_both_faces(mount: str) -> None:
    rng = np.random.default_rng(SEED)
    for _ in range(40):
        position, base = random_base(rng, mount)
        point = random_point(rng, mount)
        pan, tilt = pan_tilt_of((point - position) @ rotation_from_quaternion(base))
        head = MujocoHead(position, base, PERFECT)
        np.testing.assert_allclose(head.lit(pan, tilt), point, atol=1e-9)
        np.testing.assert_allclose(head.lit(pan + np.pi, -tilt), point, atol=1e-9)


def imperfect(rng: np.random.Generator, only: str | None = None) -> dict[str, float]:
    """Terms at three times their usual sigma; `only` one of them, or all together."""
    drawn = {name: 3 * sigma * float(rng.standard_normal()) for name, sigma in SIGMAS.items()}
    return drawn if only is None else {**PERFECT, only: drawn[only]}


@pytest.mark.parametrize("term", [*TERMS, None], ids=[*TERMS, "all"])
def test_every_mechanical_term_moves_the_beam_as_in_mujoco(term: str | None) -> None:
    rng = np.random.default_rng(SEED)
    cases = [(random_base(rng, "anyhow"), imperfect(rng, term)) for _ in range(30)]
    pan, tilt = rng.uniform(-4.7, 4.7, 30), rng.uniform(-2.4, 2.4, 30)
    start, direction = _heads(cases).beam(pan, tilt)
    for n, ((position, base), terms) in enumerate(cases):
        there_start, there_direction = MujocoHead(position, base, terms).beam(pan[n], tilt[n])
        np.testing.assert_allclose(start[n], there_start, atol=1e-12)
        np.testing.assert_allclose(direction[n], there_direction, atol=1e-12)


@MOUNTS
def test_an_imperfect_head_aimed_by_us_lights_the_point_in_mujoco_on_both_faces(mount: str) -> None:
    rng = np.random.default_rng(SEED)
    cases = [(random_base(rng, mount), imperfect(rng)) for _ in range(30)]
    points = np.array([random_point(rng, mount) for _ in cases])
    pan, tilt, length = _heads(cases).aim(points)
    for n, ((position, base), terms) in enumerate(cases):
        head = MujocoHead(position, base, terms)
        for face in (0, 1):
            np.testing.assert_allclose(head.lit(pan[n, face], tilt[n, face]), points[n], atol=1e-8)
        start, _ = head.beam(pan[n, 0], tilt[n, 0])
        assert length[n] == pytest.approx(np.linalg.norm(points[n] - start), abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(
    shares=st.lists(st.floats(-4, 4), min_size=6, max_size=6),
    seed=st.integers(0, 2**32 - 1),
    pan=st.floats(-3.0, 3.0),
    tilt=st.floats(0.2, 2.4),
    face_2=st.booleans(),
)
def test_inverse_after_forward_gives_the_angles_back_on_either_face(
    shares: list[float], seed: int, pan: float, tilt: float, face_2: bool
) -> None:
    terms = {name: share * sigma for (name, sigma), share in zip(SIGMAS.items(), shares, strict=True)}
    heads = _heads([(random_base(np.random.default_rng(seed), "anyhow"), terms)])
    sent_tilt = -tilt if face_2 else tilt
    start, direction = heads.beam(np.array([pan]), np.array([sent_tilt]))
    pans, tilts, length = heads.aim(start + 9.0 * direction)
    face = int(face_2)
    assert length[0] == pytest.approx(9.0, abs=1e-9)
    assert tilts[0, face] == pytest.approx(sent_tilt, abs=1e-7)
    turns = (pans[0, face] - pan) / heads.turn[0]
    assert turns == pytest.approx(round(turns), abs=1e-7)


def test_a_whole_turn_of_the_beam_is_a_whole_turn_in_mujoco() -> None:
    rng = np.random.default_rng(SEED)
    base, terms = random_base(rng, "hanging"), {**PERFECT, "pan_scale": 0.003}
    (turn,), head = _heads([(base, terms)]).turn, MujocoHead(*base, terms)
    np.testing.assert_allclose(head.beam(0.3 + turn, 0.8)[1], head.beam(0.3, 0.8)[1], atol=1e-12)


# The lens offset makes "nearest" depend on the tilt itself; what is left of that is under a tenth of a millimetre.
@pytest.mark.parametrize(("perfect", "slack_m"), [(True, 1e-9), (False, 1e-4)])
def test_tilt_for_a_held_pan_brings_the_beam_as_near_as_any_tilt_in_mujoco(perfect: bool, slack_m: float) -> None:
    rng = np.random.default_rng(SEED)
    cases = [(random_base(rng, "hanging"), PERFECT if perfect else imperfect(rng)) for _ in range(10)]
    points = np.array([random_point(rng, "hanging") for _ in cases])
    best_pan, _, _ = (heads := _heads(cases)).aim(points)
    pan = best_pan[:, 0] + rng.uniform(-0.3, 0.3, 10)
    tilt = heads.tilt_for(pan, points)
    for n, ((position, base), terms) in enumerate(cases):
        head = MujocoHead(position, base, terms)
        others = [_miss(head, pan[n], tilt[n] + step, points[n]) for step in np.linspace(-0.02, 0.02, 81)]
        assert _miss(head, pan[n], tilt[n], points[n]) <= min(others) + slack_m


def _miss(head: MujocoHead, pan: float, tilt: float, point: np.ndarray) -> float:
    start, direction = head.beam(pan, tilt)
    expected = float(np.linalg.norm(np.cross(point - start, direction)))
    assert float(miss_distance(start, direction, point)) == pytest.approx(expected, abs=1e-9)
    return expected


def _heads(cases: list[tuple[tuple[np.ndarray, np.ndarray], dict[str, float]]]) -> Heads:
    positions = np.array([position for (position, _), _ in cases])
    rotations = np.array([rotation_from_quaternion(base) for (_, base), _ in cases])
    return Heads(positions, rotations, np.array([[terms[name] for name in TERMS] for _, terms in cases]))
