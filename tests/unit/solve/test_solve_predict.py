"""The predicted aim error: its rms, its 95 % quantile and its worst place against closed forms and a simulation."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import chi2, norm

from bridge.solve.heads import PoseBatch
from bridge.solve.predict import AimError, aim_error
from tests.unit.solve import rigs_for_solve as rigs

POINTS = rigs.grid()


def two_heads(seed: int = 1) -> PoseBatch:
    heads = rigs.rig(np.random.default_rng(seed), 2)
    return PoseBatch.at(np.array([h.p for h in heads]), np.array([h.R for h in heads]))


def predicted(
    poses: PoseBatch, cov: np.ndarray, points: np.ndarray = POINTS, faces: tuple[int, ...] = (1,)
) -> AimError:
    count = len(poses.p)
    return aim_error(poses, cov, points, np.tile(faces, (count, 1)), np.zeros(count, dtype=bool))


def simulated(poses: PoseBatch, row: int, cov: np.ndarray, face: int, draws: int = 20_000) -> np.ndarray:
    """Distances (draws, P) from each point to true beams that scatter by `cov` round the believed pose: aimed with
    plain trigonometry and turned by scipy, nothing from the solver."""
    rng = np.random.default_rng(5)
    step = rng.multivariate_normal(np.zeros(6), cov, draws)
    believed = rigs.Head(poses.p[row], poses.R[row])
    angles = np.radians([believed.angles_to(point, face) for point in POINTS])
    beams = np.array([believed.beam(*pair)[1] for pair in angles]) @ believed.R  # fixture frame
    turned = believed.R @ Rotation.from_rotvec(step[:, 3:]).as_matrix()
    u = np.einsum("dij,pj->dpi", turned, beams)
    v = POINTS - (believed.p + step[:, None, :3])
    return np.linalg.norm(v - u * np.einsum("dpi,dpi->dp", u, v)[..., None], axis=-1)


def test_a_place_known_alike_in_all_directions_misses_as_rayleigh_says() -> None:
    """Only the two parts across the beam miss: 95 % lie within sigma times the root of chi-squared's quantile (2), 1.73
    times the rms (facts/solver.md, "95 % of errors lie within 1.73 of it")."""
    sigma = 0.03
    cov = np.zeros((2, 6, 6))
    cov[:, :3, :3] = sigma**2 * np.eye(3)
    error = predicted(two_heads(), cov)
    assert error.rms == pytest.approx(np.full(2, sigma * np.sqrt(2)), rel=1e-9)
    assert error.p95 == pytest.approx(np.full(2, sigma * np.sqrt(chi2.ppf(0.95, 2))), rel=1e-6)
    assert error.p95 / error.rms == pytest.approx(np.full(2, 1.73), abs=0.005)


@pytest.mark.parametrize("face", [1, 2])
def test_a_turn_about_one_axis_misses_as_the_normal_says(face: int) -> None:
    """A head straight above, beam 8 m down, turned about x: one part across the beam, 95 % within 1.96 sigma."""
    sigma, height = np.radians(0.3), 8.0
    poses = PoseBatch.at(np.array([[0.0, 4.0, height]]), np.eye(3)[None])
    cov = np.zeros((1, 6, 6))
    cov[0, 3, 3] = sigma**2
    error = predicted(poses, cov, np.array([[1e-6, 4.0, 0.0]]), (face,))
    assert error.rms[0] == pytest.approx(height * sigma, rel=1e-6)
    assert error.p95[0] == pytest.approx(height * sigma * norm.ppf(0.975), rel=1e-6)


@pytest.mark.parametrize("face", [1, 2])
def test_a_simulation_misses_as_predicted(face: int) -> None:
    """Any covariance of place and turn: rms at every point, the worst point, and 95 % pooled over all points."""
    rng, poses = np.random.default_rng(3), two_heads()
    size = np.array([0.03, 0.02, 0.04, *np.radians([0.2, 0.15, 0.3])])
    root = rng.standard_normal((2, 6, 6)) / np.sqrt(6) * size[:, None]
    cov = root @ root.swapaxes(1, 2)
    error = predicted(poses, cov, faces=(face,))
    for row in range(2):
        miss = simulated(poses, row, cov[row], face)
        at_points = np.sqrt(np.mean(miss**2, axis=0))
        assert error.by_point[row] == pytest.approx(at_points, rel=0.03)
        assert error.rms[row] == pytest.approx(np.sqrt(np.mean(miss**2)), rel=0.02)
        assert error.p95[row] == pytest.approx(np.quantile(miss, 0.95), rel=0.025)
        assert error.worst_rms[row] == pytest.approx(np.max(at_points), rel=0.03)
        assert error.worst_rms[row] == np.max(error.by_point[row])
        assert np.array_equal(error.worst[row], POINTS[np.argmax(error.by_point[row])])


def test_two_faces_in_turn_are_the_mean_of_both() -> None:
    """Mean of squares at each point; with terms that only one face feels the faces differ."""
    poses = two_heads()
    cov = np.zeros((2, 12, 12))
    cov[:, 3, 3] = cov[:, 6, 6] = np.radians(0.5) ** 2
    cov[:, 3, 6] = cov[:, 6, 3] = -0.9 * np.radians(0.5) ** 2
    on = np.ones(2, dtype=bool)
    one, two, both = (aim_error(poses, cov, POINTS, np.tile(f, (2, 1)), on) for f in ((1,), (2,), (1, 2)))
    assert both.by_point == pytest.approx(np.sqrt((one.by_point**2 + two.by_point**2) / 2), rel=1e-9)
    assert np.max(np.abs(one.rms / two.rms - 1)) > 0.3


def test_errors_that_are_stretched_are_all_stretched() -> None:
    error = predicted(two_heads(), np.tile(np.eye(6) * 1e-4, (2, 1, 1)))
    factor = np.array([1.0, 2.5])
    wide = error.stretched(factor)
    for name in ("rms", "p95", "worst_rms"):
        assert getattr(wide, name) == pytest.approx(getattr(error, name) * factor), name
    assert wide.by_point == pytest.approx(error.by_point * factor[:, None])
    assert np.array_equal(wide.worst, error.worst)
