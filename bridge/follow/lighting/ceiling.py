"""A ceiling on the light that a target gets, in lux: what a camera's exposure was set for is never exceeded."""

from __future__ import annotations

import numpy as np

from bridge.follow.keeping import Field, Part
from bridge.follow.lighting.evenness import settled_after
from bridge.geometry.frames import Array


class Ceiling(Part):
    """Holds down what all heads of a target give together: E = sum of I / r² at the performer. `held_to` (N,) 0..1.

    Each is dimmed by the same factor, so their balance stays. It is the light at full: master and target level dim
    from there, so that no part of their way is dead. Down at once, up over some 0.3 s. Heads without candela in their
    profile are neither counted nor held down.
    """

    kept = (Field("held_to", "heads", low=0.0, high=1.0),)

    def __init__(self, heads: int, targets: int, at_most_lux: float | None) -> None:
        self._targets, self._at_most_lux = targets, at_most_lux
        self.held_to = np.ones(heads)

    @property
    def active(self) -> bool:
        """There is a ceiling, or there was one until a moment ago."""
        return self._at_most_lux is not None or bool((self.held_to < 1.0).any())

    def hold(self, lux: Array, moves: np.ndarray, counted: np.ndarray, follows: np.ndarray, dt_s: float) -> None:
        """Heads would give `lux` (N,) without it; those that are `counted` take their share of the ceiling.

        What no longer `moves` with its target, a held head, keeps its look, unless the others leave less.
        """
        known = ~np.isnan(lux)
        total = np.bincount(follows, np.where(counted & known, lux, 0.0), minlength=self._targets)
        limit = np.inf if self._at_most_lux is None else self._at_most_lux
        fits = np.minimum(1.0, limit / np.maximum(total, 1e-9))[follows]
        settled = np.where(moves, settled_after(dt_s), 0.0)
        risen = np.minimum(self.held_to + (fits - self.held_to) * settled, 1.0)
        self.held_to = np.where(known, np.minimum(risen, fits), 1.0)
