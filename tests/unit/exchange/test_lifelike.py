"""Some hundred fixture types as files of daily life have them: what comes out, against the truth by construction.

The format is from memory (DIN SPEC 15800, data versions 0.88 to 1.2); the makers are invented. The shares asked of
valid files: pan and tilt 99 %, dimmer 97 %, zoom 95 %, no wrong byte in silence.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pygdtf
import pytest

from bridge.exchange.gdtf import read_gdtf
from tests.unit.exchange.lifelike import NO_HEADS, make
from tests.unit.exchange.lifelike_judge import Verdict, judge
from tests.unit.exchange.lifelike_write import gdtf

SEEDS = range(240)
SHARES = {"taken": 1.0, "pan": 0.99, "tilt": 0.99, "dimmer": 0.97, "zoom": 0.95, "footprint": 1.0}
MOST_QUESTIONS = 5.0


@pytest.fixture(scope="module")
def verdicts() -> list[tuple[int, Verdict]]:
    return [(seed, verdict) for seed in SEEDS for verdict in judge(make(seed))]


@pytest.mark.parametrize(("part", "share"), SHARES.items())
def test_the_share_that_is_right(verdicts: list[tuple[int, Verdict]], part: str, share: float) -> None:
    marks = Counter(verdict.marks[part] for _, verdict in verdicts if part in verdict.marks)
    assert marks["right"] >= share * marks.total() > 300


def test_no_byte_is_wrong_in_silence(verdicts: list[tuple[int, Verdict]]) -> None:
    wrong = [
        (seed, verdict.mode, part, verdict.texts[part])
        for seed, verdict in verdicts
        for part, mark in verdict.marks.items()
        if mark == "wrong"
    ]
    assert wrong == []


def test_most_heads_stand_open_and_white_without_a_question(verdicts: list[tuple[int, Verdict]]) -> None:
    marks = Counter(verdict.marks["light"] for _, verdict in verdicts if "light" in verdict.marks)
    assert marks["right"] >= 0.97 * marks.total()


def test_a_usual_head_gives_few_questions(verdicts: list[tuple[int, Verdict]]) -> None:
    counts = [len(verdict.questions) for _, verdict in verdicts if "pan" in verdict.marks]
    assert sum(counts) / len(counts) <= MOST_QUESTIONS


def test_the_sample_has_every_kind_and_its_documents_are_plain() -> None:
    lives = [make(seed) for seed in SEEDS]
    assert {life.version for life in lives} == {"0.88", "1.0", "1.1", "1.2"}
    assert {life.kind for life in lives} >= {"spot", "wash", "pixels", "twin", *NO_HEADS}
    for life in lives[:40]:
        found = read_gdtf(gdtf(life), "life.gdtf")
        assert bool(found.profiles) + bool(found.skipped) + bool(found.asks) == 1  # never nothing, never two answers
        json.dumps([profile.document for profile in found.profiles], allow_nan=False)


def _for_peer(seed: int) -> bool:
    life = make(seed)
    return life.version != "0.88" and "wide" not in life.habits and life.kind not in ("twin", *NO_HEADS)


@pytest.mark.parametrize("seed", [*filter(_for_peer, range(60))])
def test_pygdtf_sees_the_same_modes_and_bytes(tmp_path: Path, seed: int) -> None:
    """It reads offsets as written, from version 1.0 on, and a channel of several functions as several."""
    life = make(seed)
    path = tmp_path / "life.gdtf"
    path.write_bytes(gdtf(life))
    with pygdtf.FixtureType(str(path)) as peer:
        assert [mode.name for mode in peer.dmx_modes] == [mode.name for mode in life.modes]
        for mode, truth in zip(peer.dmx_modes, life.modes, strict=True):
            channels = mode._dmx_channels
            theirs = {(c.logical_channels[0].attribute.str_link, tuple(c.offset)) for c in channels if c.offset}
            ours = {(part.attribute, part.offsets) for part in truth.parts if part.offsets}
            assert theirs >= ours
            added = {offsets for name, offsets in theirs - ours if name != "NoFeature"}  # which it puts into gaps
            assert added <= {offsets for _, offsets in ours}
