"""Four heads of Harbour Hall as six offices would write them down. The lists are ours, their styles common practice."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from bridge.exchange.table import read_table

PAPERS = Path(__file__).parent / "papers"
HEADS = (
    ("101", "foh-1", 1, 1, (-6.0, -12.0, 9.0), 0.0, "FOH"),
    ("102", "foh-2", 1, 25, (6.0, -12.0, 9.0), 0.0, "FOH"),
    ("201", "mid-1", 2, 1, (-8.5, 3.0, 8.0), 0.0, "MID"),
    ("301", "floor-1", 2, 49, (0.0, 9.0, 0.2), 180.0, ""),
)


class Paper(NamedTuple):
    """What a paper has of the heads: `within` m (None: no places), how they hang, trusses; what else is said of it."""

    file: str
    within: float | None = 1e-9
    hang: bool = True
    truss: bool = True
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()


TABLE = (
    Paper("drawing.csv", notes=("not read: 'Unit Number', since 'Channel' is taken", "not read: 'Color', 'Wattage'"),
          skipped=("row 6",)),
    Paper("desk.csv", within=None, hang=False, truss=False, skipped=("row 6, floor-2",)),
    Paper("typed.csv", within=0.013, hang=False, skipped=("row 10, Total: 4",)),  # to a quarter of an inch
    Paper("german.csv", notes=("Windows-1252",), skipped=("row 8, 4",)),
    Paper("unicode.txt"),
    Paper("absolute.csv", hang=False, notes=("absolute addresses",)),
)  # fmt: skip


@pytest.mark.parametrize("paper", TABLE, ids=lambda paper: paper.file)
def test_the_same_four_heads(paper: Paper) -> None:
    found = read_table(PAPERS / paper.file, paper.file)
    assert [(f.number, f.name, f.universe, f.address) for f in found.fixtures] == [head[:4] for head in HEADS]
    assert {f.type for f in found.fixtures} == {"Spot 540"}
    for fixture, (_, _, _, _, at, roll, truss) in zip(found.fixtures, HEADS, strict=True):
        assert fixture.at == (None if paper.within is None else pytest.approx(at, abs=paper.within))
        assert fixture.hang == ((0.0, 0.0, roll) if paper.hang else None)
        assert fixture.truss == (truss if paper.truss else "")


@pytest.mark.parametrize("paper", TABLE, ids=lambda paper: paper.file)
def test_what_is_said_of_them(paper: Paper) -> None:
    found = read_table(PAPERS / paper.file, paper.file)
    assert len(found.questions) == len(paper.questions), found.questions
    assert len(found.notes) == len(paper.notes), found.notes
    for said, words in zip(found.notes, paper.notes, strict=True):
        assert words in said
    assert [skip.what for skip in found.skipped] == list(paper.skipped)
    assert found.asks == ()


def test_every_paper_is_in_the_table() -> None:
    assert sorted(path.name for path in PAPERS.iterdir()) == sorted(paper.file for paper in TABLE)


def test_keys_and_modes_of_papers() -> None:
    units = [fixture.keys["unit"] for fixture in read_table(PAPERS / "absolute.csv", "absolute.csv").fixtures]
    assert units == ["A-1001", "A-1002", "A-1101", "A-1301"]
    assert {fixture.mode for fixture in read_table(PAPERS / "desk.csv", "desk.csv").fixtures} == {"16 bit"}
