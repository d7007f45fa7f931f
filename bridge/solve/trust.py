"""Which poses may be taken without a person's word: nothing looks wrong, and the predicted error is acceptable."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.fit import Fit
from bridge.solve.predict import AimError

TWO = 2  # marks, with which a crew may begin: their poses are told as unverified instead


def compared_with_accept(rms: ArrayLike, worst_p95: ArrayLike, distinct_marks: Rows) -> Array:
    """The predicted error (F,), metres, that `accept` is a bound for: 95 % at the worst place. Of heads with two marks
    the rms: their level is a guess, hardly one would pass, and a crew must be able to begin with two."""
    return np.asarray(np.where(distinct_marks <= TWO, rms, worst_p95))


def accepted(error: AimError, distinct_marks: Rows, accept: float) -> Mask:
    """Which heads (F,) are predicted to aim within `accept` metres."""
    return np.asarray(compared_with_accept(error.rms, error.worst_p95, distinct_marks) <= accept)


def without_share(fit: Fit) -> Array:
    """Covariance (F, D, D) of the poses if it were known what the hands centred on the marks."""
    if fit.case.border.share_weight <= 0:
        return fit.cov
    variance = max(float(fit.joint.cov_border[-1, -1]), 1e-18)
    return np.asarray(fit.cov - fit.cov_share[:, :, None] * fit.cov_share[:, None, :] / variance)
