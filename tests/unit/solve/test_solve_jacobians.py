"""Analytic derivatives against central differences, for every kind of residual."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.solve.heads import (
    TERM_SIGMA,
    HeadBatch,
    PoseBatch,
    by_share,
    exp_so3,
    level,
    log_so3,
    normal,
    sightings,
)
from bridge.solve.joint import Border, Estimate, member_residuals
from bridge.solve.noise import Sighted


def batch(rng, terms_on):
    n = 3
    up = np.tile([0.0, 0.0, 1.0], (n, 1))
    fixture_up = rng.standard_normal((n, 3))
    return HeadBatch(
        rng.uniform(-4, 4, (n, 5)), rng.uniform(-1.5, 1.5, (n, 5)), rng.uniform(-6, 6, (n, 5, 3)),
        rng.uniform(20, 40, (n, 5)), up, fixture_up / np.linalg.norm(fixture_up, axis=1, keepdims=True),
        np.full(n, 57.0), rng.standard_normal((n, 3)), rng.uniform(0, 3, (n, 3)), np.full(n, terms_on),
        np.zeros((n, 6)), np.tile(1 / TERM_SIGMA, (n, 1)),
    )  # fmt: skip


def sighted(rng):
    """Wide beams, half of them with a share that nobody said, on coarse axes."""
    free = rng.uniform(size=(3, 5)) < 0.5
    share, axis = rng.uniform(0, 1, (3, 5)), rng.uniform(0, 0.01, (3, 2))
    return Sighted(rng.uniform(0.01, 0.2, (3, 5)), share, free, axis, rng.uniform(5, 20, (3, 5)))


def poses(rng, terms_on):
    terms = rng.standard_normal((3, 6)) * 0.05 if terms_on else np.zeros((3, 6))
    return PoseBatch(rng.uniform(-5, 5, (3, 3)) + np.array([0, 0, 12]), exp_so3(rng.uniform(-2, 2, (3, 3))), terms)


def assert_slopes(heads, at, rtol, atol):
    """The derivatives by the heads' unknowns against central differences."""
    _, J = sightings(heads, at)
    for k in range(J.shape[-1]):
        step = np.zeros((3, J.shape[-1]))
        step[:, k] = 1e-6
        plus, _ = sightings(heads, at.moved(step), derive=False)
        minus, _ = sightings(heads, at.moved(-step), derive=False)
        assert np.allclose((plus - minus) / 2e-6, J[..., k], rtol=rtol, atol=atol), k


@pytest.mark.parametrize("terms_on", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_sighting_derivatives_are_those_of_the_residual(terms_on, seed):
    rng = np.random.default_rng(seed)
    heads, at = batch(rng, terms_on), poses(rng, terms_on)
    assert_slopes(heads, at, rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("terms_on", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_derivatives_of_sightings_of_the_pool_by_coarse_axes(terms_on, seed):
    rng = np.random.default_rng(seed)
    heads, at = replace(batch(rng, terms_on), sight=sighted(rng)), poses(rng, terms_on)
    assert_slopes(heads, at, rtol=1e-4, atol=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_derivatives_by_the_share_are_those_of_the_residual(seed):
    rng = np.random.default_rng(seed)
    heads, at = replace(batch(rng, False), sight=sighted(rng)), poses(rng, False)
    heads = replace(heads, sight=heads.sight.with_share(0.4))
    ends = [replace(heads, sight=heads.sight.with_share(0.4 + d)) for d in (1e-6, -1e-6)]
    plus, minus = (sightings(end, at, derive=False)[0] for end in ends)
    slope = by_share(heads, at)
    assert np.allclose((plus - minus) / 2e-6, slope, rtol=1e-4, atol=1e-3)
    assert np.all(slope[~heads.sight.free] == 0)
    assert np.any(slope != 0)


@pytest.mark.parametrize("seed", range(4))
def test_a_mark_moves_the_residual_opposite_to_the_head(seed):
    rng = np.random.default_rng(seed)
    heads, at = batch(rng, True), poses(rng, True)
    _, J = sightings(heads, at)
    for k in range(3):
        d = np.zeros(3)
        d[k] = 1e-6
        plus, _ = sightings(replace(heads, mark=heads.mark + d), at, derive=False)
        minus, _ = sightings(replace(heads, mark=heads.mark - d), at, derive=False)
        assert np.allclose((plus - minus) / 2e-6, -J[..., k], rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_level_derivatives_also_far_from_level(seed):
    rng = np.random.default_rng(seed)
    heads, at = batch(rng, False), poses(rng, False)
    _, J = level(heads, at)
    for k in range(3):
        step = np.zeros((3, 6))
        step[:, 3 + k] = 1e-6
        difference = level(heads, at.moved(step))[0] - level(heads, at.moved(-step))[0]
        assert np.allclose(difference / 2e-6, J[..., k], rtol=1e-4, atol=1e-3)


def test_the_gradient_is_half_the_slope_of_the_cost():
    rng = np.random.default_rng(9)
    heads, at = batch(rng, True), poses(rng, True)
    _, _, g, _, _ = normal(heads, at)
    for k in range(12):
        step = np.zeros((3, 12))
        step[:, k] = 1e-6
        slope = (normal(heads, at.moved(step))[0] - normal(heads, at.moved(-step))[0]) / 2e-6
        assert np.allclose(slope / 2, g[:, k], rtol=1e-4, atol=1e-2 * np.max(np.abs(g)) * 1e-2)


def test_truss_derivatives():
    rng = np.random.default_rng(3)
    at = poses(rng, False)
    truss_R = exp_so3(rng.uniform(-1, 1, (1, 3)))
    member_R = truss_R.transpose(0, 2, 1) @ at.R @ exp_so3(rng.uniform(-0.02, 0.02, (3, 3)))
    border = Border(
        np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3)), truss_p=np.ones((1, 3)), truss_R=truss_R,
        truss_level=np.ones(1), members=np.array([[0, 0], [1, 0], [2, 0]]), member_p=rng.standard_normal((3, 3)),
        member_R=member_R, member_root=rng.standard_normal((3, 6, 6)),
    )  # fmt: skip
    estimate = Estimate(at, border.point, border.truss_p, truss_R)
    _, J_head, J_truss = member_residuals(border, estimate)
    for k in range(6):
        step, narrow = np.zeros((3, 6)), np.zeros((1, 6))
        step[:, k] = narrow[:, k] = 1e-6
        by_head = [replace(estimate, poses=at.moved(s)) for s in (step, -step)]
        by_truss = [
            replace(estimate, truss_p=border.truss_p + s[:, :3], truss_R=truss_R @ exp_so3(s[:, 3:]))
            for s in (narrow, -narrow)
        ]
        for ends, J in ((by_head, J_head), (by_truss, J_truss)):
            plus, minus = (member_residuals(border, end)[0] for end in ends)
            assert np.allclose((plus - minus) / 2e-6, J[..., k], rtol=1e-3, atol=2e-3)


def test_log_undoes_exp():
    w = np.random.default_rng(0).uniform(-1.7, 1.7, (50, 3))
    assert np.allclose(log_so3(exp_so3(w)), w, atol=1e-9)


def test_terms_are_expected_within_their_usual_size() -> None:
    """facts/solver.md: tilt zero, squareness, collimation 0.5, 0.2, 0.1 deg; lens 5 cm; pan scale 0.1 %."""
    assert pytest.approx([*np.radians([0.5, 0.2, 0.1]), 0.05, 0.05, 0.001]) == TERM_SIGMA
