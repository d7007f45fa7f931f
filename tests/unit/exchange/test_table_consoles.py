"""Headings as desks and drawing programs write them in one word, and turns whose order nobody says."""

from __future__ import annotations

import pytest

from bridge.exchange.table import read_table
from bridge.exchange.table_headings import heading_of

LIST = """\
FixtureID,FixtureName,FixtureType,DMXAddress,PosX,PosY,PosZ,RotX,RotY,RotZ
101,Spot 1,Spot 540,1.001,-4.5,-3,6,180,0,0
"""


@pytest.mark.parametrize(
    ("heading", "key"),
    [("PosX", "at.x"), ("POSY", "at.y"), ("pos_z", "at.z"), ("XPos", "at.x"), ("FixtureID", "number"),
     ("DMXAddress", "address"), ("FixtureType", "profile"), ("StartAddress", "address")],
)  # fmt: skip
def test_headings_in_one_word(heading: str, key: str) -> None:
    found = heading_of(heading)
    assert found is not None
    assert found.key == key


def test_turns_about_x_y_z_are_asked_and_a_map_takes_them() -> None:
    found = read_table(LIST.encode(), "desk.csv", {})
    (head,) = found.fixtures
    assert (head.name, head.number, head.address, head.at) == ("Spot 1", "101", 1, (-4.5, -3.0, 6.0))
    assert head.hang is None
    assert any('--map "RotX=hang.roll"' in text and "differs between programs" in text for text in found.questions)
    (head,) = read_table(LIST.encode(), "desk.csv", {"RotX": "hang.roll"}).fixtures
    assert head.hang == (0.0, 0.0, 180.0)
