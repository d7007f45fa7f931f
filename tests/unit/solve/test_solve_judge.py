"""What a pose is worth beyond its covariance: residuals on the floor, marks in line, what a prior alone supports."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Hang
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import fit_case
from bridge.solve.heads import PoseBatch
from bridge.solve.judge import in_line, miss_on_floor, rests_on
from bridge.solve.levels import with_wider_levels
from bridge.solve.shared import _common
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE


def test_a_residual_is_how_far_on_the_floor_the_beam_lands_from_the_mark() -> None:
    p, mark = np.array([0.0, 0.0, 8.0]), np.array([9.0, 2.0, 0.5])
    R = rigs.rz(0.7) @ rigs.rx(0.3)
    for lands in ([9.4, 2.3, 0.5], [8.0, 2.0, 0.5]):
        beam = np.array(lands) - p
        v = mark - p
        r = R.T @ (v - np.linalg.norm(v) * beam / np.linalg.norm(beam))
        miss = miss_on_floor(PoseBatch.at(p[None], R[None]), 0, r, mark)
        assert miss == pytest.approx(np.linalg.norm(np.array(lands) - mark))


@pytest.mark.parametrize("beam", [[1.0, 0.0, 0.0], [1.0, 0.0, 0.3], [1.0, 0.0, -0.04]])
def test_a_beam_that_does_not_come_down_is_measured_across(beam: list[float]) -> None:
    p, mark = np.array([0.0, 0.0, 8.0]), np.array([9.0, 0.0, 0.0])
    v = mark - p
    r = v - np.linalg.norm(v) * np.array(beam) / np.linalg.norm(beam)
    assert miss_on_floor(PoseBatch.at(p[None], np.eye(3)[None]), 0, r, mark) == pytest.approx(np.linalg.norm(r))


@pytest.mark.parametrize(("aside", "lined"), [(0.0, True), (0.3, True), (1.0, False), (4.0, False)])
def test_marks_are_in_line_to_a_twentieth(aside: float, lined: bool) -> None:
    heads = rigs.rig(np.random.default_rng(1), 1)
    places = [(-5, 3, 0), (0, 3 + aside, 0), (5, 3, 0)]
    case = build_case(rigs.fixtures(heads), rigs.stage(places), rigs.sight(np.random.default_rng(1), heads, places))
    assert in_line(case, case.border.point, 0) is lined


@pytest.mark.parametrize(("at_sigma", "named"), [(0.001, True), (3.0, False)])
def test_a_position_from_the_plot_is_named_where_it_alone_says_where(at_sigma: float, named: bool) -> None:
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 2)
    fixtures = [
        replace(f, at=tuple(h.p), at_sigma=(at_sigma,) * 3) for f, h in zip(rigs.fixtures(heads), heads, strict=True)
    ]
    case = build_case(fixtures, rigs.stage(FIVE), rigs.sight(rng, heads, FIVE))
    told = rests_on(fit_case(case, rigs.stage(FIVE)), 0)
    assert [f"{axis} of the position: at_sigma {at_sigma:.2g} m" in told for axis in "xyz"] == [named] * 3


@pytest.mark.parametrize(("sigma", "named"), [(0.05, True), (2.0, False)])
def test_a_level_is_named_where_it_alone_holds_the_base(sigma: float, named: bool) -> None:
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 2, level_deg=0.05)
    fixtures = [replace(f, hang=Hang(sigma=sigma)) for f in rigs.fixtures(heads)]
    answer = calibrate(fixtures, rigs.stage(FIVE), rigs.sight(rng, heads, FIVE))
    words = f"level of the base: hang.sigma {sigma:.2g} deg"
    assert [words in f.rests_on for f in answer.fixtures.values()] == [named] * 2


def test_terms_that_no_sighting_shows_keep_their_usual_size() -> None:
    """Both faces show tilt zero well; over five marks the pan scale hardly (0.1 % of half a turn is 3 mrad)."""
    rng = np.random.default_rng(4)
    heads = rigs.rig(rng, 2)
    seen = rigs.sight(rng, heads, FIVE, faces=((1, None), (2, (0, 2))))
    told = " ".join(calibrate(rigs.fixtures(heads), rigs.stage(FIVE), seen).fixtures["h0"].rests_on)
    assert "usual size of" in told
    assert "pan_scale" in told
    assert "tilt_zero" not in told


def scatter(count: int, spread: float, variance: float, mean: float, usual: float):
    """What heads report whose own terms are `mean` plus a pattern of exactly `spread`, sighted to `variance`, each
    drawn to 0 by its prior; with the values before that."""
    pattern = np.linspace(-1, 1, count)
    own = mean + pattern * np.sqrt(spread**2 + variance) / np.std(pattern, ddof=1)
    posterior = 1 / (1 / variance + 1 / usual**2)
    return own * posterior / variance, np.full(count, posterior), own


@pytest.mark.parametrize("spread", [0.1, 0.3])
def test_shared_terms_are_those_of_random_effects_with_equal_variances(spread: float) -> None:
    """With equal variances DerSimonian and Laird's estimate has a closed form: the plain mean, the sample variance less
    the variance of one estimate, and the sample variance over the count for the mean's own."""
    usual, variance, count = 1.0, 0.04, 6
    estimate, posterior, own = scatter(count, spread, variance, 2.0, usual)
    mean, sigma = _common(estimate, posterior, usual)
    assert mean == pytest.approx(own.mean())
    expected = np.sqrt(np.var(own, ddof=1) - variance + np.var(own, ddof=1) / count)
    assert sigma == pytest.approx(max(expected, 0.2 * usual))


def test_units_alike_are_still_given_a_fifth_of_the_usual_spread() -> None:
    estimate, posterior, _ = scatter(8, 0.0, 1e-4, 1.0, 1.0)
    assert _common(estimate, posterior, 1.0)[1] == pytest.approx(0.2)


@pytest.mark.parametrize("mean", [0.0, 0.3])
def test_a_common_value_that_is_not_clear_of_its_error_is_not_shared(mean: float) -> None:
    """Six units spread by 0.5: the mean's error is 0.2, and Student's t with five freedoms asks for 6.9 of those."""
    estimate, posterior, _ = scatter(6, 0.5, 0.01, mean, 1.0)
    assert _common(estimate, posterior, 1.0) is None
    estimate, posterior, _ = scatter(6, 0.5, 0.01, 2.0, 1.0)
    assert _common(estimate, posterior, 1.0) is not None


def test_estimates_that_are_their_prior_count_for_nothing() -> None:
    estimate, posterior, _ = scatter(3, 0.0, 1e-4, 1.0, 1.0)
    loose = np.full(5, 0.9)
    assert _common(np.r_[estimate, np.zeros(5)], np.r_[posterior, loose], 1.0) is None


def wider(level_deg: float, said: float = 1.0, seed: int = 25, heads: int = 24):
    rng = np.random.default_rng(seed)
    rig = rigs.rig(rng, heads, level_deg=level_deg)
    fixtures = [replace(f, hang=Hang(sigma=said)) for f in rigs.fixtures(rig)]
    place = rigs.stage(FIVE)
    return with_wider_levels(fit_case(build_case(fixtures, place, rigs.sight(rng, rig, FIVE)), place))


def test_the_scatter_of_levels_is_measured() -> None:
    case, (said, seen) = wider(3.0)
    assert said == pytest.approx(1.0)
    assert seen == pytest.approx(3.0, rel=0.25)
    assert np.degrees(1 / case.heads.level_weight) == pytest.approx(np.full(24, seen))


@pytest.mark.parametrize(("level_deg", "seeds"), [(0.5, 3), (1.0, 3), (12.0, 1)])
def test_levels_that_are_as_said_or_past_belief_are_left_alone(level_deg: float, seeds: int) -> None:
    assert all(wider(level_deg, seed=seed) is None for seed in range(seeds))
