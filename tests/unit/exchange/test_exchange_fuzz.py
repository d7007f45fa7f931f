"""Broken files end in FileRefused or in sound plain data; nothing else is raised and no file is written.

100,000 of them: tools/bench/exchange_fuzz.py. A number that fails: `mutations.broken(NUMBER)`.
"""

from __future__ import annotations

import dataclasses
import sys
from collections import Counter
from typing import Any

import pytest

from bridge.exchange.gdtf import read_gdtf
from bridge.exchange.mvr import read_mvr
from tests.unit.exchange.made_gdtf import build_gdtf
from tests.unit.exchange.made_mvr import fixture, layer, mvr
from tests.unit.exchange.mutations import broken, opened_for_writing, outcome, sound, watch_files

ROUNDS, EACH = 8, 250


@pytest.mark.parametrize("first", range(0, ROUNDS * EACH, EACH))
def test_broken_files_are_refused_or_read_to_sound_data(first: int) -> None:
    with watch_files():
        ends = Counter(outcome(number) for number in range(first, first + EACH))
    assert opened_for_writing() == []
    assert min(ends["read"], ends["refused"]) > EACH // 10  # neither all refused nor all untouched


def test_numbers_give_the_same_file_again() -> None:
    assert [broken(number)[1] for number in range(30)] == [broken(number)[1] for number in range(30)]


def test_the_watch_sees_a_file_that_is_written(tmp_path: Any) -> None:
    with watch_files():
        (tmp_path / "x").write_text("x")
    assert opened_for_writing() == [str(tmp_path / "x")]


def test_what_is_not_sound_is_seen() -> None:
    found = read_mvr(mvr(layer(fixture())), "plot.mvr")
    sound(found)
    (head,) = found.fixtures
    for wrong in ({"universe": 0}, {"address": 513}, {"at": (0.0, float("nan"), 0.0)}, {"profile": "another"}):
        with pytest.raises(AssertionError):
            sound(dataclasses.replace(found, fixtures=(dataclasses.replace(head, **wrong),)))
    (profile,) = read_gdtf(build_gdtf(), "a.gdtf").profiles
    for wrong in ({"footprint": 0}, {"fixed": {7: 256}}, {"pan": {"from": 0}}):
        broken_profile = dataclasses.replace(profile, document={**profile.document, **wrong})
        with pytest.raises(Exception, match=r".") as raised:
            sound(dataclasses.replace(found, profiles=(broken_profile,), fixtures=()))
        assert type(raised.value).__name__ == "Bad"


assert sys.flags.optimize == 0, "the checks of mutations.sound are assertions"
