"""Ours, theirs and what the last import gave: the properties that any such merge must have."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bridge.exchange.splicing import with_heads, with_values
from bridge.exchange.standing import plain_of
from bridge.exchange.texts import heads_text, new_profile
from bridge.exchange.three_way import applied, at, leaves, merged
from bridge.show.imported import normal

KEYS = st.sampled_from(["profile", "universe", "address", "at", "hang", "truss", "number"])
VALUES: st.SearchStrategy[Any] = st.one_of(
    st.integers(1, 600),
    st.floats(-100, 100),
    st.sampled_from(["foh", "spot-16bit", "3.2 m", "off", "101"]),
    st.lists(st.floats(-30, 30), min_size=3, max_size=3),
)
ENTRIES = st.one_of(VALUES, st.dictionaries(st.sampled_from(["yaw", "roll"]), VALUES, min_size=1))
DOCUMENTS = st.dictionaries(KEYS, ENTRIES)


@given(DOCUMENTS, DOCUMENTS)
def test_without_a_base_the_files_word_counts_and_nothing_else_changes(ours: Any, theirs: Any) -> None:
    out = merged(ours, theirs, None)
    for path, value in leaves(theirs):
        assert normal(at(out.document, path)) == normal(value) or path in [s.path for s in out.torn] or _said(out, path)
    assert applied(ours, out.changed) == out.document
    assert {path[0] for path, _ in leaves(out.document)} <= {*ours, *theirs}


def _said(out: Any, path: Any) -> bool:
    """What is not changed says the same already."""
    return path not in [step.path for step in out.changed]


@given(DOCUMENTS, DOCUMENTS)
def test_what_was_taken_over_once_is_not_changed_by_the_same_file(ours: Any, theirs: Any) -> None:
    theirs = normal(theirs)
    once = merged(ours, theirs, None)
    again = merged(once.document, theirs, theirs)
    assert again.changed == []
    assert again.document == once.document


@given(DOCUMENTS, DOCUMENTS, DOCUMENTS)
def test_a_hand_that_changed_something_keeps_it_while_the_file_says_the_same(base: Any, edit: Any, more: Any) -> None:
    base = normal(base)
    ours = {**base, **normal(edit)}
    out = merged(ours, base, base)
    assert out.document == ours
    assert out.changed == [] == out.torn


@given(st.lists(DOCUMENTS, min_size=1, max_size=4), st.lists(DOCUMENTS, min_size=1, max_size=4))
def test_heads_go_into_a_text_and_come_out_the_same_with_every_comment(before: Any, after: Any) -> None:
    named = [{"name": f"h{n}", **normal(head)} for n, head in enumerate([*before, *after])]
    text = "version: 1\n# the rig\nfixtures:   # all of it\n" + heads_text(named[: len(before)]) + "# the end\n"
    out = with_heads(text, named[: len(before)], named)
    assert plain_of(out)["fixtures"] == named
    assert [line for line in text.splitlines() if "#" in line] == [line for line in out.splitlines() if "#" in line]


@given(st.dictionaries(st.integers(1, 60), st.integers(0, 255), min_size=1), st.text(max_size=50))
def test_a_profiles_text_reads_back_whatever_its_reasons_say(fixed: Any, why: str) -> None:
    document = {"name": "x", "fixed": fixed, "pan": {"from": -270.0, "to": 270.0}}
    reasons = {"pan": why, "fixed": why, "pan.from": why} | {f"fixed.{n}": why for n in fixed}
    text = new_profile(document, why, why, reasons)
    assert plain_of(text) == {"version": 1, **normal(document)}
    assert with_values(text, plain_of(text), {**normal(document), "name": "z"}) == text.replace("name: x", "name: z")
