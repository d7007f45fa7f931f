"""What counts as standing on a mark for a second, and what does not."""

from __future__ import annotations

import numpy as np
import pytest

from bridge.errors import Refused
from bridge.solve.standing import standing


def seen(count=60, until_s=10.0, rate=60.0, noise=0.0, speed=0.0, unit=1.0, seed=1):
    """(when, where) around (1, 2, 3), all in `unit`s."""
    rng = np.random.default_rng(seed)
    times = until_s - np.arange(count)[::-1] / rate
    at = np.array([1.0, 2.0, 3.0]) + rng.normal(0, noise, (count, 3)) if noise else np.tile([1.0, 2.0, 3.0], (count, 1))
    at = at + np.outer(speed * (times - times[0]), [1.0, 0.0, 0.0])
    return [(float(t), tuple(float(v) for v in p / unit)) for t, p in zip(times, at, strict=True)]


def test_a_tag_that_stands_gives_its_mean_and_its_sigma_per_axis() -> None:
    found = standing("A", "1/7", seen(noise=0.02), 10.0)
    assert (found.mark, found.point) == ("A", "1/7")
    assert found.at == pytest.approx((1.0, 2.0, 3.0), abs=0.01)
    assert found.sigma == pytest.approx(0.02, rel=0.15)


def test_a_rare_system_is_good_enough() -> None:
    assert standing("A", "1", seen(count=5, rate=5.0), 10.0).at == (1.0, 2.0, 3.0)


def test_shares_of_a_room_may_tremble_by_less() -> None:
    assert standing("A", "1", seen(noise=0.05, unit=5.0), 10.0, shares=True).sigma == pytest.approx(0.01, rel=0.2)
    with pytest.raises(Refused):
        standing("A", "1", seen(noise=0.2, unit=5.0), 10.0, shares=True)
    assert standing("A", "1", seen(noise=0.05), 10.0).sigma > 0.03, "as metres it would pass"


@pytest.mark.parametrize(
    ("given", "reason", "words"),
    [
        ([], "not-heard", "1/7 was not seen within the last second"),
        (seen(until_s=9.5), "not-heard", "1/7 was last seen 0.5 s ago"),
        (seen(count=4, rate=5.0), "too-few", "seen 4 times over 0.6 s of the last second, expected 5 over 0.6 s"),
        (seen(count=20), "too-few", "seen 20 times over 0.3 s"),
        (seen(speed=0.5), "moved", "1/7 moved by 33 cm within the last second, allowed are 10"),
        (seen(noise=0.15), "moved", "trembles by 1"),
    ],
)
def test_what_did_not_stand_is_refused_with_how_much(given, reason, words) -> None:
    with pytest.raises(Refused) as error:
        standing("A", "1/7", given, 10.0)
    assert error.value.reason == reason
    assert words in str(error.value)
