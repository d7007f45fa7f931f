"""Where an MVR's heads stand: DIN SPEC 15801's matrices (from memory: rows u, v, w, o in mm; identity hangs)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.exchange.found import Found, FoundFixture
from bridge.exchange.hang import rotation_of
from bridge.exchange.mvr import read_mvr
from bridge.exchange.mvr_fields import matrix_of
from tests.unit.exchange.made_gdtf import GEOMETRIES, Mode, build_gdtf
from tests.unit.exchange.made_mvr import AXES_AT, SPOT, SPOT_CHANNELS, fixture, group, layer, matrix, mvr

IDENTITY = "{1,0,0}{0,1,0}{0,0,1}"


def found_in(layers: str) -> Found:
    return read_mvr(mvr(layers), "plot.mvr")


def only(layers: str) -> FoundFixture:
    (head,) = found_in(layers).fixtures
    return head


def hung(text: str) -> FoundFixture:
    return only(layer(fixture(matrix=text)))


def test_identity_hangs_and_the_origin_is_in_millimetres() -> None:
    head = hung(IDENTITY + "{1500,-2000,6250}")
    assert head.hang == (0, 0, 0)
    assert head.at == pytest.approx((1.5, -2.0, 6.25 + AXES_AT[2]))


def test_without_a_matrix_it_stands_where_its_layer_does() -> None:
    assert only(layer(fixture(), matrix=IDENTITY + "{0,0,5000}")).at == pytest.approx((0, 0, 5 + AXES_AT[2]))
    assert only(layer(fixture())).at == pytest.approx(AXES_AT)


def test_u_v_w_are_the_columns_of_the_rotation() -> None:
    """A quarter turn about z takes x to y: u = (0, 1, 0), v = (-1, 0, 0)."""
    head = hung("{0,1,0}{-1,0,0}{0,0,1}{0,0,0}")
    assert head.hang == (90, 0, 0)


def test_on_the_floor_it_is_rolled_by_180_and_its_axes_meet_above_its_base() -> None:
    head = hung("{1,0,0}{0,-1,0}{0,0,-1}{1000,2000,0}")
    assert head.hang == (0, 0, 180)
    assert head.at == pytest.approx((1, 2, -AXES_AT[2]))


def test_layers_groups_and_trusses_multiply() -> None:
    quarter = "{0,1,0}{-1,0,0}{0,0,1}"
    inner = group(fixture(matrix=IDENTITY + "{1000,0,0}"), "LX", quarter + "{0,0,3000}", "Truss")
    head = only(layer(group(inner, "Left", IDENTITY + "{0,2000,0}"), matrix=quarter + "{500,0,0}"))
    # from the inside out: (1, 0, 0) turned is (0, 1, 3), moved (0, 3, 3), turned (-3, 0, 3), moved (-2.5, 0, 3)
    assert head.at == pytest.approx((-2.5, 0, 3 + AXES_AT[2]))
    assert head.hang == (180, 0, 0)


@pytest.mark.parametrize(
    "text",
    [
        "{1,0,0}{0,1,0}{0,0,1}{1500,0,6000}",
        "{1.0,0.0,0.0}{0.0,1.0,0.0}{0.0,0.0,1.0}{1500.0,0.0,6000.0}",
        "{1.000000,0.000000,0.000000}{0.000000,1.000000,0.000000}{0.000000,0.000000,1.000000}{1.5e3,-0.0,6E+03}",
        " { 1 , 0 , 0 } { 0 , 1 , 0 }\n{ 0 , 0 , 1 } { 1500 , 0 , 6000 } ",
        "{1 0 0}{0 1 0}{0 0 1}{1500 0 6000}",
        "1,0,0,0,1,0,0,0,1,1500,0,6000",
        "{1,0;0;0}{0;1;0}{0;0;1}{1500,0;0;6000,0}",
        "{+1,0,.0}{0,1.,0}{0,0,1}{1500,0,6000}",
    ],
)
def test_matrices_are_read_as_files_write_them(text: str) -> None:
    assert hung(text).at == pytest.approx((1.5, 0, 6 + AXES_AT[2]))


@pytest.mark.parametrize(
    "text",
    [
        "{1,0,0}{0,1,0}{0,0,1}",
        "{1,0,0}{0,1,0}{0,0,1}{0,0}{0}",
        "{1,0,0,0}{0,1,0,0}{0,0,1,0}{0,0,0,1}",
        "{nan,0,0}{0,1,0}{0,0,1}{0,0,0}",
        "{1,0,0}{0,1,0}{0,0,1}{inf,0,0}",
        "{1,0,0}{0,1,0}{0,0,1}{1e999,0,0}",
        "{1,000;0}{0}",
        "identity",
        "{}{}{}{}",
        "{1.0.0,0,0}{0,1,0}{0,0,1}{0,0,0}",
    ],
)
def test_what_is_no_matrix_is_said_and_not_guessed(text: str) -> None:
    found = found_in(layer(fixture(matrix=text)))
    assert (found.fixtures[0].at, found.fixtures[0].hang) == (None, None)
    assert any("Spot 1 (101): fixture Spot 1 has a matrix that is none" in each for each in found.questions)


def test_a_broken_matrix_of_a_group_is_said_of_all_in_it_and_of_nobody_else() -> None:
    found = found_in(layer(group(fixture(1) + fixture(2), "Left", "{1,2}") + fixture(3)))
    assert [head.at is None for head in found.fixtures] == [True, True, False]
    assert [each for each in found.questions if each.startswith("Spot 1 (101), Spot 2 (102): group Left has a matrix")]


def test_a_mirrored_head_keeps_its_place_and_loses_its_hang() -> None:
    found = found_in(layer(fixture(matrix="{-1,0,0}{0,1,0}{0,0,1}{1000,0,6000}")))
    assert found.fixtures[0].hang is None
    assert found.fixtures[0].at == pytest.approx((1, 0, 6 + AXES_AT[2]))
    assert any("mirrored" in each for each in found.questions)


def test_a_mirror_in_a_mirror_is_a_rotation() -> None:
    mirror = "{-1,0,0}{0,1,0}{0,0,1}"
    head = only(layer(fixture(matrix=mirror + "{1000,0,0}"), matrix=mirror + "{0,0,6000}"))
    assert head.hang == (0, 0, 0)
    assert head.at == pytest.approx((-1, 0, 6 + AXES_AT[2]))


@pytest.mark.parametrize("text", ["{0,0,0}{0,0,0}{0,0,0}", "{1,0,0}{1,0,0}{0,0,1}", "{1e300,0,0}{0,1,0}{0,0,1}"])
def test_a_flat_or_endless_matrix_has_no_hang(text: str) -> None:
    found = found_in(layer(fixture(matrix=text + "{1000,0,0}")))
    assert found.fixtures[0].hang is None
    assert found.fixtures[0].at == (1, 0, 0)
    assert any("flat or endless" in each for each in found.questions)


def test_numbers_that_run_over_in_a_product_are_said() -> None:
    far = "{1,0,0}{0,1,0}{0,0,1}{1e308,1e308,1e308}"
    found = found_in(layer(fixture(matrix=far), matrix=far))
    assert found.fixtures[0].at is None
    assert any("more than 1000 m" in each for each in found.questions)


def test_scales_leave_the_rotation_and_are_noted() -> None:
    scaled = layer(fixture(matrix="{2,0,0}{0,2,0}{0,0,2}{1000,0,6000}"))
    assert only(scaled).hang == (0, 0, 0)
    assert only(scaled).at == pytest.approx((1, 0, 6 + AXES_AT[2]))
    assert any("scaled" in each for each in found_in(scaled).notes)


def test_single_precision_and_six_decimals_give_whole_degrees() -> None:
    for hang in [(30, 0, 0), (45, 0, 180), (0, 0, 15), (-120, 0, 0), (90, 45, 0)]:
        turn = rotation_of(hang)
        assert hung(matrix(turn.astype(np.float32).astype(float), (0, 0, 5000))).hang == hang
    sixths = matrix(np.round(rotation_of((30, 0, 0)), 7), (0, 0, 0))
    assert hung(sixths).hang == (30, 0, 0)


def test_metres_for_millimetres_are_a_question() -> None:
    heads = fixture(1, matrix=IDENTITY + "{1,2,6}") + fixture(2, matrix=IDENTITY + "{3,2,6}")
    upside = "{1,0,0}{0,-1,0}{0,0,-1}"
    found = found_in(layer(heads.replace(IDENTITY, upside), matrix=IDENTITY + "{0,0,-420}"))
    assert any("metres where mm belong" in each for each in found.questions)


def test_heads_at_one_place_are_a_question() -> None:
    found = found_in(layer(fixture(1) + fixture(2) + fixture(3, matrix=IDENTITY + "{1000,0,0}")))
    assert [each for each in found.questions if each.startswith("Spot 1 (101), Spot 2 (102): all at one place")]


def test_a_base_that_the_gdtf_turns_counts_beside_the_drawing() -> None:
    """Pan about the drawing's y: our z. Rx(-90) takes z to y; the drawing turns by 90 about z, so pan is about -x."""
    turned = GEOMETRIES.replace(
        'Name="Yoke" Position="{1,0,0,0}{0,1,0,0}{0,0,1,-0.12}{0,0,0,1}"',
        'Name="Yoke" Position="{1,0,0,0}{0,0,-1,0.3}{0,1,0,0}{0,0,0,1}"',
    )
    assert turned != GEOMETRIES
    spot = build_gdtf([Mode("Standard", SPOT_CHANNELS)], geometries=turned)
    found = read_mvr(mvr(layer(fixture(matrix="{0,1,0}{-1,0,0}{0,0,1}{0,0,5000}")), {SPOT: spot}), "plot.mvr")
    (head,) = found.fixtures
    assert head.hang is not None
    pan_axis = rotation_of(head.hang) @ (0, 0, 1)
    assert np.abs(np.cross(pan_axis, (1, 0, 0))).max() < 1e-9
    assert head.at is not None
    assert head.at[1:] == pytest.approx((0, 5))
    assert any("its GDTF turns its base" in each for each in found.questions)


NAMES = st.sampled_from(["layer", "GroupObject", "Truss", "Support", "SceneObject"])
ANGLES = st.tuples(*[st.floats(-180, 180)] * 3)
PLACES = st.tuples(*[st.floats(-20_000, 20_000)] * 3)
STEPS = st.lists(st.tuples(NAMES, ANGLES, PLACES, st.booleans()), max_size=8)


@settings(deadline=None)
@given(STEPS, ANGLES, PLACES)
def test_any_tree_stands_where_a_product_of_matrices_says(steps: list, angles: tuple, place: tuple) -> None:
    """The product is written with homogeneous matrices of scipy's Rotation, outermost first."""
    xml = fixture(matrix=matrix(Rotation.from_euler("ZYX", angles, degrees=True).as_matrix(), place))
    world = homogeneous(angles, place)
    for tag, turned, moved, with_list in steps:
        turn = Rotation.from_euler("ZYX", turned, degrees=True).as_matrix()
        xml = group(xml, "x", matrix(turn, moved), tag if tag != "layer" else "GroupObject")
        xml = xml if with_list else xml.replace("<ChildList>", "").replace("</ChildList>", "")
        world = homogeneous(turned, moved) @ world
    head = only(layer(xml))
    meets = world @ np.array([*(1000 * np.array(AXES_AT)), 1.0]) / 1000
    assert head.at is not None
    assert head.hang is not None
    assert np.abs(np.array(head.at) - meets[:3]).max() < 1e-6
    turned_by = Rotation.from_matrix(rotation_of(head.hang) @ world[:3, :3].T).magnitude()
    assert turned_by < 1e-6


def homogeneous(angles: tuple, place: tuple) -> np.ndarray:
    out = np.eye(4)
    out[:3, :3] = Rotation.from_euler("ZYX", angles, degrees=True).as_matrix()
    out[:3, 3] = place
    return out


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=12, max_size=12))
def test_any_twelve_numbers_are_read_as_they_stand(numbers: list[float]) -> None:
    text = "".join("{" + ",".join(map(repr, numbers[i : i + 3])) + "}" for i in (0, 3, 6, 9))
    read = matrix_of(text)
    assert read is not None
    assert read[:3].T.ravel().tolist() == numbers
    assert math.isclose(read[3, 3], 1)
