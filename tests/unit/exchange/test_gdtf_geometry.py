"""Geometry of GDTF files: matrices, trees with references, what is asked, and files that are wrong in every way.

Against MuJoCo: tests/standards/test_gdtf_mujoco.py. The traps are facts of DIN SPEC 15800 or made here, as said.
"""

from __future__ import annotations

import random
import time
import warnings
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.exchange.gdtf_geometry import Head, matrix, read_head
from bridge.exchange.xml_tree import parse_xml
from tests.unit.exchange.made_gdtf import GEOMETRIES, PAN_TILT, UNTURNED, Channel, Function, Mode, description

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pygdtf.value import Matrix

QUARTER = "{0,1,0,0.5}{-1,0,0,-0.25}{0,0,1,2}{0,0,0,1}"  # local x looks along the parent's y: a turn of +90 about z


def head_of(geometries: str, channels: Sequence[Channel] = PAN_TILT, root: str = "Base") -> Head:
    xml = description([Mode("Only", channels, root)], geometries=geometries)
    fixture_type = next(parse_xml(xml.encode(), "a file").all("FixtureType"))
    return read_head(fixture_type, next(fixture_type.below("DMXModes", "DMXMode")))


def down(metres: float) -> str:
    return UNTURNED.replace("{0,0,1,0}", f"{{0,0,1,{-metres:g}}}")


def whole(yoke: str = down(0.2), arm: str = "", head: str = down(0.3), inside: str = '<Beam Name="Beam"/>') -> str:
    return (
        f'<Geometry Name="Base"><Axis Name="Yoke" Position="{yoke}"><Geometry Name="Arm" Position="{arm}">'
        f'<Axis Name="Head" Position="{head}">{inside}</Axis></Geometry></Axis></Geometry>'
    )


def asked(head: Head, words: str) -> bool:
    return any(words in question for question in head.questions)


def test_the_rows_of_a_matrix_are_the_basis_vectors_and_end_in_the_translation() -> None:
    rotation, at = matrix(QUARTER) or pytest.fail("not read")
    np.testing.assert_allclose(rotation @ [1, 0, 0], [0, 1, 0])
    np.testing.assert_allclose(at, [0.5, -0.25, 2])


@given(st.lists(st.floats(-900, 900), min_size=3, max_size=3), st.lists(st.floats(-1, 1), min_size=4, max_size=4))
def test_a_matrix_is_read_as_pygdtf_reads_it(at: list[float], quaternion: list[float]) -> None:
    norm = np.linalg.norm(quaternion)
    x, y, z, w = np.array(quaternion) / norm if norm > 1e-3 else np.array([0, 0, 0, 1.0])
    block = np.array(
        [[1 - 2 * (y * y + z * z), 2 * (x * y + z * w), 2 * (x * z - y * w)],
         [2 * (x * y - z * w), 1 - 2 * (x * x + z * z), 2 * (y * z + x * w)],
         [2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)]]
    )  # fmt: skip
    rows = [[*block[n], at[n]] for n in range(3)] + [[0, 0, 0, 1]]
    text = "".join("{" + ",".join(f"{number:.6f}" for number in row) + "}" for row in rows)
    reference = np.array(Matrix(text).matrix)
    rotation, place = matrix(text) or pytest.fail("not read")
    np.testing.assert_allclose(rotation.T, reference[:3, :3], atol=3e-6)
    np.testing.assert_allclose(place, reference[:3, 3])
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "{}", "1,2,3", QUARTER[:-1] + ",5}", QUARTER.replace(",2", ",nan"), QUARTER.replace(",2", ",1e308"), "x" * 99],
)
def test_what_is_no_matrix_is_none(text: str) -> None:
    assert matrix(text) is None


def test_the_axes_meet_where_the_heights_of_the_file_add_up() -> None:
    head = head_of(GEOMETRIES)
    assert (head.pan, head.tilt, head.yokes) == ("Yoke", "Head", 1)
    assert head.axes_at == (0.0, 0.0, -0.42)
    assert not head.turned
    assert head.representable
    assert head.questions == head.notes == ()
    (beam,) = head.beams
    assert (beam.kind, beam.beam_angle, beam.field_angle, beam.flux, beam.radius) == ("Spot", 25.0, 28.0, 12000.0, 0.07)
    assert beam.throw_ratio is None


def test_axes_that_pass_each_other_are_asked_about() -> None:
    head = head_of(whole(head=QUARTER.replace("0.5}", "0.02}").replace("-0.25}", "0}")))
    assert asked(head, "pass each other by 20 mm")
    assert head.axes_at == (0.0, 0.0, 1.8)  # the foot on the pan axis


def test_a_lens_beside_the_optical_axis_is_said() -> None:
    head = head_of(whole(inside=f'<Beam Name="B" Position="{UNTURNED.replace("{0,1,0,0}", "{0,1,0,0.013}")}"/>'))
    assert head.lens == (0.0, 0.013)
    assert any("13 mm" in note and "lens_y 0.0130" in note for note in head.notes)


def test_without_pan_or_tilt_there_is_no_head() -> None:
    head = head_of(GEOMETRIES, [Channel("1", [Function("Dimmer")])])
    assert (head.pan, head.tilt, head.yokes) == ("", "", 0)
    assert len(head.beams) == 1
    only_tilt = head_of(GEOMETRIES, PAN_TILT[1:])
    assert (only_tilt.pan, only_tilt.tilt, only_tilt.yokes) == ("", "Head", 1)


PIXEL = f'<Beam Name="Pixel" Position="{down(9)}" BeamType="Wash"/>'
RING = "".join(
    f'<GeometryReference Name="P{n}" Geometry="Pixel" Position="{{1,0,0,{x}}}{{0,1,0,0}}{{0,0,1,-0.1}}{{0,0,0,1}}"/>'
    for n, x in enumerate((-0.1, 0.0, 0.1))
)


def test_emitters_by_reference_stand_where_the_reference_stands() -> None:
    """The position of the geometry referred to counts no more: so pygdtf's own tree has it."""
    head = head_of(whole(inside=RING) + PIXEL)
    assert len(head.beams) == 3
    assert head.lens == (0.0, 0.0)
    assert any("3 emitters" in note for note in head.notes)


def test_what_only_glows_is_no_light() -> None:
    glow = f'<Beam Name="Ring" BeamType="Glow" Position="{UNTURNED.replace("{1,0,0,0}", "{1,0,0,0.3}")}"/>'
    head = head_of(whole(inside='<Beam Name="Main" BeamType="Spot"/>' + glow))
    assert [beam.name for beam in head.beams] == ["Main"]
    assert head.lens == (0.0, 0.0)


def test_a_fan_of_emitters_looks_straight_on_however_unevenly_it_is_drawn() -> None:
    leaning = "{1,0,0,0}{0,0.965926,0.258819,0}{0,-0.258819,0.965926,0}{0,0,0,1}"  # by 15 degrees about x
    fan = '<Beam Name="A"/>' + f'<Beam Name="B" Position="{leaning}"/>' * 2
    head = head_of(whole(inside=fan))
    assert not head.turned
    assert any("straight on" in note for note in head.notes)
    both = head_of(whole(inside=f'<Beam Name="B" Position="{leaning}"/>' * 2))
    assert (both.tilt_sign, both.tilt_offset_deg) == (1, 15.0)


def test_two_yokes_are_counted_and_asked_about() -> None:
    arm = f'<Axis Name="Yoke" Position="{down(0.2)}"><Axis Name="Head" Position="{down(0.3)}"/></Axis>'
    places = [UNTURNED.replace("{1,0,0,0}", f"{{1,0,0,{x}}}") for x in (-0.4, 0.4)]
    references = "".join(
        f'<GeometryReference Name="H{n}" Geometry="Unit" Position="{p}"/>' for n, p in enumerate(places)
    )
    head = head_of(f'<Geometry Name="Base">{references}</Geometry><Geometry Name="Unit">{arm}</Geometry>')
    assert head.yokes == 2
    assert asked(head, "2 pan and 2 tilt axes")
    assert head.axes_at == (-0.4, 0.0, -0.5)


def test_tilt_that_does_not_hang_from_pan_is_asked_about() -> None:
    pan_of_head = [Channel("1,2", PAN_TILT[0].functions, "Head"), Channel("3,4", PAN_TILT[1].functions, "Yoke")]
    head = head_of(GEOMETRIES, pan_of_head)
    assert not head.representable
    assert not head.turned
    assert asked(head, "does not hang from the pan axis")


def test_tilt_about_the_pan_axis_is_no_head() -> None:
    head = head_of(whole(arm="{0,0,-1,0}{0,1,0,0}{1,0,0,0}{0,0,0,1}"))  # local x down
    assert not head.representable
    assert asked(head, "no such head can be aimed")


def test_pan_and_tilt_of_one_geometry_turn_it_about_z_and_x() -> None:
    head = head_of(GEOMETRIES, [Channel("1,2", PAN_TILT[0].functions, "Head"), PAN_TILT[1]])
    assert (head.representable, head.turned, head.axes_at) == (True, False, (0.0, 0.0, -0.42))


def test_a_base_that_leans_is_kept_and_asked_about() -> None:
    head = head_of(whole(yoke="{1,0,0,0}{0,0,1,0}{0,-1,0,0}{0,0,0,1}"))  # local y up: a turn of +90 about x
    assert head.representable
    assert asked(head, "not upright")
    np.testing.assert_allclose(np.array(head.base_rotation) @ [0, 0, 1], [0, -1, 0], atol=1e-12)


@pytest.mark.parametrize(
    ("position", "said"),
    [
        ("{2,0,0,0}{0,2,0,0}{0,0,2,-0.3}{0,0,0,1}", "scaled"),
        ("{1,0,0,0}{0.5,1,0,0}{0,0,1,-0.3}{0,0,0,1}", "sheared"),
        ("{0,0,0,0}{0,0,0,0}{0,0,0,-0.3}{0,0,0,1}", "three directions"),
        ("{1,0,0,0}{0,1,0,0}{0,0,-1,-0.3}{0,0,0,1}", "mirrored"),
        ("{nan,0,0,0}{0,1,0,0}{0,0,1,-0.3}{0,0,0,1}", "cannot be read"),
        ("{1,0,0,0}{0,1,0,0}{0,0,1,-3000}{0,0,0,1}", "more than 1000 m"),
        ("{1,0,0,0}{0,1,0,0}{0,0,1,0}{0,0,-0.3,1}", "last row"),
    ],
)
def test_a_matrix_that_is_no_placing_is_mended_and_said(position: str, said: str) -> None:
    head = head_of(whole(head=position))
    assert asked(head, said)
    assert np.isfinite(head.axes_at).all()
    if said in {"scaled", "last row"}:
        assert head.axes_at == (0.0, 0.0, -0.5)


def test_lengths_in_millimetres_are_asked_about() -> None:
    assert asked(head_of(whole(head=down(300))), "are the file's lengths metres")


def test_geometries_that_are_missing_doubled_or_circular_are_said() -> None:
    missing = head_of(GEOMETRIES, [Channel("1,2", PAN_TILT[0].functions, "Gone"), PAN_TILT[1]])
    assert asked(missing, "'Gone' that this mode has not")
    assert (missing.pan, missing.yokes, missing.representable) == ("Gone", 1, True)
    doubled = head_of(whole(inside=f'<Axis Name="Head" Position="{down(5)}"/><Beam Name="Beam"/>'))
    assert (doubled.yokes, doubled.axes_at) == (1, (0.0, 0.0, -0.5))
    assert any("2 geometries are called 'Head'" in note for note in doubled.notes)
    circle = head_of(whole(inside='<GeometryReference Name="R" Geometry="Base"/>'))
    assert any("a part of" in note for note in circle.notes)
    lost = head_of(whole(inside='<GeometryReference Name="R" Geometry="Nowhere"/>'))
    assert any("'Nowhere', which the file has not" in note for note in lost.notes)
    rootless = head_of(GEOMETRIES, root="Gone")
    assert rootless.axes_at == (0.0, 0.0, -0.42)
    assert any("'Gone' that the file has not: 'Base' taken" in note for note in rootless.notes)


def test_a_head_without_a_beam_is_read_and_said() -> None:
    head = head_of(whole(inside=""))
    assert head.beams == ()
    assert any("mirror" in note for note in head.notes)


def test_no_geometries_at_all() -> None:
    head = head_of("")
    assert asked(head, "'Yoke' that this mode has not")
    assert head.beams == ()


def refers_to(number: int) -> str:
    return f'<GeometryReference Name="R" Geometry="T{number}"/>'


@pytest.mark.parametrize("kind", ["many", "deep references", "references that multiply"])
def test_large_geometries_take_bounded_time(kind: str) -> None:
    if kind == "many":
        geometries = whole(inside="".join(f'<Beam Name="B{n}" Position="{down(n / 1e5)}"/>' for n in range(10_000)))
    elif kind == "deep references":
        geometries = whole(inside=refers_to(0)) + "".join(
            f'<Geometry Name="T{n}">{refers_to(n + 1)}</Geometry>' for n in range(10_000)
        )
    else:
        geometries = whole(inside=refers_to(0)) + "".join(
            f'<Geometry Name="T{n}">{refers_to(n + 1) * 10}</Geometry>' for n in range(19)
        )
    begun = time.process_time()
    head = head_of(geometries)
    assert time.process_time() - begun < 3.0  # 1 s asked for usual files; a busy machine besides
    assert head.axes_at == (0.0, 0.0, -0.5)
    assert head.notes


TEXTS = ("", "Base", "Yoke", "Head", "T", "Beam", "nan", "-1", "1e308", "0", "25", UNTURNED, QUARTER, "{")
NAMES = ("Name", "Name", "Geometry", "Position", "Attribute", "BeamAngle", "LuminousFlux", "BeamType", "Model")
TAGS = ("Geometry", "Axis", "Beam", "GeometryReference", "Break", "FilterBeam", "Laser", "DMXChannel")


def any_element(rng: random.Random, depth: int) -> str:
    said = {rng.choice(NAMES): rng.choice(TEXTS) for _ in range(rng.randrange(5))}
    inside = "".join(any_element(rng, depth - 1) for _ in range(rng.randrange(4) if depth else 0))
    tag, attributes = rng.choice(TAGS), "".join(f' {key}="{value}"' for key, value in said.items())
    return f"<{tag}{attributes}>{inside}</{tag}>"


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 2**32 - 1).map(random.Random), st.sampled_from(TEXTS))
def test_any_tree_gives_finite_numbers_and_no_traceback(rng: random.Random, root: str) -> None:
    head = head_of("".join(any_element(rng, 5) for _ in range(rng.randrange(4))), root=root)
    numbers = [*head.axes_at, *head.lens, head.pan_offset_deg, head.tilt_offset_deg, *np.ravel(head.base_rotation)]
    assert np.isfinite(numbers).all()
