# ruff: noqa: E501 (rows of a table stay rows)
"""Changes in hand-written files: the data as asked, and comments, layout, quotes and untouched lines as they were."""

from __future__ import annotations

import copy
import math
import random
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import bridge
from bridge.show import splice, yaml12
from bridge.show.editing import edited
from bridge.show.problems import Bad
from tests.unit.show.made_yaml import Maker, paths, some_change

ROOT = Path(__file__).parents[3]
STAGES = [*sorted((ROOT / "configs").glob("*/stage.yaml")), Path(bridge.__file__).parent / "demo_show/stage.yaml"]
SWITCH = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}
SEEDS = st.integers(0, 2**32)
REFUSED = "cannot be changed here"


def data_of(text: str) -> Any:
    """The data of a text, None where it is no YAML or has a key twice."""
    try:
        node, problems = yaml12.parse(text.removeprefix("\ufeff"))
    except Bad:
        return None
    return None if problems else node.plain()


def expected(data: Any, change: dict[str, Any]) -> Any:
    """What the change makes of the data, said a second time and in the simplest way."""
    data = copy.deepcopy(data)
    *above, last = change["path"]
    holder = data
    for step in above:
        holder = holder[int(step) - 1] if isinstance(holder, list) else holder[step]
    key = int(last) - 1 if isinstance(holder, list) else last
    if change["do"] == "remove":
        del holder[key]
    elif change["do"] == "rename":
        renamed = {change["to"] if name == key else name: item for name, item in holder.items()}
        holder.clear()
        holder.update(renamed)
    else:
        holder[key] = change["value"]
    return data


def agree(found: Any, meant: Any) -> bool:
    """The same data; a number to 1e-9, a switch in any of its words."""
    if isinstance(meant, dict):
        return (
            isinstance(found, dict) and found.keys() == meant.keys() and all(agree(found[k], meant[k]) for k in meant)
        )
    if isinstance(meant, list):
        return isinstance(found, list) and len(found) == len(meant) and all(map(agree, found, meant))
    if isinstance(meant, bool) and isinstance(found, str):
        return SWITCH.get(found.lower()) is meant
    if isinstance(meant, float) and isinstance(found, float):
        return found == meant or math.isclose(found, meant, abs_tol=1e-9) or found != found != meant
    return isinstance(found, bool) == isinstance(meant, bool) and bool(found == meant)


def orders(data: Any) -> Any:
    """The order of keys, all the way down."""
    if isinstance(data, dict):
        return [(key, orders(item)) for key, item in data.items()]
    return [orders(item) for item in data] if isinstance(data, list) else None


def numbers(text: str) -> list[str]:
    """The comments by their numbers, but for those that ended up inside of a block text."""
    values = set(re.findall(r"#c\d+;", repr(data_of(text))))
    return [number for number in re.findall(r"#c\d+;", text) if number not in values]


def check(text: str, change: dict[str, Any]) -> bool:
    """Make one change and look at everything that must hold; False where it was refused."""
    before = data_of(text)
    meant = expected(before, change)
    try:
        after = edited(text, [change])
    except Bad as error:
        if REFUSED not in str(error) and "a second time" not in str(error):
            raise
        return False
    found = data_of(after)
    assert agree(found, meant), (change, after)
    if change["do"] != "set":
        assert orders(found) == orders(meant)
    old, new = numbers(text), numbers(after)
    if change["do"] in ("add", "rename"):
        assert new == old
    assert len(set(new)) == len(new)
    assert [number for number in old if number in new] == new
    if change["do"] == "remove":  # what went stood together: it was inside of the one thing removed
        places = [place for place, number in enumerate(old) if number not in new]
        assert all(second == first + 1 for first, second in pairwise(places))
    assert after.startswith("\ufeff") == text.startswith("\ufeff")
    assert bool(re.search("(?<!\r)\n", after)) == bool(re.search("(?<!\r)\n", text)) or not (
        "\n" in text and "\n" in after
    )
    assert ("\r" in after) == ("\r" in text) or not ("\n" in text and "\n" in after)
    return True


def made(seed: int) -> tuple[str, dict[str, Any]]:
    rng = random.Random(seed)
    text = Maker(rng).text()
    data = data_of(text)
    assume(isinstance(data, dict) and paths(data))
    return text, some_change(rng, data)


@settings(deadline=None, max_examples=80, print_blob=True)
@given(SEEDS)
def test_made_up_files(seed: int) -> None:
    text, change = made(seed)
    check(text, change)


@settings(deadline=None, max_examples=40, print_blob=True)
@given(SEEDS)
def test_one_value_changed_is_one_line_changed(seed: int) -> None:
    rng = random.Random(seed)
    text = Maker(rng).text()
    assume(isinstance(data_of(text), dict) and "*n" not in text)
    scalars = [p for p in paths(data_of(text)) if not isinstance(value_at(data_of(text), p), list | dict)]
    assume(scalars)
    path = rng.choice(scalars)
    assume(not str(value_at(data_of(text), path) or "one").startswith("one"))  # those of several lines, or of none
    after = edited(text, [{"do": "set", "path": path, "value": rng.choice([7.25, "new", "12 cm"])}])
    old, new = (re.split("(?<=\n)", one) for one in (text, after))
    assert len(old) == len(new)
    assert sum(map(str.__ne__, old, new)) <= 1


def value_at(data: Any, path: tuple[str, ...]) -> Any:
    for step in path:
        data = data[int(step) - 1] if isinstance(data, list) else data[step]
    return data


def test_hardly_any_layout_is_refused() -> None:
    done = []
    for seed in range(120):
        text = Maker(random.Random(seed)).text()
        data = data_of(text)
        if isinstance(data, dict) and paths(data):
            change = some_change(random.Random(seed), data)
            done.append(check(text, change) or change["do"] == "rename")
    assert len(done) > 100
    assert sum(done) >= 0.99 * len(done)


def test_without_the_fast_parser_it_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """PyYAML's parser in Python, where its C library is missing: its marks are not the same everywhere."""
    monkeypatch.setattr(yaml12, "LOADER", yaml.SafeLoader)
    done = 0
    for seed in range(30):
        text = Maker(random.Random(seed)).text()
        data = data_of(text)
        if isinstance(data, dict) and paths(data):
            done += check(text, some_change(random.Random(seed), data))
    assert done > 8  # it knows no tabs, which are in half of the files


STEPS = [
    "marks",
    "A",
    "at",
    "tapes",
    "A/B",
    "1",
    "0",
    "-1",
    "9" * 30,
    "riser",
    "\ud800",
    "",
    ".",
    "\x00",
    "<<",
    "*a",
    "#",
    "- ",
    7,
]
VALUES = [None, -0.0, 1e-320, 1e300, 10**5000, math.nan, "\ud800", "\x00", "a\nb", "\u2028", "x" * 2000, "#", ": ", "*a", "!!int 5",
          [], {}, [[]], {"": 1}, {1: 2}, (1, 2), b"x", [1, 2, 3], {"name": "riser"}, "\t", "\ufeff", "~", "0x1f", "2026-11-26"]  # fmt: skip


@settings(deadline=None, max_examples=60)
@given(
    st.fixed_dictionaries(
        {
            "do": st.sampled_from(["set", "add", "remove", "rename", "x", None]),
            "path": st.lists(st.sampled_from(STEPS), max_size=4) | st.sampled_from(["marks.A", "marks..A", 7]),
            "value": st.sampled_from(VALUES) | st.lists(st.sampled_from(VALUES), max_size=3),
            "to": st.sampled_from(STEPS),
        }
    )
)
def test_whatever_is_asked_is_done_or_refused_with_words(change: dict[str, Any]) -> None:
    said = []
    try:
        assert data_of(edited(SMALL, [change])) is not None
    except Bad as error:
        said = [problem.text for problem in error.problems]
    assert all(text.isprintable() and len(text) < 400 for text in said)


@pytest.mark.parametrize("path", STAGES, ids=lambda path: path.parent.name)
@pytest.mark.parametrize("line_break", ["\n", "\r\n"])
def test_the_files_of_shows_take_any_change(path: Path, line_break: str) -> None:
    text = path.read_text().replace("\n", line_break)
    for seed in range(12):
        rng = random.Random(seed)
        assert check(text, some_change(rng, data_of(text)))


@pytest.mark.parametrize("path", STAGES, ids=lambda path: path.parent.name)
def test_many_changes_one_after_the_other_and_back(path: Path) -> None:
    """Values there and back again: byte for byte the old file, however the numbers are written."""
    text = path.read_text()
    data = data_of(text)
    leaves = [p for p in paths(data) if isinstance(value_at(data, p), float | int) and value_at(data, p) != 0][::5]
    there = [{"do": "set", "path": p, "value": 77.5} for p in leaves]
    back = [{"do": "set", "path": p, "value": value_at(data, p)} for p in leaves]
    other = edited(text, there)
    assert len(re.findall(r"77\.5", other)) == len(leaves)
    assert agree(data_of(edited(other, back)), data)
    assert len(edited(other, back).splitlines()) == len(text.splitlines())
    assert edited(text, back) == text


BREAKS = {
    "a comment lost": lambda text: text.replace("  # by the door", ""),
    "another value": lambda text: text.replace("B: [2, 0, 0]", "B: [2, 0, 1]"),
    "another layout": lambda text: text.replace("B: [2, 0, 0]", "B: [2,0,0]"),
    "a key more": lambda text: text + "more: 1\n",
    "a blank line": lambda text: text.replace("# marks", "\n# marks"),
    "no YAML": lambda text: text + "]\n",
    "comments exchanged": lambda text: text.replace("by the", "?").replace("by it", "by the").replace("?", "by it"),
    "the change not made": lambda text: text.replace("9.5", "1"),
}
SMALL = "version: 1\n# marks\nmarks:\n  A: [1, 0, 0]  # by the door\n  B: [2, 0, 0]\n  # by it\n"


@pytest.mark.parametrize("fault", BREAKS.values(), ids=BREAKS)
def test_a_fault_in_the_cutting_never_comes_out(monkeypatch: pytest.MonkeyPatch, fault: Any) -> None:
    change = {"do": "set", "path": "marks.A.at", "value": [9.5, 0, 0]}
    assert edited(SMALL, [change]) == SMALL.replace("[1,", "[9.5,")
    apply = splice.apply
    monkeypatch.setattr(splice, "apply", lambda text, pieces: fault(apply(text, pieces)))
    with pytest.raises(Bad, match=REFUSED):
        edited(SMALL, [change])
