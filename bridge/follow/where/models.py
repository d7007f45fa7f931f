"""How people move, several ways at once: each model a Kalman filter, mixed by how well it explains what is seen (IMM).

The state of a model is place, speed and acceleration (3, per axis); the acceleration fades (Singer 1970, "Estimating
optimal tracking filter performance for manned maneuvering targets"). Axes share their gains, so that a turned or
mirrored stage gives turned or mirrored results. A model that stands has no speed, but knows how fast one sets out.
Mixing: Blom and Bar-Shalom 1988, "The interacting multiple model algorithm".

A bank (K, M, 6, 3) holds, per row and model, the state with columns x, y, z, and below it the covariance (3, 3) that
all axes share. Beside it goes how probable each model is, (K, M). Mixed over the models: (K, 6, 3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.frames import Array

FIRST_SPEED, FIRST_ACCELERATION = 2.0, 2.0
"""Sigma of what is not known at first, m/s and m/s² per axis."""
LONGEST_S = 0.1
"""Models change over at most as in this time."""
STOPS_FROM = 0.4
"""One stops from about this speed, m/s, and hardly ever from more: nobody stands the moment after a run."""
QUICK = 1.0 / STOPS_FROM**2
UNLIKELY = -200.0
"""No model is less likely than the best by more than e to this."""
POWERS = np.array([0.0, 1.0, 2.0, 3.0, 0.0, 1.0, 0.0])
FADES = np.array([0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 2.0])
"""The functions of time that F and Q are made of: 1, t, t², t³, e, e t, e² with e = exp(-t / fade)."""


@dataclass(frozen=True)
class Model:
    """`acceleration`: sigma, m/s² per axis. `drift`: of the place by itself, m per root s. `sets_out`: None for a
    model that moves; else it stands, and this is the sigma (m/s, m/s²) of how one begins to move."""

    acceleration: float = 0.0
    drift: float = 0.0
    sets_out: tuple[float, float] | None = None


class Models:
    """M models of one fading time `fade` s; `rates` (M, M) 1/s: how often one who moves as i begins to move as j."""

    def __init__(
        self, models: Sequence[Model], fade: float, rates: Sequence[Sequence[float]], first: Sequence[float]
    ) -> None:
        self.fade = fade
        self.count = len(models)
        self.first = np.array(first, dtype=np.float64)
        moves = np.array([model.sets_out is None for model in models])
        self.moves = moves.astype(np.float64)
        self._rates, self._stops = _rates(rates, moves), _rates(rates, ~moves)
        self._same = np.eye(self.count)
        self._pairs = np.triu_indices(self.count, 1)
        self._fades = FADES * (-1.0 / fade)
        parts = np.stack([_standing(model) if model.sets_out else _moving(model, fade) for model in models], axis=1)
        self._f, self._q = (np.ascontiguousarray(parts[:, :, i].reshape(7, -1)) for i in range(2))
        self._on = np.ascontiguousarray(_moving(Model(), fade)[:, 0].reshape(7, 9))

    def begin(self, sigma: float) -> Array:
        """The bank (M, 6, 3) of one who is first seen, at the origin, each axis with this sigma, m."""
        found = np.zeros((self.count, 6, 3))
        found[:, 3, 0], found[:, 4, 1], found[:, 5, 2] = sigma * sigma, FIRST_SPEED**2, FIRST_ACCELERATION**2
        return found

    def transition(self, later_s: Array) -> tuple[Array, Array]:
        """F and Q (K, M, 3, 3) over so long (K,) s."""
        column = later_s[:, None]
        basis = (column**POWERS) * np.exp(column * self._fades)
        shape = (len(later_s), self.count, 3, 3)
        return (basis @ self._f).reshape(shape), (basis @ self._q).reshape(shape)

    def on(self, mean: Array, later_s: Array) -> Array:
        """State (K, 3, 3) so long (K,) s after this mixed state, as one who walks on."""
        column = later_s[:, None]
        basis = (column**POWERS) * np.exp(column * self._fades)
        return (basis @ self._on).reshape(-1, 3, 3) @ mean[:, :3]

    def step(
        self, bank: Array, share: Array, mean: Array, later_s: Array, seen: Array, variance: Array, axes: Array
    ) -> tuple[Array, Array]:
        """`bank` and `share` (K, M) after `later_s` (K,) and after `seen` (K, 3) m with its variance (K,) m² per axis.

        `mean` is the mixed state before; `axes` (K,): how many axes of what is seen are alive.
        """
        bank, share = self._mixed(bank, share, mean, later_s, axes)
        f, q = self.transition(later_s)
        state = f @ bank[:, :, :3]
        covariance = f @ bank[:, :, 3:] @ f.swapaxes(2, 3)
        covariance += q
        miss = state[:, :, :1] - seen[:, None, None]
        row = covariance[:, :, :1]
        spread = row[:, :, 0, 0] + variance[:, None]
        gain = covariance[:, :, :, :1] / spread[:, :, None, None]
        np.subtract(state, gain * miss, out=bank[:, :, :3])
        np.subtract(covariance, gain * row, out=bank[:, :, 3:])
        return bank, self.weighed(share, miss[:, :, 0], spread, axes)

    def mean(self, bank: Array, share: Array) -> Array:
        """Mixed over the models (K, 6, 3); its covariance leaves out how far they are apart."""
        return (share[:, None] @ bank.reshape(len(bank), self.count, 18)).reshape(-1, 6, 3)

    def _mixed(self, bank: Array, share: Array, mean: Array, later_s: Array, axes: Array) -> tuple[Array, Array]:
        """What each model begins from: the others too, as far as one may have gone over to it."""
        speed = mean[:, 1]
        quick = np.add.reduce(speed * speed, axis=1) * QUICK
        weights = (1.0 / (quick * quick + 1.0))[:, None, None] * self._stops
        weights += self._rates
        weights *= np.minimum(later_s, LONGEST_S)[:, None, None]
        weights += self._same
        weights *= share[:, :, None]
        after = np.add.reduce(weights, axis=1)
        weights /= after[:, None]
        mixed = (weights.swapaxes(1, 2) @ bank.reshape(len(bank), self.count, 18)).reshape(bank.shape)
        # how far apart the states are that are mixed: by pairs, so that nothing cancels
        one, other = self._pairs
        off = bank.take(one, axis=1)[:, :, :3] - bank.take(other, axis=1)[:, :, :3]
        apart = off @ (off * (1.0 / axes)[:, None, None, None]).swapaxes(2, 3)
        both = weights.take(one, axis=1) * weights.take(other, axis=1)
        mixed[:, :, 3:] += (both.swapaxes(1, 2) @ apart.reshape(len(bank), -1, 9)).reshape(off.shape[0], -1, 3, 3)
        return mixed, after

    @staticmethod
    def weighed(share: Array, miss: Array, spread: Array, axes: Array) -> Array:
        """Probabilities (K, M) after a miss (K, M, 3) where each model expected this variance (K, M) per axis."""
        likely = np.log(spread)
        likely *= axes[:, None]
        likely += np.add.reduce(miss * miss, axis=2) / spread
        likely *= -0.5
        likely -= np.maximum.reduce(likely, axis=1)[:, None]
        share = share * np.exp(np.maximum(likely, UNLIKELY))
        share /= np.add.reduce(share, axis=1)[:, None]
        return share


def _rates(rates: Sequence[Sequence[float]], to: np.ndarray) -> Array:
    """(M, M) 1/s: the rates of going over `to` (M,) these models, and of leaving each for them."""
    found = np.array(rates, dtype=np.float64) * to
    np.fill_diagonal(found, 0.0)
    np.fill_diagonal(found, -found.sum(axis=1))
    return found


def _standing(model: Model) -> Array:
    """(7, 2, 3, 3) over the functions of time: F stays at the place and forgets speed; Q."""
    found = np.zeros((7, 2, 3, 3))
    assert model.sets_out is not None
    found[0, 0, 0, 0] = 1.0
    found[1, 1, 0, 0] = model.drift**2
    found[0, 1, 1, 1], found[0, 1, 2, 2] = model.sets_out[0] ** 2, model.sets_out[1] ** 2
    return found


def _moving(model: Model, fade: float) -> Array:
    """(7, 2, 3, 3) over the functions of time: F and Q of Singer's model."""
    a = 1.0 / fade
    f = np.zeros((7, 3, 3))
    f[0, 0, 0] = f[0, 1, 1] = f[1, 0, 1] = f[4, 2, 2] = 1.0
    f[[0, 1, 4], 0, 2] = -1 / a**2, 1 / a, 1 / a**2
    f[[0, 4], 1, 2] = 1 / a, -1 / a
    q = np.zeros((7, 3, 3))
    # integrals of the products of the last column of F, times the white noise's density 2 a sigma²
    q[:, 0, 0] = np.array([0.5, a, -(a**2), a**3 / 3, 0, -2 * a, -0.5]) / a**5
    q[:, 0, 1] = np.array([0.5, -a, a**2 / 2, 0, -1, a, 0.5]) / a**4
    q[:, 0, 2] = np.array([0.5, 0, 0, 0, 0, -a, -0.5]) / a**3
    q[:, 1, 1] = np.array([-1.5, a, 0, 0, 2, 0, -0.5]) / a**3
    q[:, 1, 2] = np.array([0.5, 0, 0, 0, -1, 0, 0.5]) / a**2
    q[:, 2, 2] = np.array([0.5, 0, 0, 0, 0, 0, -0.5]) / a
    q *= 2 * a * model.acceleration**2
    q += q.swapaxes(1, 2) * (1 - np.eye(3))
    q[1, 0, 0] += model.drift**2
    return np.stack([f, q], axis=1)


MODELS = Models(
    [Model(drift=0.001, sets_out=(0.4, 1.0)), Model(acceleration=0.5), Model(acceleration=4.0)],
    fade=0.35,
    rates=[[0, 0.05, 0.025], [0.5, 0, 0.5], [0.3, 0.5, 0]],
    first=[0.4, 0.3, 0.3],
)
"""Stands, walks on, and changes its walk. A study of made-up walkers chose them (tools/bench/moving_study.py); the
figures are flat about them: half or twice any of these changes no RMS by more than a tenth, but for the rates at which
one who stands sets out: the more often, the more a standing performer trembles from a noisy tag."""
