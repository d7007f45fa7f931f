"""The venue's lenses are its own: what the bridge has learned changes none, so that learning can be checked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Fixture
from bridge.rig.optics import Optics
from bridge.solve.optics import focus_table
from bridge.venue.truth import FixtureTruth
from bridge.venue.zoom import OpticsTables, sharpness
from tests.unit.venue.rigs import SPOT as PROFILE

FULL = 65535.0
TRUTH = FixtureTruth((0, 0, 8), (0, 0, 0, 1), zoom_scale=1.02, focus_off=0.06)
HEAD = Fixture("a", PROFILE, 1, 1)
DISTANCES = np.linspace(6.0, 18.0, 25)


def off_dioptres(learned: Fixture) -> np.ndarray:
    """How far the image lies beside the floor, over the distances, when focused by what the bridge has."""
    optics, lens = Optics([learned]), OpticsTables([learned], [TRUTH])
    raw = [float(optics.focus_for(np.array([d]))[0]) for d in DISTANCES]
    focus_m = np.array([lens.focus_distance(np.array([r / FULL]))[0] for r in raw])
    return np.abs(1 / focus_m - 1 / DISTANCES)


def by_eye(distance_m: float) -> float:
    """The raw focus at which a hand finds the spot sharpest, among a fader's steps."""
    raw = np.arange(0.0, FULL, 16.0)
    lens = OpticsTables([HEAD] * len(raw), [TRUTH] * len(raw))
    focus_m = lens.focus_distance(raw / FULL)
    return float(raw[np.argmax(sharpness(np.full(len(raw), distance_m), focus_m, np.full(len(raw), 0.14)))])


def test_a_lens_is_what_the_truth_says_and_not_what_the_bridge_learned() -> None:
    learned = replace(HEAD, focus_table=((3.0, 1.0), (20.0, 2.0)), zoom_table=((0.0, 1.0, None), (FULL, 2.0, None)))
    for fixture in (HEAD, learned):
        lens = OpticsTables([fixture], [TRUTH])
        assert 1 / lens.focus_distance(np.array([31000 / FULL + 0.06]))[0] == pytest.approx(1 / 8.0)
        angle, _ = lens.zoom(np.array([0.0]))
        assert np.degrees(angle[0]) == pytest.approx(1.02 * PROFILE.zoom.rows[0][1])  # type: ignore[union-attr]


def test_what_hands_set_at_three_marks_makes_beams_sharper_all_over() -> None:
    rows = [(distance, by_eye(distance)) for distance in (7.0, 11.0, 16.0)]
    table = focus_table(rows, PROFILE.focus or (), int(FULL))
    assert table is not None
    before, after = off_dioptres(HEAD), off_dioptres(replace(HEAD, focus_table=tuple(table)))
    assert before.min() > 0
    assert after.mean() < 0.5 * before.mean(), "the rest is how the tables are drawn between their rows"


def test_a_truth_without_lenses_is_the_profiles() -> None:
    plain = replace(TRUTH, zoom_scale=1.0, focus_off=0.0)
    assert 1 / OpticsTables([HEAD], [plain]).focus_distance(np.array([31000 / FULL]))[0] == pytest.approx(1 / 8.0)
