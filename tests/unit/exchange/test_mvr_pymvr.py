"""pymvr (1.0.7) as a reference both ways: what it writes we read to the same, and what we read it reads to the same."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pymvr
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bridge.exchange.found import Found
from bridge.exchange.hang import rotation_of
from bridge.exchange.mvr import read_mvr
from tests.unit.exchange.made_mvr import AXES_AT, SPOT, fixture, gdtf, group, layer, matrix, mvr, uid

ANGLES = st.tuples(*[st.floats(-180, 180)] * 3)
PLACES = st.tuples(*[st.floats(-20_000, 20_000)] * 3)
PATCH = st.tuples(st.integers(1, 63_999), st.integers(1, 490))
HEADS = st.lists(st.tuples(ANGLES, PLACES, PATCH), min_size=1, max_size=5, unique_by=lambda head: head[2][0])


def pymvr_matrix(angles: tuple, place: tuple) -> pymvr.Matrix:
    """Floats all through: pymvr drops the matrix of a layer or a group that has whole numbers only."""
    rows = [*(rotation_of(angles).T.tolist()), list(map(float, place))]
    return pymvr.Matrix([[*map(float, row), 0.0] for row in rows])


def written_by_pymvr(path: Path, heads: list, outer: pymvr.Matrix, inner: pymvr.Matrix) -> bytes:
    fixtures = [
        pymvr.Fixture(
            name=f"Spot {index}",
            uuid=uid(index),
            gdtf_spec=SPOT,
            gdtf_mode="Standard",
            fixture_id=f"{300 + index}",
            matrix=pymvr_matrix(angles, place),
            dmx_invert_tilt=index == 1,
            addresses=pymvr.Addresses(addresses=[pymvr.Address(0, *patch)]),
        )
        for index, (angles, place, patch) in enumerate(heads)
    ]
    grouped = pymvr.GroupObject(name="Left", matrix=inner, child_list=pymvr.ChildList(fixtures=fixtures))
    above = pymvr.Layer(name="Front", matrix=outer, child_list=pymvr.ChildList(group_objects=[grouped]))
    writer = pymvr.GeneralSceneDescriptionWriter()
    (path / SPOT).write_bytes(gdtf())
    writer.files_list = [(str(path / SPOT), SPOT)]
    writer.serialize_scene(pymvr.Scene(layers=pymvr.Layers([above])))
    writer.write_mvr(str(path / "pymvr.mvr"))
    return (path / "pymvr.mvr").read_bytes()


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(HEADS, ANGLES, PLACES, ANGLES, PLACES)
def test_what_pymvr_writes_is_read_to_the_same(
    tmp_path: Path, heads: list, turned: tuple, moved: tuple, turned_in: tuple, moved_in: tuple
) -> None:
    data = written_by_pymvr(tmp_path, heads, pymvr_matrix(turned, moved), pymvr_matrix(turned_in, moved_in))
    found = read_mvr(data, "pymvr.mvr")
    assert len(found.fixtures) == len(heads)
    assert not found.skipped
    for index, (head, (angles, place, patch)) in enumerate(zip(found.fixtures, heads, strict=True)):
        assert (head.name, head.id, head.number) == (f"Spot {index}", uid(index), f"{300 + index}")
        assert (head.universe, head.address) == patch
        turns = [rotation_of(each) for each in (turned, turned_in, angles)]
        base = turns[0] @ (turns[1] @ np.array(place) + np.array(moved_in)) + np.array(moved)
        rotation = turns[0] @ turns[1] @ turns[2]
        same(head, base / 1000 + rotation @ np.array(AXES_AT), rotation)
        assert ("tilt inverted" in (head.profile or "")) == (index == 1)


def same(head: object, at: np.ndarray, rotation: np.ndarray) -> None:
    assert np.abs(np.array(head.at) - at).max() < 1e-6
    assert np.abs(rotation_of(head.hang) - rotation).max() < 1e-6


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(HEADS, ANGLES, PLACES)
def test_what_we_read_pymvr_reads_to_the_same(tmp_path: Path, heads: list, turned: tuple, moved: tuple) -> None:
    inner = "".join(
        fixture(index, matrix=matrix(rotation_of(angles), place), address=text(index, *patch))
        for index, (angles, place, patch) in enumerate(heads, 1)
    )
    data = mvr(layer(group(inner, "Left", matrix(rotation_of(turned), moved))))
    (tmp_path / "ours.mvr").write_bytes(data)
    found, read = read_mvr(data, "ours.mvr"), list(read_by_pymvr(tmp_path / "ours.mvr"))
    assert len(found.fixtures) == len(read) == len(heads)
    for head, (theirs, world) in zip(found.fixtures, read, strict=True):
        assert (head.name, head.id, head.number) == (theirs.name, theirs.uuid, theirs.fixture_id)
        (address,) = theirs.addresses.addresses
        assert (head.universe, head.address) == (address.universe, address.address)
        rotation = world[:3, :3].T
        same(head, world[3, :3] / 1000 + rotation @ np.array(AXES_AT), rotation)


def text(index: int, universe: int, address: int) -> str:
    """Both ways to write an address."""
    return f"{universe}.{address}" if index % 2 else f"{(universe - 1) * 512 + address}"


def read_by_pymvr(path: Path) -> Iterator[tuple[pymvr.Fixture, np.ndarray]]:
    """Every fixture and its world matrix, rows u, v, w, o as pymvr has them: products run from the child outwards."""
    with pymvr.GeneralSceneDescription(str(path)) as file:
        for each in file.scene.layers:
            outer = rows(each.matrix)
            for grouped in each.child_list.group_objects:
                for head in grouped.child_list.fixtures:
                    yield head, rows(head.matrix) @ rows(grouped.matrix) @ outer


def rows(theirs: pymvr.Matrix) -> np.ndarray:
    out = np.array(theirs.matrix, dtype=float)
    out[3, 3] = 1.0  # pymvr has 0 there
    return out


def test_the_two_traps_of_pymvr_that_this_file_works_round(tmp_path: Path) -> None:
    """When one of these fails, pymvr has mended it."""
    assert pymvr.Matrix(0).matrix[3][3] == 0
    whole = pymvr.Matrix([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 5000, 0]])
    data = written_by_pymvr(tmp_path, [((0, 0, 0), (0, 0, 0), (1, 1))], whole, pymvr_matrix((0, 0, 0), (0, 0, 0)))
    assert only(read_mvr(data, "pymvr.mvr")) == pytest.approx(AXES_AT)


def only(found: Found) -> tuple[float, float, float] | None:
    (head,) = found.fixtures
    return head.at
