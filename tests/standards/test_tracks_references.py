"""The models of walking beside outside references: filterpy's Kalman filter and IMM, Singer's matrices, scipy's expm.

filterpy (R. Labbe): `KalmanFilter`, `IMMEstimator`, on the same observations with our matrices; the same numbers are
asked of both. Singer 1970, "Estimating optimal tracking filter performance for manned maneuvering targets", IEEE Trans.
AES-6: transition and noise matrices in their published form (from memory), and by Van Loan's method (1978, "Computing
integrals involving the matrix exponential") with scipy.linalg.expm.
"""

from __future__ import annotations

import numpy as np
import pytest
from filterpy.kalman import IMMEstimator, KalmanFilter
from scipy.linalg import expm

from bridge.follow.where import models as ours
from bridge.follow.where.models import MODELS, Model, Models

SIGMA = 0.02
TIMES_S = np.array([0.001, 0.008, 1 / 60, 1 / 30, 0.1, 0.3])


def walk(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Times between observations (n,) and places on one line (n,) with noise: stands, sets out, stops."""
    rng = np.random.default_rng(seed)
    steps_s = rng.uniform(0.005, 0.03, 300)
    times_s = np.cumsum(steps_s)
    speed = np.where((times_s > 1.5) & (times_s < 3.5), 2.0, 0.0)
    return steps_s, np.cumsum(speed * steps_s) + rng.normal(0, SIGMA, 300)


def run_ours(models: Models, steps_s: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """State (n, M, 3), covariance (n, M, 3, 3) and probabilities (n, M) on the x axis alone."""
    bank, share = models.begin(SIGMA)[None], models.first[None]
    mean, axes = models.mean(bank, share), np.ones(1)
    states, covariances, shares = [], [], []
    for step_s, place in zip(steps_s, places, strict=True):
        seen = np.array([[place, 0.0, 0.0]])
        bank, share = models.step(bank, share, mean, np.array([step_s]), seen, np.array([SIGMA**2]), axes)
        mean = models.mean(bank, share)
        states.append(bank[0, :, :3, 0].copy())
        covariances.append(bank[0, :, 3:].copy())
        shares.append(share[0])
    return np.array(states), np.array(covariances), np.array(shares)


def reference(models: Models, number: int) -> KalmanFilter:
    kalman = KalmanFilter(dim_x=3, dim_z=1)
    kalman.x = np.zeros((3, 1))
    kalman.P = models.begin(SIGMA)[number, 3:]
    kalman.H = np.array([[1.0, 0.0, 0.0]])
    kalman.R = np.array([[SIGMA**2]])
    return kalman


@pytest.mark.parametrize("seed", range(3))
def test_one_model_is_filterpys_kalman_filter(seed: int) -> None:
    models = Models([Model(acceleration=3.0)], 0.35, [[0.0]], [1.0])
    steps_s, places = walk(seed)
    states, covariances, _ = run_ours(models, steps_s, places)
    kalman = reference(models, 0)
    for number, (step_s, place) in enumerate(zip(steps_s, places, strict=True)):
        f, q = models.transition(np.array([step_s]))
        kalman.predict(F=f[0, 0], Q=q[0, 0])
        kalman.update(np.array([[place]]))
        assert np.allclose(states[number, 0], kalman.x[:, 0], rtol=1e-9, atol=1e-10)
        assert np.allclose(covariances[number, 0], kalman.P, rtol=1e-7, atol=1e-10)


@pytest.mark.parametrize("seed", range(3))
def test_three_models_are_filterpys_imm(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stands, quiet and lively. filterpy knows no rates that depend on speed: ours are let be as at rest."""
    monkeypatch.setattr(ours, "QUICK", 0.0)
    kinds = [Model(drift=0.001, sets_out=(0.4, 1.0)), Model(acceleration=0.5), Model(acceleration=4.0)]
    rates = np.array([[0, 0.4, 0.2], [0.5, 0, 0.5], [0.3, 0.5, 0]])
    models = Models(kinds, 0.35, rates.tolist(), [0.4, 0.3, 0.3])
    steps_s, places = walk(seed)
    states, covariances, shares = run_ours(models, steps_s, places)
    filters = [reference(models, number) for number in range(3)]
    imm = IMMEstimator(filters, models.first.copy(), np.eye(3))
    for number, (step_s, place) in enumerate(zip(steps_s, places, strict=True)):
        f, q = models.transition(np.array([step_s]))
        imm.M = rates * step_s + np.diag(1.0 - rates.sum(axis=1) * step_s)
        imm._compute_mixing_probabilities()  # filterpy does so after an update, with the M of that time
        for which, kalman in enumerate(filters):
            kalman.F, kalman.Q = f[0, which], q[0, which]
        imm.predict()
        imm.update(np.array([[place]]))
        assert np.allclose(shares[number], imm.mu, rtol=1e-6, atol=1e-12)
        assert np.allclose(states[number], [kalman.x[:, 0] for kalman in filters], rtol=1e-7, atol=1e-9)
        assert np.allclose(covariances[number], [kalman.P for kalman in filters], rtol=1e-6, atol=1e-9)
    assert shares[:60, 0].max() > 0.9  # it did stand,
    assert shares[:, 0].min() < 1e-3  # and move


@pytest.mark.parametrize("fade", [0.2, 0.35, 2.0])
@pytest.mark.parametrize("later_s", TIMES_S)
def test_the_matrices_are_those_of_the_matrix_exponential(fade: float, later_s: float) -> None:
    sigma = 3.0
    f, q = Models([Model(acceleration=sigma)], fade, [[0.0]], [1.0]).transition(np.array([later_s]))
    drift = np.array([[0, 1, 0], [0, 0, 1], [0, 0, -1 / fade]])
    density = np.zeros((3, 3))
    density[2, 2] = 2 * sigma**2 / fade
    loan = expm(np.block([[-drift, density], [np.zeros((3, 3)), drift.T]]) * later_s)
    expected_f = loan[3:, 3:].T
    assert np.allclose(f[0, 0], expected_f, rtol=1e-10, atol=1e-14)
    # what cancels in the closed form at very short times is far below a micrometre
    assert np.allclose(q[0, 0], expected_f @ loan[:3, 3:], rtol=1e-6, atol=1e-13 * (1 + fade**4))


@pytest.mark.parametrize("later_s", TIMES_S)
def test_the_transition_is_singers(later_s: float) -> None:
    a = 1 / MODELS.fade
    e = np.exp(-a * later_s)
    singer = [[1, later_s, (-1 + a * later_s + e) / a**2], [0, 1, (1 - e) / a], [0, 0, e]]
    f, _ = MODELS.transition(np.array([later_s]))
    assert np.allclose(f[0, 1:], singer, rtol=1e-10, atol=1e-14)
    mean = np.zeros((1, 6, 3))
    mean[0, :3] = np.random.default_rng(1).normal(size=(3, 3))
    assert np.allclose(MODELS.on(mean, np.array([later_s])), singer @ mean[:, :3])


def test_singers_noise_at_short_and_long_times() -> None:
    """His limits: sigma² t^5/20 .. t of a white jerk at short times; the acceleration's own variance at long ones."""
    fade, sigma, t = 0.5, 2.0, 0.005
    _, q = Models([Model(acceleration=sigma)], fade, [[0.0]], [1.0]).transition(np.array([t, 100.0]))
    short = 2 * sigma**2 / fade * np.array([[t**5 / 20, t**4 / 8, t**3 / 6], [0, t**3 / 3, t**2 / 2], [0, 0, t]])
    assert np.allclose(np.triu(q[0, 0]), short, rtol=0.03, atol=1e-15)
    assert q[1, 0, 2, 2] == pytest.approx(sigma**2)
