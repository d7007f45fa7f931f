"""The door of this room: everything a crew measured goes in, poses with bounds, doubts and advice come out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bridge.errors import UnsolvableError
from bridge.geometry.frames import quaternion_from_rotation
from bridge.geometry.mechanics import TERMS
from bridge.geometry.stage import Stage
from bridge.rig.fixture import Fixture, Mechanics
from bridge.solve.advice import advise, first_marks_advice
from bridge.solve.arrays import Array, Mask, Rows
from bridge.solve.carry import CarriedPose, CarriedTruss, carried_trusses, other_unit
from bridge.solve.case import build_case
from bridge.solve.fit import Fit, fit_case
from bridge.solve.judge import residuals_on_floor, rests_on
from bridge.solve.levels import with_wider_levels, without_levels
from bridge.solve.measurements import Sighting
from bridge.solve.next_marks import next_marks
from bridge.solve.noise import driven_sigma
from bridge.solve.patch import check_plot
from bridge.solve.places import performance_points
from bridge.solve.predict import AimError, aim_error
from bridge.solve.reliability import aim_moments
from bridge.solve.result import Calibration, Learned, SolvedFixture, Suspect, point3
from bridge.solve.shared import with_shared_terms
from bridge.solve.suspects import find_suspects
from bridge.solve.truss_doubts import hidden_on_trusses, truss_suspects
from bridge.solve.trust import accepted, without_share
from bridge.solve.verify import fit_reliability
from bridge.solve.words import nothing_solved_words, unsolved_words

USELESS = 0.75  # a predicted rms aim error beyond this, metres, is no answer
MOVED_M, MOVED_SIGMAS = 0.15, 4.0  # a truss that is further off than either has moved


def calibrate(
    fixtures: Sequence[Fixture],
    stage: Stage,
    measured: Sequence[Sighting],
    earlier: Mapping[str, CarriedPose] | None = None,
    carry_only_where_needed: bool = False,
) -> Calibration:
    """The answer of `calibrate_fit` alone."""
    return calibrate_fit(fixtures, stage, measured, earlier, carry_only_where_needed)[0]


def calibrate_fit(
    fixtures: Sequence[Fixture],
    stage: Stage,
    measured: Sequence[Sighting],
    earlier: Mapping[str, CarriedPose] | None = None,
    carry_only_where_needed: bool = False,
) -> tuple[Calibration, Fit]:
    """Solve a rig; the answer, and the fit that it was read from.

    `earlier` are poses from which trusses that kept their shape may be carried over, all of them or only those with a
    head that its own sightings cannot solve and with another that they place somewhere else.

    Raises ShowError on bad sightings and UnsolvableError where no fixture can be solved, each with what would help.
    """
    if not measured:
        raise UnsolvableError("there are no sightings to solve from; " + first_marks_advice(stage))
    earlier = earlier or {}
    fit, suspects, learned = _learned(_fitted(fixtures, stage, measured, earlier, carry_only_where_needed), stage)
    learned = replace(learned, exchanged=_exchanged(fixtures, earlier))
    points, faces, pairs = performance_points(stage), fit.case.faces, fit.case.face_pairs()
    error, centring = _predicted(fit, points, pairs)
    useful = fit.solved & (error.rms < USELESS)
    good = useful | fit.solved & np.isin(np.arange(len(useful)), list(fit.slipped))  # else an older pose would stay
    if centring is not None and np.any(good):
        learned = replace(learned, share=_share(fit), centring=(_rms(error.rms[good]), _rms(centring.rms[good])))
    error = error.stretched(fit.stretch)
    hidden = hidden_on_trusses(fit, aim_moments(fit.poses, points, fit.case.heads.terms_on, pairs))
    verified = fit_reliability(fit, points, pairs).worst <= stage.accept
    suspects, misplaced = check_plot(fit, truss_suspects(fit, verified) + suspects, verified)
    learned = replace(learned, misplaced=misplaced)
    sound = _sound(fit, suspects, hidden <= stage.accept)
    trusted = sound & accepted(error, fit.case.distinct_marks(), stage.accept)
    unsolved = {fit.case.names[r]: _why_unsolved(fit, int(r)) for r in np.flatnonzero(~good)}
    if not np.any(good):
        raise NothingSolved(nothing_solved_words(list(unsolved.values())))
    worth = np.column_stack([sound, trusted, verified])
    rows = np.flatnonzero(good).tolist()
    solved = {fit.case.names[r]: _solved(fit, r, error, faces[r], worth[r]) for r in rows}
    for name in (f.name for f in fixtures if f.name not in {*solved, *unsolved}):
        unsolved[name] = f"{name}: not sighted yet"
    proposals = next_marks(fit, stage, useful if np.any(useful) else good, faces)
    advice, notes = advise(fit, stage, solved, unsolved, suspects, proposals, learned)
    marks = {n: point3(fit.points[i]) for i, n in enumerate(fit.case.marks)}
    sigma = {n: float(min(fit.mark_sigma[i], 1e3)) for i, n in enumerate(fit.case.marks)}
    answer = Calibration(solved, unsolved, marks, sigma, tuple(suspects), proposals, advice, points, notes)
    return answer, fit


def _fitted(
    fixtures: Sequence[Fixture],
    stage: Stage,
    measured: Sequence[Sighting],
    earlier: Mapping[str, CarriedPose],
    only_where_needed: bool,
) -> Fit:
    """The first fit, with the trusses that are carried over."""
    trusses = carried_trusses(fixtures, measured, earlier, only_where_needed)
    if only_where_needed and trusses:
        alone = fit_case(build_case(fixtures, stage, measured), stage)
        trusses = [t for t in trusses if truss_moved(t, alone, earlier)]
    case = build_case(fixtures, stage, measured, also=[name for truss in trusses for name in truss.names])
    return fit_case(case, stage, trusses)


def _predicted(fit: Fit, points: Array, faces: Rows) -> tuple[AimError, AimError | None]:
    """The aim error, and what it would be if it were known what the hands centred, where that is not."""
    terms_on, driven = fit.case.heads.terms_on, driven_sigma(fit.case.fixtures)
    error = aim_error(fit.poses, fit.cov, points, faces, terms_on, driven)
    if fit.case.border.share_weight <= 0:
        return error, None
    return error, aim_error(fit.poses, without_share(fit), points, faces, terms_on, driven)


def _sound(fit: Fit, suspects: Sequence[Suspect], shown: Mask) -> Mask:
    """Heads (F,) with which nothing looks wrong, and of which a move on a truss would have shown (F,)."""
    blamed = [any(s.blames(name) for s in suspects) for name in fit.case.names]
    return ~np.array(blamed, dtype=bool) & shown


def _learned(fit: Fit, stage: Stage) -> tuple[Fit, list[Suspect], Learned]:
    """The fit again with what the rig shows of itself (its level, shared terms), and what looks wrong in it."""
    learned = Learned()
    if (levels := with_wider_levels(fit)) is not None:
        fit = fit_case(levels[0], stage, fit.trusses)
        learned = replace(learned, levels=levels[1])
    if (shared := with_shared_terms(fit)) is not None:
        fit = fit_case(shared[0], stage, fit.trusses)
        learned = replace(learned, shared=tuple(shared[1]))
    suspects = find_suspects(fit, stage)
    if (loose := without_levels(fit, suspects)) is not None:
        fit = fit_case(loose[0], stage, fit.trusses)
        suspects = find_suspects(fit, stage)
        learned = replace(learned, loosened=tuple(loose[1]))
    return fit, suspects, learned


def _exchanged(fixtures: Sequence[Fixture], earlier: Mapping[str, CarriedPose]) -> tuple[str, ...]:
    return tuple(f.name for f in fixtures if f.truss and f.name in earlier and other_unit(f, earlier[f.name].pose))


def _share(fit: Fit) -> tuple[float, float]:
    return fit.joint.estimate.share, float(np.sqrt(fit.joint.cov_border[-1, -1]))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _why_unsolved(fit: Fit, row: int) -> str:
    marks = sorted({s.mark for s in fit.case.sightings[row]})
    return unsolved_words(fit.case.names[row], marks, fits=bool(fit.solved[row]))


class NothingSolved(UnsolvableError):
    """No fixture could be solved; one line for each reason."""

    @property
    def lines(self) -> list[str]:
        return str(self).splitlines()


def truss_moved(truss: CarriedTruss, fit: Fit, earlier: Mapping[str, CarriedPose]) -> bool:
    """Whether heads of a truss that their own sightings solve are somewhere else than before.

    Where none is, nothing says that the truss moved, and a head without sightings keeps the pose it has.
    """
    number = {name: i for i, name in enumerate(fit.case.names)}
    rows = [number[name] for name in truss.names if name in number]
    own = [r for r in rows if fit.solved[r] and not fit.doubtful[r] and fit.case.distinct_marks()[r] >= 2]
    if not own:
        return False
    old = np.array([earlier[fit.case.names[r]].pose.position for r in own])
    shift = np.linalg.norm(fit.poses.p[own] - old, axis=1)
    sigma = np.sqrt(np.trace(fit.cov[own][:, :3, :3], axis1=1, axis2=2))
    return bool(np.median(shift / np.maximum(sigma, MOVED_M / MOVED_SIGMAS)) > MOVED_SIGMAS)


def _solved(fit: Fit, row: int, error: AimError, faces: tuple[int, ...], worth: Mask) -> SolvedFixture:
    """One pose as it is told; `worth` (3,): sound, trusted, verified."""
    sound, trusted, verified = worth.tolist()
    case = fit.case
    fixture, R = case.fixtures[row], fit.poses.R[row]
    cov = fit.cov[row] * fit.stretch[row] ** 2
    turn = R @ cov[3:6, 3:6] @ R.T
    has_terms = bool(case.heads.terms_on[row])
    quaternion = quaternion_from_rotation(R)
    return SolvedFixture(
        name=fixture.name,
        position=point3(fit.poses.p[row]),
        rotation=tuple(float(v) for v in quaternion),  # type: ignore[arg-type]
        faces=faces,
        position_sigma=point3(np.sqrt(np.maximum(np.diag(cov)[:3], 0))),
        rotation_sigma=point3(np.degrees(np.sqrt(np.maximum(np.diag(turn), 0)))),
        aim_rms=float(error.rms[row]),
        aim_p95=float(error.p95[row]),
        worst_at=point3(error.worst[row]),
        worst=float(error.worst_rms[row]),
        worst_p95=float(error.worst_p95[row]),
        by_point=error.by_point[row],
        residuals=residuals_on_floor(fit, row),
        mechanics=_mechanics(fit.poses.terms[row]) if has_terms else None,
        verified=verified,
        trusted=trusted,
        sound=sound,
        rests_on=tuple(rests_on(fit, row)),
        carried_over=fit.carried.get(row),
        covariance=cov[:6, :6],
    )


def _mechanics(terms: Array) -> Mechanics:
    """From rad and metres to the degrees and metres of the files."""
    scale = np.array([np.degrees(1.0)] * 3 + [1.0] * 3)
    return Mechanics(**{name: float(v) for name, v in zip(TERMS, terms * scale, strict=True)})
