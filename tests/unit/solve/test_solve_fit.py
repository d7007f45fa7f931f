"""What the fit says of each head: never below the floor, and errors as large as its contradictions show."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from bridge.geometry.stage import Datum, Mark, Tape
from bridge.solve.alone import refine
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import Fit, fit_case
from bridge.solve.heads import PoseBatch, cost, exp_so3, normal
from bridge.solve.joint import Estimate, Joint
from bridge.solve.limits import limits
from bridge.solve.measurements import Sighting
from bridge.solve.noise import driven_sigma
from bridge.solve.predict import aim_error
from bridge.solve.start import floor_under, search, solve_alone
from bridge.solve.together import point_sigma
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE
MOUNTS = pytest.mark.parametrize("mount", ["hanging", "standing", "side"])


def with_one_buried(mount: str, marks: int = 5, hand: float = 0.0):
    """Three heads whose sightings are those of heads as they hang, but for h1: of one four metres below the floor."""
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 3, mount)
    heads[1] = replace(heads[1], p=heads[1].p * [1, 1, 0] + [0, 0, -4.0])
    return rigs.fixtures(heads, mount), rigs.stage(FIVE[:marks]), rigs.sight(rng, heads, FIVE[:marks], hand)


def fitted(*parts) -> Fit:
    fixtures, stage, sightings = parts
    return fit_case(build_case(fixtures, stage, sightings), stage)


@MOUNTS
@pytest.mark.parametrize("unstarted_only", [False, True])
def test_sightings_that_fit_below_the_floor_alone_are_a_bad_fit(mount: str, unstarted_only: bool) -> None:
    case = build_case(*with_one_buried(mount))
    heads = case.alone(case.border.point, np.full(5, 0.01))
    poses, chi = solve_alone(heads, case.hang, case.hints, limits(heads)[1], unstarted_only)
    assert np.all(poses.p[np.isfinite(chi), 2] >= floor_under(heads)[np.isfinite(chi)])
    assert chi[1] > 1e3
    assert np.all(chi[[0, 2]] < 10)
    assert cost(heads, poses)[np.isfinite(chi)] == pytest.approx(chi[np.isfinite(chi)])


@MOUNTS
def test_the_wide_search_stays_above_the_floor(mount: str) -> None:
    case = build_case(*with_one_buried(mount))
    heads = case.alone(case.border.point, np.full(5, 0.01))
    poses, chi = search(heads, case.hints)
    assert np.all(poses.p[:, 2] >= floor_under(heads))
    assert cost(heads, poses) == pytest.approx(chi)
    assert chi[1] > 1e3


def test_the_floor_is_a_little_below_the_lowest_mark_sighted() -> None:
    """Slots without a sighting repeat the first mark and do not count; nor does a mark that others sighted."""
    rng = np.random.default_rng(2)
    heads, places = rigs.rig(rng, 2), [(-6, 0, 1.0), (6, 0, 1.5), (0, 8, -2.0)]
    sightings = [s for s in rigs.sight(rng, heads, places) if s.fixture == "h0" or s.mark != "C"]
    case = build_case(rigs.fixtures(heads), rigs.stage(places), sightings)
    assert floor_under(case.heads) == pytest.approx([-2.3, 0.7])


@pytest.mark.parametrize(("mount", "marks"), [("hanging", 3), ("standing", 4), ("side", 5)])
def test_a_head_that_fits_below_the_floor_alone_is_doubted_and_not_put_there(mount: str, marks: int) -> None:
    fit = fitted(*with_one_buried(mount, marks))
    assert np.all(fit.poses.p[fit.solved, 2] > -0.3)
    assert list(fit.doubtful) == [False, True, False]


def test_a_head_that_fits_below_the_floor_alone_is_a_suspect() -> None:
    """It was called trusted, verified and good to 3 cm at a place four metres off, for below the floor all fitted."""
    answer = calibrate(*with_one_buried("side"))
    assert [s.fixture for s in answer.suspects] == ["h1"]
    assert not answer.fixtures["h1"].trusted
    assert answer.fixtures["h0"].trusted


def test_two_marks_seen_from_below_the_floor_solve_nothing() -> None:
    answer = calibrate(*with_one_buried("hanging", 2))
    assert set(answer.fixtures) == {"h0", "h2"}


def test_where_marks_are_not_surveyed_a_head_below_the_floor_is_left_out_and_told() -> None:
    fixtures, _, sightings = with_one_buried("hanging", 4, hand=0.005)
    tapes = tuple(
        Tape(ends, float(np.linalg.norm(np.subtract(FIVE[a], FIVE[b]))))
        for ends, a, b in ((("A", "B"), 0, 1), (("A", "C"), 0, 2), (("B", "D"), 1, 3))
    )
    marks = [Mark(n, None, height=0.0) for n in "ABCD"]
    answer = calibrate(fixtures, rigs.stage(marks, datum=Datum("A", "B"), tapes=tapes), sightings)
    assert set(answer.fixtures) == {"h0", "h2"}
    assert "above the floor" in answer.unsolved["h1"]
    assert np.allclose(answer.marks["C"], (12, 8, 0), atol=0.05)


def test_a_joint_solve_that_sinks_a_head_does_not_bury_it() -> None:
    """All heads contradict their marks, so that none can be left out of the joint solve."""
    rng = np.random.default_rng(1)
    heads = [replace(h, p=h.p * [1, 1, 0] + [0, 0, -3.0]) for h in rigs.rig(rng, 3)]
    fit = fitted(rigs.fixtures(heads), rigs.stage(FIVE), rigs.sight(rng, heads, FIVE, hand=0.0))
    assert np.all(fit.poses.p[:, 2] > -0.3)
    assert np.all(fit.doubtful)


def one_wrong(tilt: float = 3.0):
    rng = np.random.default_rng(4)
    heads = rigs.rig(rng, 3)
    good = rigs.sight(rng, heads, FIVE)
    wrong = [replace(s, tilt=s.tilt + tilt) if (s.fixture, s.mark) == ("h1", "C") else s for s in good]
    return rigs.fixtures(heads), rigs.stage(FIVE), wrong


def test_errors_grow_by_the_root_of_the_variance_factor_where_sightings_contradict_each_other() -> None:
    """The standard deviation of unit weight a posteriori, sqrt(v' P v / r), of any text on adjustment (from memory,
    e.g. Ghilani, Adjustment Computations): over one head's sightings, its level and its degrees of freedom."""
    parts = one_wrong()
    fit = fitted(*parts)
    assert list(fit.doubtful) == [False, True, False]
    assert fit.dof[1] == 2 * 5 + 2 - 6
    factor = np.sqrt(fit.chi2[1] / 6)
    assert 2 < factor < 10
    assert fit.stretch == pytest.approx([1, factor, 1])
    answer = calibrate(*parts)
    faces, driven = np.ones((3, 1), dtype=int), driven_sigma(fit.case.fixtures)
    motors = aim_error(fit.poses, 0 * fit.cov, answer.points, faces, fit.case.heads.terms_on, driven)
    assert np.all(motors.rms < 0.002), "16-bit motors without play hardly count"
    plain = aim_error(fit.poses, fit.cov, answer.points, faces, fit.case.heads.terms_on, driven)
    for row, times in enumerate((1, factor, 1)):
        f = answer.fixtures[f"h{row}"]
        assert f.aim_rms == pytest.approx(plain.rms[row] * times)
        assert f.aim_p95 == pytest.approx(plain.p95[row] * times)
        assert f.worst == pytest.approx(plain.worst_rms[row] * times)
        assert f.covariance == pytest.approx(fit.cov[row][:6, :6] * times**2)
        assert f.position_sigma == pytest.approx(np.sqrt(np.diag(fit.cov[row])[:3]) * times)


def test_a_stretch_is_tenfold_at_most_and_never_shrinks_nor_counts_without_freedom() -> None:
    fit = fitted(*one_wrong())
    ones = np.ones(3)
    wild = replace(fit, chi2=1e6 * ones, dof=np.array([6, 0, 6]), solved=np.array([True, True, False]))
    assert wild.stretch == pytest.approx([10, 1, 1])
    assert replace(fit, chi2=3 * ones, limit=ones, dof=np.full(3, 6)).stretch == pytest.approx(ones)
    assert replace(fit, chi2=24 * ones, limit=25 * ones, dof=np.full(3, 6)).stretch == pytest.approx(ones)


@pytest.mark.parametrize(("marks", "alarm"), [(3, 0.025), (4, 0.025), (5, 0.01), (6, 0.01)])
def test_one_sound_rig_in_a_hundred_or_forty_is_doubted_whatever_its_size(marks: int, alarm: float) -> None:
    """Bonferroni: the chance is shared among the heads; quantiles from scipy.stats."""
    rng = np.random.default_rng(1)
    heads, places = rigs.rig(rng, 4), [*FIVE, (2, 2, 0)][:marks]
    case = build_case(rigs.fixtures(heads), rigs.stage(places), rigs.sight(rng, heads, places))
    for among, count in ((None, 4), (40, 40)):
        dof, limit = limits(case.heads, among)
        assert list(dof) == [2 * marks - 4] * 4
        assert limit == pytest.approx(np.full(4, chi2.isf(alarm / count, 2 * marks - 4)))
    assert limits(replace(case.heads, level_weight=np.zeros(4)))[0][0] == 2 * marks - 6
    assert limits(replace(case.heads, at_weight=np.ones((4, 3))))[0][0] == 2 * marks - 1


@pytest.mark.parametrize("marks", [3, 4, 5])
def test_sightings_that_mean_nothing_put_no_head_below_the_floor(marks: int) -> None:
    """Random angles of 200 hanging heads, all beams pointing down, so that each has a start: many sink from there."""
    rng, count = np.random.default_rng(marks), 200
    angles = np.column_stack([rng.uniform(-180, 180, count * marks), rng.uniform(3, 84, count * marks)])
    sightings = [Sighting(f"h{k // marks}", rigs.NAMES[k % marks], *map(float, pair)) for k, pair in enumerate(angles)]
    case = build_case(rigs.fixtures([None] * count), rigs.stage(FIVE[:marks]), sightings)
    heads = case.alone(case.border.point, np.full(marks, 0.01))
    poses, chi = solve_alone(heads, case.hang, case.hints, np.full(count, np.inf), unstarted_only=True)
    started = np.isfinite(chi)
    assert np.all(poses.p[started, 2] >= floor_under(heads)[started])
    assert np.count_nonzero(~started) > 0


def test_two_sightings_that_the_hang_cannot_make_are_refused() -> None:
    """A hanging head that points 5 deg up at both marks: its level contradicts it by some 250 of chi-squared."""
    flat = [Sighting("h0", "A", 0.0, 95.0), Sighting("h0", "B", 40.0, 95.0)]
    fit = fitted(rigs.fixtures([None]), rigs.stage(FIVE[:2]), flat)
    assert not fit.solved[0]
    assert np.isinf(fit.chi2[0])
    good = rigs.sight(np.random.default_rng(1), rigs.rig(np.random.default_rng(1), 1), FIVE[:2])
    assert fitted(rigs.fixtures([None]), rigs.stage(FIVE[:2]), good).solved[0]


@pytest.mark.parametrize(("at_sigma", "solved"), [((np.inf, np.inf, 0.02), False), ((0.02, 0.02, 0.02), True)])
def test_one_mark_is_enough_only_with_the_whole_position(at_sigma: tuple[float, ...], solved: bool) -> None:
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 2)
    seen = [s for s in rigs.sight(rng, heads, FIVE) if s.fixture == "h0" or s.mark == "A"]
    fixtures = rigs.fixtures(heads)
    fixtures[1] = replace(fixtures[1], at=tuple(heads[1].p), at_sigma=at_sigma)
    fit = fitted(fixtures, rigs.stage(FIVE), seen)
    assert list(fit.solved) == [True, solved]


def test_a_poor_survey_is_allowed_for_where_one_head_sees_the_marks() -> None:
    """Marks 5 cm off, as said, and beams put on them to 5 mm: nothing contradicts anything."""
    doubts = 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        heads = rigs.rig(rng, 1)
        survey = np.array(FIVE) + 0.05 * rng.standard_normal((5, 3))
        marks = [Mark(n, tuple(at), sigma=0.05) for n, at in zip("ABCDE", survey.tolist(), strict=True)]
        place, seen = rigs.stage(marks, aim_sigma=0.005), rigs.sight(rng, heads, FIVE, hand=0.005)
        doubts += int(np.count_nonzero(fitted(rigs.fixtures(heads), place, seen).doubtful))
    assert doubts == 0


def test_the_sigma_of_a_point_is_the_mean_of_its_plan_axes() -> None:
    points = np.zeros((2, 3))
    estimate = Estimate(PoseBatch.at(np.zeros((0, 3)), np.zeros((0, 3, 3))), points, points[:0], np.zeros((0, 3, 3)))
    joint = Joint(
        estimate, 0.0, np.zeros((0, 6, 6)), np.diag([1.0, 7.0, 99.0, 4.0, 14.0, 99.0, 5.0, 5.0]), np.zeros((0, 6, 8))
    )
    assert point_sigma(joint) == pytest.approx([2.0, 3.0])


def test_the_survey_test_is_what_freeing_the_mark_brings() -> None:
    """Deletion statistic: chi-squared of everything less that of everything without this one survey (least squares)."""
    rng = np.random.default_rng(7)
    heads = rigs.rig(rng, 3)
    wrong = [*FIVE[:2], (6.1, 8.05, 0), *FIVE[3:], (3.0, 1.0, 0.0)]  # F is sighted by nobody
    place = rigs.stage(wrong)
    case = build_case(rigs.fixtures(heads), place, rigs.sight(rng, heads, FIVE))
    fit = fit_case(case, place)
    for mark in range(5):
        weight = case.border.point_weight.copy()
        weight[mark, :2] = 1e-4
        freed = fit_case(replace(case, border=replace(case.border, point_weight=weight)), place)
        assert np.array_equal(freed.coupled, fit.coupled)
        assert fit.survey_test[mark] == pytest.approx(fit.joint.chi2 - freed.joint.chi2, rel=0.05, abs=0.02)
    assert np.argmax(fit.survey_test) == 2
    assert fit.survey_test[5] == 0.0


def test_a_head_left_out_is_as_uncertain_as_the_marks_and_the_hand_leave_it() -> None:
    fixtures, _, sightings = one_wrong(tilt=30.0)
    marks = [Mark(n, tuple(map(float, at)), sigma=0.1) for n, at in zip("ABCDE", FIVE, strict=True)]
    fit = fitted(fixtures, rigs.stage(marks), sightings)
    assert list(fit.coupled) == [True, False, True]
    assert np.min(fit.mark_sigma) > 0.03
    row = np.array([1])
    for sigma, share in ((fit.mark_sigma, 1.0), (np.zeros(5), 0.5)):
        _, H, *_ = normal(fit.case.alone(fit.points, sigma).take(row), fit.poses.take(row))
        alone = np.trace(np.linalg.inv(H[0])[:3, :3])
        spread = np.trace(fit.cov[1, :3, :3])
        assert alone == pytest.approx(spread, rel=0.01) if share == 1.0 else alone < share * spread


def test_what_one_head_and_two_marks_say_of_a_survey_is_nothing() -> None:
    rng = np.random.default_rng(8)
    heads = rigs.rig(rng, 1)
    fit = fitted(rigs.fixtures(heads), rigs.stage(FIVE[:2]), rigs.sight(rng, heads, FIVE[:2]))
    assert fit.survey_test == pytest.approx([0, 0], abs=1e-6)


def test_the_nearest_minimum_is_reached_from_far_and_chi_squared_never_grows() -> None:
    """Started up to 7 m and 80 deg off; every head gets home, for its sightings have no noise."""
    rng = np.random.default_rng(9)
    heads = rigs.rig(rng, 60)
    case = build_case(rigs.fixtures(heads), rigs.stage(FIVE), rigs.sight(rng, heads, FIVE, hand=0.0))
    batch = replace(case.heads, level_weight=np.zeros(60))
    p = np.array([h.p for h in heads]) + rng.uniform(-4, 4, (60, 3))
    turn = exp_so3(np.radians(80) * rng.uniform(-1, 1, (60, 3)) / np.sqrt(3))
    start = PoseBatch.at(p, np.array([h.R for h in heads]) @ turn)
    poses, chi = refine(batch, start)
    assert np.all(chi <= cost(batch, start))
    assert chi == pytest.approx(cost(batch, poses), abs=1e-9)
    assert np.max(np.linalg.norm(poses.p - [h.p for h in heads], axis=1)) < 1e-3
