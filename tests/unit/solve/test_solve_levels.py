"""Bases that hang less level than the plot says are seen from the sightings and do not cost the poses."""

import numpy as np
import pytest

from bridge.solve.calibrate import calibrate
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE


def solve(heads, places, sightings):
    return calibrate(rigs.fixtures(heads), rigs.stage(places), sightings)


@pytest.mark.parametrize("marks", [4, 5])
def test_a_rig_that_hangs_less_level_than_said_is_seen_and_allowed_for(marks):
    rng = np.random.default_rng(25)
    heads = rigs.rig(rng, 12, level_deg=3.0)
    answer = solve(heads, FIVE[:marks], rigs.sight(rng, heads, FIVE[:marks]))
    assert any("less level" in note for note in answer.notes)
    assert answer.trusted


def test_one_base_far_from_level_is_told_and_still_solved():
    rng = np.random.default_rng(26)
    heads = rigs.rig(rng, 6)
    heads[2].R = heads[2].R @ rigs.rx(np.radians(8))
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE))
    assert answer.trusted
    assert any(note.startswith("h2") and "level" in note for note in answer.notes)
    assert np.sqrt(np.mean(rigs.aim_misses(heads[2], answer.fixtures["h2"]) ** 2)) < 0.08


def test_every_pan_reversed_is_not_taken_for_a_crooked_rig():
    rng = np.random.default_rng(27)
    heads = rigs.rig(rng, 6)
    turned = [type(s)(s.fixture, s.mark, -s.pan, s.tilt) for s in rigs.sight(rng, heads, FIVE)]
    answer = solve(heads, FIVE, turned)
    assert not answer.trusted
    assert any("other way" in suspect_words(s) for s in answer.suspects)
