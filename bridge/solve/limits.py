"""The chi-squared above which a head by itself is doubted."""

from __future__ import annotations

import numpy as np

from bridge.solve.arrays import Array, Rows
from bridge.solve.heads import HeadBatch

FALSE_ALARM = 0.01  # chance that anything is doubted in a sound rig, shared among the heads
FALSE_ALARM_FEW, FEW = 0.025, 4  # with four marks or fewer a mistake hides better: look sooner (degrees of freedom)


def limits(heads: HeadBatch, among: int | None = None) -> tuple[Rows, Array]:
    """Degrees of freedom (F,) of each head alone, and the chi-squared (F,) above which it is doubted, as one of as many
    heads (`among`, default all of these)."""
    dof = heads.data_count - 6
    return dof, limit_of(dof, among or len(heads))


def limit_of(dof: Rows, among: int) -> Array:
    """The chi-squared (F,) of so many degrees of freedom above which one of `among` heads is doubted."""
    from scipy.special import gammainccinv

    alarm = np.where(dof > FEW, FALSE_ALARM, FALSE_ALARM_FEW) / max(among, 1)
    with_dof = 2 * gammainccinv(np.maximum(dof, 1) / 2, alarm)
    return np.where(dof > 0, with_dof, 1.0)
