"""Verified is what could not hide a mistake: against brute force, and in rigs of the usual shape."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.solve.alone import refine
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import fit_case
from bridge.solve.heads import cost
from bridge.solve.limits import limits
from bridge.solve.places import performance_points
from bridge.solve.reliability import aim_moments, reliability, unseen_size2
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE
FACE = np.ones((1, 1), dtype=int)


def one_head(marks, seed=1):
    """A perfect head, sighted without error on marks that are known without error, and the points of the stage."""
    head = rigs.rig(np.random.default_rng(seed), 1, level_deg=0.0)
    place = rigs.stage(FIVE[:marks])
    seen = rigs.sight(np.random.default_rng(seed), head, FIVE[:marks], hand=0.0)
    fit = fit_case(build_case(rigs.fixtures(head), place, seen), place)
    return fit.case.alone(fit.points, np.zeros(len(fit.points))), fit.poses, performance_points(place)


@pytest.mark.parametrize("slot", range(4))
def test_the_hidden_mistake_is_what_a_search_over_mistakes_finds(slot: int) -> None:
    """The mark of one sighting moved about in every direction, by as much as the test of the head misses, and the head
    solved again each time: the worst aim is the predicted one."""
    heads, poses, points = one_head(4)
    found = reliability(heads, poses, points, FACE)
    dof, limit = limits(heads)
    size2 = unseen_size2(dof, limit)[0]
    M = aim_moments(poses, points, heads.terms_on, FACE)[0]
    worst = 0.0
    for angle in np.arange(0, np.pi, np.pi / 90):
        mark = heads.mark.copy()
        mark[0, slot, :2] += 0.02 * np.array([np.cos(angle), np.sin(angle)])
        moved = replace(heads, mark=mark)
        after, chi2 = refine(moved, poses)
        turn = poses.R[0].T @ after.R[0]
        x = np.concatenate([after.p[0] - poses.p[0], [turn[2, 1], turn[0, 2], turn[1, 0]]])
        worst = max(worst, float(np.sqrt(x @ M @ x * size2 / chi2[0])))  # small, and scaled to what is missed
    assert found.hidden[0, slot] == pytest.approx(worst, rel=0.03)
    assert cost(heads, poses)[0] < 1e-9


def test_redundancy_sums_to_the_degrees_of_freedom() -> None:
    for marks in (3, 4, 5):
        heads, poses, points = one_head(marks)
        assert np.sum(reliability(heads, poses, points, FACE).redundancy) == pytest.approx(2 * marks - 4, abs=1e-4)


@pytest.mark.parametrize(("marks", "least", "most"), [(2, 0.0, 0.0), (3, 0.0, 0.1), (4, 0.2, 0.8), (5, 0.97, 1.0)])
def test_how_many_heads_are_verified_by_so_many_marks(marks: int, least: float, most: float) -> None:
    verified = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        heads = rigs.rig(rng, 9)
        answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE[:marks]), rigs.sight(rng, heads, FIVE[:marks]))
        verified += [f.verified for f in answer.fixtures.values()]
    assert least <= np.mean(verified) <= most


def test_what_is_accepted_decides() -> None:
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 4)
    seen = rigs.sight(rng, heads, FIVE)
    for accept, verified in ((0.02, False), (2.0, True)):
        answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE, accept=accept), seen)
        assert all(f.verified is verified for f in answer.fixtures.values())


def test_the_proposed_marks_do_verify() -> None:
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 6)
    seen = rigs.sight(rng, heads, FIVE[:3])
    answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE[:3]), seen)
    sentence = next(text for text in answer.advice if "would verify them" in text)
    assert "h0, h1, h2, h3, h4, h5" in sentence
    told = [part.split(")")[0] for part in sentence.split("(")[1:]]
    places = [(*map(float, part.split(", ")), 0.0) for part in told if part[0] in "-0123456789"]
    more = [*FIVE[:3], *places]
    answer = calibrate(rigs.fixtures(heads), rigs.stage(more), rigs.sight(rng, heads, more))
    assert all(f.verified for f in answer.fixtures.values())
