"""Redundancy numbers and detectable mistakes against what surveying and circuit theory say of the same networks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import chdtri

from bridge.solve.reliability import block_reliability, unseen_size2


def redundancy(A, weight=None):
    """Redundancy numbers of single measurements (K, D), each of its weight."""
    A = np.asarray(A, float) * np.sqrt(np.ones(len(A)) if weight is None else np.asarray(weight, float))[:, None]
    C = np.linalg.inv(A.T @ A)
    return block_reliability(A[None, :, None, :], C[None], np.eye(A.shape[1])[None], rank=1)


def levelling(lines, points):
    """Height differences between points, the first of them known: one row per line."""
    A = np.zeros((len(lines), points))
    for k, (i, j) in enumerate(lines):
        A[k, i], A[k, j] = -1, 1
    return A[:, 1:]


def test_a_levelling_loop_shares_its_one_redundancy_by_length() -> None:
    """A closed loop of lines has redundancy 1, and each line the share of its length (common surveying practice, from
    memory: misclosure is shared out by length)."""
    lengths = np.array([1.0, 2.0, 3.0, 4.0])
    found, _ = redundancy(levelling([(0, 1), (1, 2), (2, 3), (3, 0)], 4), 1 / lengths)
    assert found[0] == pytest.approx(lengths / lengths.sum())


@pytest.mark.parametrize(
    ("lines", "points", "expected"),
    [
        ([(0, 1), (1, 2), (2, 0)], 3, [1 / 3] * 3),
        ([(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)], 4, [1 / 2] * 6),
        ([(0, 1), (1, 2), (2, 3), (3, 0), (0, 2)], 4, [0.375] * 4 + [0.5]),  # a square with one diagonal
    ],
)
def test_redundancy_in_a_levelling_network_is_one_less_the_resistance_between_its_ends(lines, points, expected) -> None:
    """A levelling network of unit weights is a network of unit resistors: the variance of an adjusted difference is the
    resistance between its ends, and these sum to the points less one (Foster 1949, from memory)."""
    found, _ = redundancy(levelling(lines, points))
    assert found[0] == pytest.approx(expected)
    assert np.sum(found) == pytest.approx(len(lines) - points + 1)


def test_redundancy_in_a_straight_line_is_one_less_the_leverage() -> None:
    """1/n + (x - mean)^2 / Sxx is the leverage of a point (any text on regression)."""
    x = np.array([0.0, 1.0, 2.0, 3.0, 9.0])
    found, _ = redundancy(np.column_stack([np.ones(5), x]))
    assert found[0] == pytest.approx(1 - 1 / 5 - (x - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))


def test_the_effect_of_a_detectable_mistake_is_that_of_external_reliability() -> None:
    """For single measurements the squared effect, in units of what is estimated, is (1 - r) / r per unit of
    non-centrality (Baarda's external reliability, from memory); here in the metric of the normal matrix."""
    A = np.column_stack([np.ones(5), [0.0, 1.0, 2.0, 3.0, 9.0]])
    C = np.linalg.inv(A.T @ A)
    r, effect = block_reliability(A[None, :, None, :], C[None], np.linalg.inv(C)[None], rank=1)
    assert effect[0] == pytest.approx((1 - r[0]) / r[0])


def test_baardas_usual_non_centrality() -> None:
    """0.1 % of false alarm and 80 % of power: a non-centrality of 4.13 squared, 17.07 (Baarda 1968, from memory)."""
    assert unseen_size2(np.array([1]), np.array([chdtri(1, 0.001)])) == pytest.approx([17.07], abs=0.01)
