"""Addresses in the ways of paperwork (common practice, no source), and those that nobody can tell."""

from __future__ import annotations

import pytest

from bridge.exchange.found import Found
from bridge.exchange.table import read_table


def read(addresses: list[str], universes: list[str] | None = None, **maps: str) -> Found:
    rows = ["Name\tDMX" + ("\tUniverse" if universes else "")]
    for number, address in enumerate(addresses):
        rows.append(f"head {number}\t{address}" + (f"\t{universes[number]}" if universes else ""))
    return read_table("\n".join(rows).encode(), "paper.tsv", maps)


def patch(found: Found) -> list[tuple[int | None, int | None]]:
    return [(fixture.universe, fixture.address) for fixture in found.fixtures]


@pytest.mark.parametrize(
    ("written", "universe", "address"),
    [
        ("1/23", 1, 23),
        ("1 / 23", 1, 23),
        ("12/512", 12, 512),
        ("1:23", 1, 23),
        ("U1 A23", 1, 23),
        ("u1a23", 1, 23),
        ("U1.23", 1, 23),
        ("Universe 3, Address 7", 3, 7),
        ("2.023", 2, 23),
        ("2.123", 2, 123),
        ("535", 2, 23),
        ("513", 2, 1),
        ("1024", 2, 512),
        ("63999/1", 63_999, 1),
    ],
)
def test_one_cell(written: str, universe: int, address: int) -> None:
    found = read([written])
    assert patch(found) == [(universe, address)]
    assert found.questions == ()


@pytest.mark.parametrize("written", ["", "0", "-", "n/a", "1/0", "0/0", "unpatched"])
def test_not_patched(written: str) -> None:
    found = read([written])
    assert found.fixtures == ()
    assert [skip.why for skip in found.skipped] == ["not patched"]


@pytest.mark.parametrize("written", ["1/513", "0/5", "64000/1", "1/23/4", "A.1", "none of it", "-5", "1e3", "9" * 50])
def test_no_address(written: str) -> None:
    found = read([written])
    assert found.fixtures == ()
    assert len(found.skipped) == 1
    assert found.skipped[0].what == "row 2, head 0"


def test_small_numbers_without_a_universe_are_asked() -> None:
    found = read(["1", "25"])
    assert patch(found) == [(1, 1), (1, 25)]
    assert any("universe 1" in text for text in found.questions)


def test_whole_numbers_of_a_spreadsheet() -> None:
    assert patch(read(["513.0", "1.0"])) == [(2, 1), (1, 1)]
    assert patch(read(["1.0", "23.0"], ["2.0", "3"])) == [(2, 1), (3, 23)]


def test_zeros_that_a_spreadsheet_may_have_eaten() -> None:
    found = read(["1.2", "1.12"])  # 2 and 12, or 200 and 120
    assert patch(found) == [(1, 2), (1, 12)]
    assert any("--map" in text and "address 200" in text for text in found.questions)
    assert patch(read(["1.2", "1.12"], DMX="address plain")) == [(1, 2), (1, 12)]
    assert patch(read(["1.2", "1.12"], DMX="address padded")) == [(1, 200), (1, 120)]


def test_zeros_that_tell() -> None:
    eaten = read(["1.001", "1.02", "1.2"])
    assert patch(eaten) == [(1, 1), (1, 20), (1, 200)]
    assert len(eaten.questions) == 1  # said all the same
    kept = read(["1.1", "1.10", "1.20"])  # a zero at the end was not eaten, so none was
    assert patch(kept) == [(1, 1), (1, 10), (1, 20)]
    assert kept.questions == ()
    too_far = read(["1.2", "1.97"])  # 970 is no address
    assert patch(too_far) == [(1, 2), (1, 97)]
    both = read(["1.01", "1.10"])
    assert patch(both) == [(1, None), (1, None)]
    assert both.asks[0].choices == ("address plain", "address padded")
    assert patch(read(["1.01", "1.25"])) == [(1, None), (1, None)]


def test_three_ways_in_one_column() -> None:
    found = read(["1/23", "1.24", "535"])
    assert patch(found) == [(1, 23), (1, 24), (2, 23)]


def test_dashes() -> None:
    ranges = read(["1-16", "17-32", "601-616"])
    assert patch(ranges) == [(1, 1), (1, 17), (2, 89)]
    assert any("from 1 to 16" in text for text in ranges.questions)
    pairs = read(["1-23", "2-5"])
    assert patch(pairs) == [(1, 23), (2, 5)]
    assert any("universe 1, address 23" in text for text in pairs.questions)


def test_a_column_of_universes() -> None:
    found = read(["1", "23", "1/7", "2.007", "1-16", "535"], ["1", "U2", "1", "2", "Universe 3", "2"])
    assert patch(found) == [(1, 1), (2, 23), (1, 7), (2, 7), (3, 1), (2, 23)]
    assert any("absolute" in text for text in found.notes)


def test_universe_and_address_that_do_not_agree() -> None:
    found = read(["1/7", "535", "5", "600"], ["2", "1", "x", "1"])
    assert found.fixtures == ()
    assert len(found.skipped) == 4


def test_universes_from_zero_are_asked_for_all() -> None:
    found = read(["1", "23"], ["0", "1"])
    assert patch(found) == [(None, None), (None, None)]
    assert found.asks[0].choices == ("universe from 0",)
    assert patch(read(["1", "23"], ["0", "1"], Universe="universe from 0")) == [(1, 1), (2, 23)]
