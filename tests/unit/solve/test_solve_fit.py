"""What the fit says of each head: never below the floor, and errors as large as its contradictions show."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from bridge.geometry.stage import Datum, Mark, Tape
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import Fit, fit_case
from bridge.solve.heads import cost
from bridge.solve.limits import limits
from bridge.solve.predict import aim_error
from bridge.solve.start import floor_under, search, solve_alone
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
    plain = aim_error(fit.poses, fit.cov, answer.points, np.ones((3, 1), dtype=int), fit.case.heads.terms_on)
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
