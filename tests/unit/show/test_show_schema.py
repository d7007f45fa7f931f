"""The schema is what the readers read: every key has a meaning, its example and its default are taken by its reader."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bridge.show import load
from bridge.show.folder import read_tree
from bridge.show.keys import KeyReader, watched
from bridge.show.meaning import Meaning, explained, tables
from bridge.show.problems import Bad
from bridge.show.schema import READERS, Key, allowed_by, keys, keys_read_by, written
from bridge.show.values import Parse, length, list_of, number, whole
from bridge.show.yaml12 import Node, parse

ROOT = Path(__file__).parents[3]
EVERY_KEY = ROOT / "configs" / "every-key"
READ = [(key, meaning) for key, meaning in explained() if key.parse is not None]
OPTIONAL = [(key, meaning) for key, meaning in READ if not key.required]
PARENTS = {(key.file, key.inside) for key in keys()}


def ids(value: object) -> str:
    return f"{value.file} {value.path}" if isinstance(value, Key) else ""


def node_of(text: str) -> Node:
    node, problems = parse(f"it: {text}")
    assert not problems
    found = node.get("it")
    assert found is not None
    return found


def takes(key: Key, text: str) -> bool:
    assert key.parse is not None
    try:
        key.parse(node_of(text))
    except Bad:
        return False
    return True


def test_every_key_that_is_read_has_a_meaning_and_every_meaning_a_key() -> None:
    read = {f"{key.file} {key.path}" for key in keys()}
    told = {f"{file} {path}" for file, table in tables().items() for path in table.meanings}
    assert sorted(read - told) == [], "give these two lines in bridge/show/meanings"
    assert sorted(told - read) == [], "no reader asks for these"
    assert {"rig.yaml fixtures[].hang.yaw", "stage.yaml marks.NAME.at", "stage.yaml light.level_map.factor"} < read


def test_every_module_that_reads_a_file_is_asked() -> None:
    modules = {path.stem for path in (ROOT / "bridge" / "show").glob("*.py") if "versioned(node)" in path.read_text()}
    assert len(modules - {"folder"}) == len(READERS)


@pytest.mark.parametrize(("key", "meaning"), READ, ids=ids)
def test_its_reader_takes_the_example(key: Key, meaning: Meaning) -> None:
    assert takes(key, meaning.example)


@pytest.mark.parametrize(("key", "meaning"), explained(), ids=ids)
def test_a_meaning_is_sentences_of_which_the_first_fits_the_list(key: Key, meaning: Meaning) -> None:
    assert meaning.says.endswith(".")
    assert 4 <= len(meaning.short) <= 56


@pytest.mark.parametrize(("key", "meaning"), OPTIONAL, ids=ids)
def test_a_default_is_what_its_reader_would_read(key: Key, meaning: Meaning) -> None:
    """Either the default as it is shown is read back as the default, or words say what holds without the key."""
    shown = written(key.default)
    if (key.file, key.path) in PARENTS or shown is None:
        assert meaning.without, "the reader's default cannot be shown: say with `without:` what holds"
        return
    assert not meaning.without, "the reader's own default is shown"
    assert key.parse is not None
    assert _plain(key.parse(node_of(shown))) == _plain(key.default)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, list | tuple) else value


@pytest.mark.parametrize(
    ("file", "path"),
    [
        ("stage.yaml", "targets"),
        ("stage.yaml", "move_in_black"),
        ("network.yaml", "sacn.to"),
        ("network.yaml", "sacn.synchronise"),
        ("network.yaml", "record"),
    ],
)
def test_words_for_a_default_that_could_stand_in_a_file_are_the_default(file: str, path: str) -> None:
    (found,) = [(key, meaning) for key, meaning in READ if (key.file, key.path) == (file, path)]
    key, meaning = found
    assert key.parse is not None
    assert key.parse(node_of(meaning.without)) == key.default


RANGE = re.compile(r"(from|above) (-?[\d.]+)(?: to| and up to) (-?[\d.]+)(?: \w.*)?$")
RANGED = [
    (key, found)
    for key, _ in READ
    for text in key.allowed
    if (found := RANGE.search(text)) and takes(key, found[3])  # else it is the range of the numbers in a list
]


@pytest.mark.parametrize(("key", "range_"), RANGED, ids=ids)
def test_the_range_that_is_told_is_the_range_that_is_read(key: Key, range_: re.Match[str]) -> None:
    assert not takes(key, str(float(range_[3]) + 0.5))
    assert takes(key, range_[2]) is (range_[1] == "from")
    assert not takes(key, str(float(range_[2]) - 0.5))


def used(node: Node, known: set[str], path: str = "") -> Iterator[str]:
    """The schema's path of every key in a tree; what stands inside a key that has no keys (offsets, words) is none."""
    if isinstance(node.value, list):
        for item in node.value:
            yield from used(item, known, f"{path}[]")
    elif isinstance(node.value, dict) and any(name.startswith(f"{path}.NAME.") for name in known):
        for child in node.value.values():
            yield from used(child, known, f"{path}.NAME")
    elif isinstance(node.value, dict) and (not path or any(name.startswith(f"{path}.") for name in known)):
        for name, child in node.value.items():
            below = f"{path}.{name}".lstrip(".")
            yield below
            yield from used(child, known, below)


def keys_of(file: str) -> set[str]:
    return {key.path for key in keys() if key.file == file}


def test_the_show_of_every_key_loads_and_uses_every_key() -> None:
    assert load(EVERY_KEY).warnings == ()
    for file in READERS:
        tree, _ = read_tree(EVERY_KEY / file.replace("*", "every-key"))
        missing = keys_of(file) - set(used(tree, keys_of(file)))
        assert missing == set(), f"{file} of configs/every-key is to use every key"


SHOWS = [*sorted((ROOT / "configs").iterdir()), ROOT / "bridge" / "demo_show"]


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.name)
def test_no_show_has_a_key_that_the_schema_does_not_know(path: Path) -> None:
    """A key that is asked for only beside another would be missed by a reader that is given nothing."""
    for file in READERS:
        for found in path.glob(file):
            assert set(used(read_tree(found)[0], keys_of(file))) <= keys_of(file), found


def test_a_reader_is_asked_for_its_keys_wherever_they_stand() -> None:
    """In the value itself, in the items of a list, under free names; once each, with default and what is allowed."""

    def read(node: Node) -> None:
        m = KeyReader(node)
        m.required("count", whole(1, 9), 1)
        m.optional("rows", list_of(read_row), [])
        m.ignore(["remark"])

    def read_row(node: Node) -> None:
        KeyReader(node).optional("wide", length(0, 4), 1.5)

    with watched() as asked:
        read(Node(1, {}))
    assert [(one.key, one.required, one.default, one.parse is None) for one in asked] == [
        ("count", True, None, False),
        ("rows", False, [], False),
        ("remark", False, None, True),
    ]
    found = {key.path: key for key in keys_read_by("x.yaml", read)}
    assert list(found) == ["count", "rows", "rows[].wide", "remark"]
    assert found["count"].allowed == ("a whole number from 1 to 9",)
    assert (found["rows[].wide"].inside, found["rows[].wide"].default, found["rows[].wide"].unit) == ("rows", 1.5, "m")


def test_nothing_is_watched_outside() -> None:
    with watched() as asked:
        pass
    KeyReader(Node(1, {})).optional("wide", length(), 0.0)
    assert asked == []


def test_what_is_allowed_are_the_reader_s_own_words() -> None:
    assert allowed_by(number(0, 5, unit="s")) == ("a number from 0 to 5 s",)
    assert allowed_by(number(unit="degrees")) == ("a finite number of degrees",)
    assert allowed_by(list_of(whole(0, 255), 2, 2, "a pair, a list")) == (
        "a pair, a list of 2",
        "a whole number from 0 to 255",
    )


@pytest.mark.parametrize(
    ("read", "unit"),
    [
        (number(0, 5, unit="s"), "s"),
        (number(0, above=True, unit="lux"), "lux"),
        (number(unit="degrees (limits)"), "degrees"),
        (number(-0.5, 0.5), ""),
        (number(0), ""),
        (number(), ""),
        (whole(1, 512), ""),
        (length(0, 4), "m"),
        (list_of(number(0), 3, 3, "three angles in degrees, a list"), "degrees"),
    ],
)
def test_the_unit_is_the_one_that_the_reader_names(read: Parse[Any], unit: str) -> None:
    assert Key("x.yaml", "x", "", read, True, None, allowed_by(read)).unit == unit


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "on"),
        (0.15, "0.15"),
        ("hold", "hold"),
        (("127.0.0.1", 9000), "127.0.0.1:9000"),
        ([1, 2], "[1, 2]"),
        ((float("-inf"), float("inf")), None),
        (None, None),
        ({}, None),
    ],
)
def test_a_default_is_written_as_in_a_file_or_not_at_all(value: object, text: str | None) -> None:
    assert written(value) == text
