"""imported.yaml: written and read again it is the same, and nothing that stands in it stops a show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.show.imported import (
    IMPORTED,
    Imported,
    ImportedFixture,
    ImportedProfile,
    imported_text,
    normal,
    read_imported,
)

WORDS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), max_size=12)
NUMBERS = st.integers(-(2**32), 2**32) | st.floats(-1e6, 1e6)
PLAIN = st.recursive(
    NUMBERS | WORDS | st.booleans() | st.none(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS | st.integers(1, 512), inner, max_size=4),
    max_leaves=12,
)
DOCUMENTS = st.dictionaries(WORDS, PLAIN, max_size=4)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("imported")


def written(folder: Path, text: str) -> Imported:
    (folder / IMPORTED).write_text(text, "utf-8")
    return read_imported(folder)


@given(DOCUMENTS, DOCUMENTS, WORDS, WORDS)
def test_what_is_written_is_read_again(
    folder: Path, profile: dict[str, Any], fixture: dict[str, Any], source: str, mode: str
) -> None:
    said = Imported(
        {"profiles/x.yaml": ImportedProfile(source, mode, profile, ("pan", "focus"))},
        {"foh-1": ImportedFixture(source, fixture)},
    )
    read = written(folder, imported_text(said))
    assert not read.damaged
    one, head = read.profiles["profiles/x.yaml"], read.fixtures["foh-1"]
    assert (one.source, one.mode, one.confirm, head.id) == (source, mode, ("pan", "focus"), source)
    assert one.given == normal(profile)
    assert head.given == normal(fixture)


def test_keys_are_text_and_tuples_lists() -> None:
    assert normal({"fixed": {7: 255}, "at": (1.00000000049, 2)}) == {"fixed": {"7": 255}, "at": [1.0, 2]}


def test_no_file_is_no_import(tmp_path: Path) -> None:
    assert read_imported(tmp_path) == Imported()


@pytest.mark.parametrize(
    "text",
    ["", "[", "a: b", "version: 2\nprofiles: {}", "- 1", "\x00", "version: 1\nversion: 1", "version: 1\nfixtures: [1]"],
)
def test_a_damaged_file_is_said_and_stops_nothing(tmp_path: Path, text: str) -> None:
    read = written(tmp_path, text)
    assert (read.profiles, read.fixtures) == ({}, {})
    assert read.damaged.startswith(f"{IMPORTED}:")


def test_a_folder_of_that_name_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / IMPORTED).mkdir()
    assert "found a folder" in read_imported(tmp_path).damaged


def test_one_bad_entry_costs_itself_alone(tmp_path: Path) -> None:
    read = written(
        tmp_path, "version: 1\nfixtures:\n  a: 7\n  b: {id: x, given: [1]}\nprofiles: {p: {confirm: [pan, magic]}}"
    )
    assert read.damaged == "imported.yaml:3: fixtures.a: found 7, allowed is a mapping"
    assert read.fixtures == {"b": ImportedFixture("x", {})}
    assert read.profiles["p"].confirm == ("pan",)


@given(st.binary(max_size=200))
def test_any_bytes(folder: Path, data: bytes) -> None:
    (folder / IMPORTED).write_bytes(data)
    assert read_imported(folder).profiles == {}
