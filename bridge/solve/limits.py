"""The chi-squared above which a head by itself is doubted."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array, Rows
from bridge.solve.heads import HeadBatch

FALSE_ALARM = 0.01  # chance that anything is doubted in a sound rig, shared among the heads
FALSE_ALARM_FEW, FEW = 0.025, 4  # with four marks or fewer a mistake hides better: look sooner (degrees of freedom)

FALSE_SHARE, FREE_OF_IT = 0.05, 2  # of the heads doubted beyond these two, so many may be sound


def limits(heads: HeadBatch, among: int | None = None, doubted: int = 1) -> tuple[Rows, Array]:
    """Degrees of freedom (F,) of each head alone, and the chi-squared (F,) above which it is doubted, as one of as many
    heads (`among`, default all of these) of which so many are `doubted`."""
    dof = heads.data_count - 6
    return dof, limit_of(dof, among or len(heads), doubted)


def limit_of(dof: Rows, among: int, doubted: int = 1) -> Array:
    """The chi-squared (F,) of so many degrees of freedom above which one of `among` heads is doubted."""
    from scipy.special import gammainccinv

    with_dof = 2 * gammainccinv(np.maximum(dof, 1) / 2, _alarm(dof, doubted) / max(among, 1))
    return np.where(dof > 0, with_dof, 1.0)


def doubted_together(chi2: Array, dof: Rows, among: int) -> int:
    """How many of `among` heads are doubted where many are wrong: each lowers the limit of the others.

    After Benjamini and Hochberg (1995, from memory), begun with the third: in a sound rig, and beside one mistake, the
    chance of a false alarm stays what it is. chi2, dof (F,) are of the heads that can be tested.
    """
    from scipy.special import gammaincc

    chance = among * gammaincc(np.maximum(dof, 1) / 2, np.maximum(chi2, 0.0) / 2)
    counts = range(len(chance), 1, -1)
    return next((k for k in counts if np.count_nonzero(chance <= _alarm(dof, k)) >= k), 1)


def _alarm(dof: Rows, doubted: int) -> Array:
    """The chance (F,) that the heads share."""
    return np.maximum(np.where(dof > FEW, FALSE_ALARM, FALSE_ALARM_FEW), FALSE_SHARE * (doubted - FREE_OF_IT))
