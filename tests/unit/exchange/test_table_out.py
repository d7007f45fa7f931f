"""The CSV of a show: quoting as RFC 4180 has it, by Python's csv module, and read back nothing has changed."""

from __future__ import annotations

import csv
import io
import string
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.exchange.found import FoundFixture
from bridge.exchange.table import read_table, write_table
from bridge.rig.fixture import Fixture, Hang, Pose
from bridge.show import Show, load
from bridge.wire.settings import Network
from tests.conftest import flat_stage, spot_profile

DEMO = Path(__file__).parents[3] / "bridge" / "demo_show"
NAMES = st.text(string.ascii_letters + string.digits + "-_", min_size=1, max_size=12)
TEXTS = st.text(st.characters(exclude_categories=("C", "Z")) | st.just(" "), min_size=1, max_size=12).filter(
    lambda text: text.strip() == text and text.isprintable()
)
COORDINATES = st.floats(-1000, 1000)
TURNS = st.floats(-360, 360)
SIGMAS = st.floats(1e-5, 1000)


def show_of(*fixtures: Fixture, poses: dict[str, Pose] | None = None) -> Show:
    return Show(Path("/nowhere"), "Harbour Hall", fixtures, flat_stage(), Network(), poses=poses or {})


def cells_of(text: str) -> list[dict[str, str]]:
    assert text.startswith("\ufeffname,")
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


@st.composite
def fixtures(draw: st.DrawFn) -> Fixture:
    at = draw(st.none() | st.tuples(COORDINATES, COORDINATES, COORDINATES))
    one = draw(SIGMAS)
    sigma = None if at is None else draw(st.none() | st.just((one, one, one)) | st.tuples(SIGMAS, SIGMAS, SIGMAS))
    return Fixture(
        name=draw(NAMES),
        profile=replace(spot_profile(), name=draw(TEXTS)),
        universe=draw(st.integers(1, 63_999)),
        address=draw(st.integers(1, 512)),
        hang=Hang(draw(TURNS), draw(TURNS), draw(TURNS), draw(st.just(1.0) | st.floats(1e-5, 180))),
        at=at,
        at_sigma=sigma,
        truss=draw(st.none() | NAMES),
        unit=draw(st.none() | TEXTS),
        number=draw(st.none() | TEXTS),
        follows=draw(st.none() | NAMES),
        outside=draw(st.sampled_from(["dark", "stay"])),
        lag=draw(st.none() | st.floats(0, 5)),
        evenness=draw(st.none() | TEXTS),
    )


def near(found: object, wanted: object) -> bool:
    return bool(np.allclose(np.array(found, float), np.array(wanted, float), rtol=0, atol=1e-6))


def assert_same(found: FoundFixture, fixture: Fixture) -> None:
    assert (found.name, found.number, found.type) == (fixture.name, fixture.number or "", fixture.profile.name)
    assert (found.universe, found.address, found.truss) == (fixture.universe, fixture.address, fixture.truss or "")
    hang, keys = fixture.hang, dict(found.keys)
    assert near(found.hang, (hang.yaw, hang.pitch, hang.roll))
    assert near(keys.pop("hang", {"sigma": 1.0})["sigma"], hang.sigma)
    assert (found.at is None) == (fixture.at is None)
    assert fixture.at is None or near(found.at, fixture.at)
    sigma = keys.pop("at_sigma", None)
    assert (sigma is None) == (fixture.at_sigma is None)
    assert fixture.at_sigma is None or near(np.broadcast_to(sigma, 3), fixture.at_sigma)
    assert near(keys.pop("lag", np.nan) if fixture.lag is not None else 0, fixture.lag or 0)
    assert keys.pop("outside", "dark") == fixture.outside
    wanted = {"unit": fixture.unit, "follows": fixture.follows, "evenness": fixture.evenness}
    assert keys == {key: value for key, value in wanted.items() if value is not None}


@settings(deadline=None, max_examples=300)
@given(st.lists(fixtures(), min_size=1, max_size=5))
def test_read_back_nothing_has_changed(rig: list[Fixture]) -> None:
    found = read_table(write_table(show_of(*rig)).encode(), "rig.csv")
    assert len(found.fixtures) == len(rig)
    for one, fixture in zip(found.fixtures, rig, strict=True):
        assert_same(one, fixture)
    assert found.skipped == ()
    assert found.asks == ()
    assert all("the same address" in text for text in found.questions)


@pytest.mark.parametrize("hostile", ["=1+1", "+1", "-1", "@SUM(A1)", "'=1", "''@", '=HYPERLINK("x","y")'])
def test_no_cell_is_reckoned_by_a_spreadsheet(hostile: str) -> None:
    fixture = Fixture("-foh", spot_profile(), 1, 1, unit=hostile, number=hostile)
    text = write_table(show_of(fixture))
    row = cells_of(text)[0]
    for heading in ("name", "unit (serial)", "number"):
        assert row[heading].startswith("'")
    found = read_table(text.encode(), "rig.csv").fixtures[0]
    assert (found.name, found.number, found.keys["unit"]) == ("-foh", hostile, hostile)


def test_lines_and_quotes_are_those_of_rfc_4180() -> None:
    text = write_table(show_of(Fixture("foh-1", spot_profile(), 1, 1, unit='the "old", one')))
    assert text.count("\r\n") == 2
    assert text.endswith("\r\n")
    assert '"the ""old"", one"' in text


def test_what_was_solved() -> None:
    turn = Rotation.from_euler("ZYX", [30, -20, 170], degrees=True).as_quat()
    pose = Pose((1.25, -2.5, 9), tuple(turn), faces=(1,), trusted=False, aim_error_rms=0.02, aim_error_p95=0.05)
    show = show_of(Fixture("a", spot_profile(), 1, 1), Fixture("b", spot_profile(), 1, 20), poses={"a": pose})
    first, second = cells_of(write_table(show))
    assert [first[f"solved {axis} (m)"] for axis in "xyz"] == ["1.25", "-2.5", "9"]
    turns = [float(first[f"solved {turn} (deg)"]) for turn in ("yaw", "pitch", "roll")]
    assert turns == pytest.approx([30, -20, 170], abs=1e-6)
    assert (first["aim error rms (m)"], first["aim error 95 % (m)"]) == ("0.02", "0.05")
    assert (first["faces"], first["trusted"]) == ("1", "no")
    assert {value for heading, value in second.items() if heading.startswith(("solved", "aim", "faces"))} == {""}


@settings(deadline=None, max_examples=300)
@given(st.tuples(*[st.floats(-1, 1)] * 4).filter(lambda q: sum(part * part for part in q) > 0.01))
def test_any_solved_rotation_by_its_cells(quaternion: tuple[float, float, float, float]) -> None:
    rotation = Rotation.from_quat(quaternion)  # scipy as the reference
    pose = Pose((0, 0, 0), tuple(rotation.as_quat()))
    row = cells_of(write_table(show_of(Fixture("a", spot_profile(), 1, 1), poses={"a": pose})))[0]
    turns = [float(row[f"solved {turn} (deg)"]) for turn in ("yaw", "pitch", "roll")]
    assert (rotation.inv() * Rotation.from_euler("ZYX", turns, degrees=True)).magnitude() < 1e-6


def test_the_demo_names_its_profiles_as_its_rig_does() -> None:
    show = load(DEMO)
    text = write_table(show)
    assert {row["profile"] for row in cells_of(text)} == {"spot-colour"}
    found = read_table(text.encode(), "rig.csv")
    assert len(found.fixtures) == len(show.fixtures) == 12
    assert (found.questions, found.notes, found.asks, found.skipped) == ((), (), (), ())
    assert found.fixtures[4].hang == (-90.0, 0.0, 0.0)
    assert found.fixtures[4].keys == {"unit": "A-1101", "at_sigma": [0.3, 0.3, 0.1]}
