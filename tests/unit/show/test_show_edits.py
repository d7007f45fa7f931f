# ruff: noqa: E501 (rows of a table stay rows)
"""What changes in a hand-written file look like, one by one, and what is said where one cannot be made."""

from __future__ import annotations

import math
from typing import Any

import pytest

from bridge.show.editing import edited
from bridge.show.problems import Bad

SMALL = "version: 1\n# marks\nmarks:\n  A: [1, 0, 0]  # by the door\n  B: [2, 0, 0]\n  # by it\n"
CASES = [
    ("a point", "A: [-5.5, 0.50, 0]  # x\n", ("set", "A", [-5.5, 0.75, 0]), "A: [-5.5, 0.75, 0]  # x\n"),
    ("a unit stays", "A: [1, 10' 6\", 40 cm]\n", ("set", "A", [2, 3.2004, 0.4]), "A: [2, 10' 6\", 40 cm]\n"),
    ("a unit as told", "h: 600 mm # x\n", ("set", "h", "70 cm"), "h: 70 cm # x\n"),
    ("feet are quoted", "h: 1\n", ("set", "h", "10' 6\""), "h: \"10' 6\\\"\"\n"),
    ("quotes stay", "n: 'a'\nm: \"b\"", ("set", "n", "it's"), "n: 'it''s'\nm: \"b\""),
    ("a switch in its own words", "on: off\n", ("set", "on", True), "on: on\n"),
    ("a switch that is so", "on: yes\n", ("set", "on", True), "on: yes\n"),
    ("nothing there", "a:   # none yet\nb: 1\n", ("set", "a", 5), "a: 5   # none yet\nb: 1\n"),
    ("a corner more", "c: [[0, 0], [1,0], [1, 1]]\n", ("set", "c", [[0, 0], [1, 0], [2, 2], [1, 1]]),
     "c: [[0, 0], [1,0], [2, 2], [1, 1]]\n"),
    ("a corner more in a block", "c:\n- [0, 0] # a\n- [1,0]\n- [1, 1] # b\n",
     ("set", "c", [[0, 0], [1, 0], [2, 2], [1, 1]]), "c:\n- [0, 0] # a\n- [1,0]\n- [2, 2]\n- [1, 1] # b\n"),
    ("a corner less", "c: [[0, 0], [1,0], [2, 2]] # x", ("set", "c", [[0, 0], [2, 2]]), "c: [[0, 0], [2, 2]] # x"),
    ("a mark more", "marks:\n   A: 1 # a\n   # end\n\nb: 1\n", ("add", "marks.B", [1, 2, 0]),
     "marks:\n   A: 1 # a\n   B: [1, 2, 0]\n   # end\n\nb: 1\n"),
    ("the first of its kind", "version: 1\n", ("add", "floors.riser", {"height": 0.5}),
     "version: 1\nfloors:\n  - {name: riser, height: 0.5}\n"),
    ("an empty list", "tapes:  # none\nb: 1\n", ("add", "tapes.A/B", {"metres": 3}),
     "tapes: [{between: [A, B], metres: 3}]  # none\nb: 1\n"),
    ("in a list of rows", "f: [\n  {name: a}, # a\n  {name: b}  # b\n]\n", ("set", "f", [{"name": "a"}, {"name": "b"}, {"name": "c"}]),
     "f: [\n  {name: a}, # a\n  {name: b},  # b\n  {name: c}\n]\n"),
    ("a tape by its ends", "tapes:\n  - {between: [A, B], metres: 1}\n  - {between: [B, C], metres: 2}\n",
     ("remove", "tapes.C/B", None), "tapes:\n  - {between: [A, B], metres: 1}\n"),
    ("the last one", "marks:  # all\n  A: 1  # a\n# b\nc: 1\n", ("remove", "marks.A", None), "marks: {}  # all\n# b\nc: 1\n"),
    ("the last line", "a: 1\nb: 2", ("remove", "b", None), "a: 1"),
    ("the first key of an item", "- name: a\n  height: 1\n", ("remove", "1.name", None), "- height: 1\n"),
    ("a mark that says more", "marks: {A: [1, 2, 40 cm]}\n", ("set", "marks.A.sigma", 0.02),
     "marks: {A: {at: [1, 2, 40 cm], sigma: 0.02}}\n"),
    ("a mark that is unknown now", "marks: {A: [1, 2, 0]}\n", ("set", "marks.A.at", "unknown"), "marks: {A: {at: unknown}}\n"),
    ("a block turned into a row", "a:  # c\n  - 1 # d\n  - 2 # e\nb: 1\n", ("set", "a", "unknown"),
     "a: unknown  # c\n# d\n# e\nb: 1\n"),
    ("an alias stays as it was", "a: &x [1, 2]\nb: *x\nc: *x # y\n", ("set", "a", [1, 3]), "a: &x [1, 3]\nb: [1, 2]\nc: [1, 2] # y\n"),
    ("an alias written out", "a: &x [1, 2]\nb: *x # y\n", ("set", "b", [1, 3]), "a: &x [1, 2]\nb: [1, 3] # y\n"),
    ("a name in a list", "floors:\n- height: 1\n  name: 'a' # b\n", ("rename", "floors.a", "c"), "floors:\n- height: 1\n  name: 'c' # b\n"),
    ("a name like a number", "marks: {A: 1, B: 2}\n", ("rename", "marks.A", "010"), 'marks: {"010": 1, B: 2}\n'),
    ("rounded as the store does", "a: 1\n", ("set", "a", 0.1 + 0.2), "a: 0.3\n"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "change", "meant"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["", "byte order mark"])
def test_what_is_written(text: str, change: tuple[str, str, Any], meant: str, mark: str) -> None:
    do, path, value = change
    raw = {"do": do, "path": path, "to" if do == "rename" else "value": value}
    assert edited(mark + text, [raw]) == mark + meant


WRONG = [
    ("no change", 7, "a change"),
    ("no path", {"do": "set", "value": 1}, "found the path"),
    ("an empty step", {"do": "set", "path": "marks.", "value": 1}, "found the path"),
    ("another word", {"do": "move", "path": "marks", "value": 1}, "set or add or remove or rename"),
    ("not a number", {"do": "set", "path": "marks.A.at", "value": [math.nan, 0, 0]}, "a finite number"),
    ("not plain", {"do": "set", "path": "marks.A.at", "value": {1, 2}}, "a finite number"),
    ("there already", {"do": "add", "path": "marks.A", "value": 1}, "'A' a second time"),
    ("taken", {"do": "rename", "path": "marks.A", "to": "B"}, "'B' a second time"),
    ("no name", {"do": "rename", "path": "marks.A", "to": ""}, "new name"),
    ("not there", {"do": "remove", "path": "marks.C"}, "found no 'C'"),
    ("two tapes", {"do": "remove", "path": "tapes.B/A"}, "2 tapes between B/A"),
    ("another name", {"do": "add", "path": "floors.a", "value": {"name": "b"}}, "is a"),
    ("a list that has no such item", {"do": "set", "path": "tapes.9.metres", "value": 1}, "found no '9'"),
    ("inside a number", {"do": "set", "path": "version.a", "value": 1}, "found no 'a'"),
    ("a tape has no name", {"do": "rename", "path": "tapes.1", "to": "a"}, "found no name"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), [case[1:] for case in WRONG], ids=[case[0] for case in WRONG])
def test_what_cannot_be_done_is_said_with_its_path(change: Any, words: str) -> None:
    text = SMALL + "tapes:\n  - {between: [A, B], metres: 1}\n  - {between: [B, A], metres: 2}\n"
    with pytest.raises(Bad) as caught:
        edited(text, [{"do": "set", "path": "marks.A.at", "value": [7, 0, 0]}, change])
    assert words in str(caught.value)
    if isinstance(change, dict) and change["do"] in ("set", "add", "remove", "rename") and "the path" not in words:
        assert ".".join(caught.value.problems[0].path) == change["path"]


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(Bad) as caught:
        edited(SMALL, [{"do": "remove", "path": "marks.C"}, {"do": "remove", "path": "marks.D"}])
    assert [problem.path for problem in caught.value.problems] == [("marks", "C"), ("marks", "D")]


def test_a_block_text_at_the_end_is_not_written_anew_for_what_comes_behind_it() -> None:
    with pytest.raises(Bad, match="cannot be changed here"):
        edited("a: |+  # kept\n  one", [{"do": "add", "path": "b", "value": 1}])
