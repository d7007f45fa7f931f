"""Mechanical terms that all heads of a type share: what some heads show on both faces helps the others.

Random effects over the heads of one profile (DerSimonian and Laird 1986, from memory): a common value and the spread of
the units round it. A term is shared only where its common value stands clear of its own uncertainty; then it becomes
the expectation of every head of that profile, those sighted on one face included, with the units' spread as its sigma.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bridge.geometry.mechanics import TERMS
from bridge.solve.arrays import Array
from bridge.solve.case import Case
from bridge.solve.fit import Fit
from bridge.solve.heads import TERM_SIGMA
from bridge.solve.result import SharedTerms

LEAST_HEADS = 4
CHANCE = 5e-4  # that units without a common value are taken to have one, each side and term (Student's t)
LEAST_SPREAD = 0.2  # of the usual sigma: units of a type are never quite alike


def with_shared_terms(fit: Fit) -> tuple[Case, list[SharedTerms]] | None:
    """The case with shared expectations, and what is shared; None where nothing is."""
    case = fit.source
    sound = fit.solved & case.heads.terms_on & (fit.chi2 <= fit.limit)
    prior, weight, on = case.heads.terms_prior.copy(), case.heads.terms_weight.copy(), case.heads.terms_on.copy()
    found = []
    profiles = np.array([f.profile.name for f in case.fixtures])
    for profile in dict.fromkeys(profiles[sound]):
        rows = np.flatnonzero(sound & (profiles == profile))
        if len(rows) < LEAST_HEADS:
            continue
        terms = {}
        everyone = profiles == profile
        for j, term in enumerate(TERMS):
            common = _common(fit.poses.terms[rows, j], fit.cov[rows, 6 + j, 6 + j], float(TERM_SIGMA[j]))
            if common is not None:
                prior[everyone, j], weight[everyone, j] = common[0], 1 / common[1]
                terms[term] = common[0] if j >= 3 else float(np.degrees(common[0]))
        if terms:
            on |= everyone
            found.append(SharedTerms(str(profile), len(rows), terms))
    if not found:
        return None
    heads = replace(case.heads, terms_prior=prior, terms_weight=weight, terms_on=on)
    return replace(case, heads=heads), found


def _common(estimate: Array, variance: Array, usual: float) -> tuple[float, float] | None:
    """Common value and sigma to expect of a unit, from estimates that each lean on a prior of 0 within `usual`."""
    information = 1 / np.maximum(variance, 1e-18) - 1 / usual**2  # what the sightings alone say
    firm = information > 0.5 / usual**2
    if np.count_nonzero(firm) < LEAST_HEADS:
        return None
    w = information[firm]
    y = estimate[firm] / variance[firm] / w
    from scipy.special import stdtrit

    mean = float(np.sum(w * y) / np.sum(w))
    excess = np.sum(w * (y - mean) ** 2) - (len(y) - 1)
    spread2 = max(0.0, excess / (np.sum(w) - np.sum(w**2) / np.sum(w)))
    w = 1 / (1 / w + spread2)
    mean, error = float(np.sum(w * y) / np.sum(w)), float(1 / np.sqrt(np.sum(w)))
    if abs(mean) < stdtrit(len(y) - 1, 1 - CHANCE) * error:
        return None
    return mean, float(np.clip(np.sqrt(spread2 + error**2), LEAST_SPREAD * usual, usual))
