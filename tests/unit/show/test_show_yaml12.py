"""Scalars as YAML 1.2.2 has them (section 10.3.2, "Tag Resolution", core schema), and trees with their lines."""

from __future__ import annotations

import math

import pytest

from bridge.show.problems import Bad
from bridge.show.scalars import resolve
from bridge.show.yaml12 import MOST_DEPTH, parse

# Example 10.9 of YAML 1.2.2 ("Core Tag Resolution"), all of its scalars.
EXAMPLE_10_9 = """
A null: null
Also a null: # Empty
Not a null: ""
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]
Also floats: [ .inf, -.Inf, +.INF, .NAN ]
"""


def _values(text: str) -> dict[str, object]:
    node, problems = parse(text)
    assert not problems
    assert isinstance(node.value, dict)
    return {
        key: [item.value for item in child.value] if isinstance(child.value, list) else child.value
        for key, child in node.value.items()
    }


def test_example_10_9_of_the_specification() -> None:
    values = _values(EXAMPLE_10_9)
    assert values["A null"] is None
    assert values["Also a null"] is None
    assert values["Not a null"] == ""
    assert values["Booleans"] == [True, True, False, False]
    assert values["Integers"] == [0, 7, 58, -19]
    assert values["Floats"] == [0.0, -0.0, 0.5, 12000.0, -200000.0]
    *infinite, not_a_number = values["Also floats"]
    assert infinite == [math.inf, -math.inf, math.inf]
    assert math.isnan(not_a_number)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # Section 10.3.2, row by row: null | Null | NULL | ~
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("nULL", "nULL"),
        # true | True | TRUE | false | False | FALSE, and nothing else: the words of 1.1 are text
        ("true", True), ("TRUE", True), ("False", False), ("tRUE", "tRUE"),
        ("yes", "yes"), ("no", "no"), ("on", "on"), ("off", "off"), ("y", "y"), ("N", "N"),
        # [-+]? [0-9]+
        ("010", 10), ("+7", 7), ("-0", 0), ("00", 0),
        # 0o [0-7]+ and 0x [0-9a-fA-F]+, without signs
        ("0o10", 8), ("0xff", 255), ("0o8", "0o8"), ("-0x1", "-0x1"), ("0b1", "0b1"),
        # [-+]? ( \. [0-9]+ | [0-9]+ ( \. [0-9]* )? ) ( [eE] [-+]? [0-9]+ )?
        ("1e-2", 0.01), ("1E3", 1000.0), (".5", 0.5), ("-.5e1", -5.0), ("1.", 1.0),
        (".", "."), ("+", "+"), ("e3", "e3"), ("1e", "1e"), ("--1", "--1"),
        # numbers of 1.1 that 1.2 does not have: underscores, sexagesimals, dates
        ("1_000", "1_000"), ("190:20:30", "190:20:30"), ("127.0.0.1:9000", "127.0.0.1:9000"),
        ("2026-11-25", "2026-11-25"), ("=", "="), ("<<", "<<"),
        (".Inf", math.inf), ("-.inf", -math.inf), (".iNF", ".iNF"), ("inf", "inf"), ("nan", "nan"),
    ],
)  # fmt: skip
def test_core_schema(text: str, value: object) -> None:
    found = resolve(text)
    assert found == value
    assert type(found) is type(value)


def test_absurdly_long_numbers_are_infinite_and_not_an_exception() -> None:
    assert resolve("9" * 100_000) == math.inf
    assert resolve("-" + "9" * 100_000) == -math.inf
    assert resolve("1e999") == math.inf


def test_quoted_scalars_are_text() -> None:
    assert _values("a: '1'\nb: \"no\"\nc: !!str 12\nd: |\n  3\n") == {"a": "1", "b": "no", "c": "12", "d": "3\n"}


def test_every_key_and_value_knows_its_line() -> None:
    node, _ = parse("version: 1\nlist:\n  - a: 1\n    b:\n      - 2\n      - 3\n")
    assert node.key_lines == {"version": 1, "list": 2}
    item = node.value["list"].value[0]
    assert item.line == 3
    assert item.key_lines == {"a": 3, "b": 4}
    assert [child.line for child in item.value["b"].value] == [5, 6]


def test_doubled_keys_are_found_at_every_depth() -> None:
    _, problems = parse("a: 1\nb: {c: 1, d: 2, c: 3}\na: 2\n")
    assert [(problem.line, "'c'" in problem.text or "'a'" in problem.text) for problem in problems] == [
        (2, True),
        (3, True),
    ]


def test_an_alias_is_the_value_of_its_anchor() -> None:
    node, _ = parse("a: &h {yaw: 1}\nb: *h\n")
    assert node.value["b"] is node.value["a"]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a: &x [*x]\n", 1, "inside its own anchor"),
        ("a: 1\nb: *nowhere\n", 2, "anchor"),
        ("a: 1\n\tb: 2\n", 2, "not valid YAML"),
        ("a: b: c\n", 1, "found a ':' where none is due"),
        ("a: [1, 2\nb: 3\n", 2, "list that is not closed"),
        ("a: {b: 1\nc: 3\n", 2, "mapping that is not closed"),
        ("a: - 1\n", 1, "list item (-) where none is due"),
        ("a:\n  - 1\n  b: 2\n", 3, "where the next item of a list is due"),
        ('a: "text\n', 2, "inside a quoted text"),
        ("? [1]\n: 2\n", 1, "as a key"),
        ("a: 1\n---\nb: 2\n", 2, "second document"),
        ("", 1, "empty file"),
        ("# only a comment\n", 1, "empty file"),
        ("a: 1\nb: \x07\n", 2, "printable"),
        ("a:\n  " + "[" * 100, 2, f"more than {MOST_DEPTH} levels"),
        ("a:\n  " + "[" * 100_000, 2, "levels"),
        ("a: !!binary aGk=\nb: 2\nb: 3", 1, "tag"),
    ],
)
def test_what_is_refused_as_yaml(text: str, line: int, words: str) -> None:
    try:
        _, problems = parse(text)
    except Bad as error:
        problems = error.problems
    assert problems[0].line == line
    assert words in problems[0].text


@pytest.mark.parametrize(
    "text", ["a: [1, 2, 3, 4]\n", "a: 1\nb: 2\nc: 3\n", "- - 1\n  - 2\n- 3\n- 4\n", "a: &a [1]\nb: [*a, *a]\n"]
)
def test_a_file_of_too_many_values_is_refused(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    parse(text)
    monkeypatch.setattr("bridge.show.yaml12.MOST_VALUES", 5)
    with pytest.raises(Bad, match="more than 5 values"):
        parse(text)


def test_a_billion_laughs_are_refused_before_they_are_laughed() -> None:
    lines = ["a: &a [x, x, x, x, x, x, x, x, x, x]"]
    for before, name in zip("abcdefgh", "bcdefghi", strict=True):
        lines.append(f"{name}: &{name} [{', '.join(['*' + before] * 10)}]")
    with pytest.raises(Bad, match="aliases that repeat"):
        parse("\n".join(lines))
