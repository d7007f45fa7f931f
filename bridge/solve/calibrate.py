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
from bridge.solve.carry import CarriedPose, CarriedTruss, carried_trusses
from bridge.solve.case import Case, build_case
from bridge.solve.fit import Fit, fit_case
from bridge.solve.judge import in_line, residuals_on_floor, rests_on
from bridge.solve.levels import with_wider_levels, without_levels
from bridge.solve.measurements import Sighting
from bridge.solve.next_marks import next_marks
from bridge.solve.noise import driven_sigma
from bridge.solve.places import performance_points
from bridge.solve.predict import AimError, aim_error
from bridge.solve.result import Calibration, Learned, SolvedFixture, Suspect, point3
from bridge.solve.shared import with_shared_terms
from bridge.solve.suspects import find_suspects
from bridge.solve.trust import accepted, without_share
from bridge.solve.words import nothing_solved_words, unsolved_words

USELESS = 0.75  # a predicted rms aim error beyond this, metres, is no answer
MOVED_M, MOVED_SIGMAS = 0.15, 4.0  # a truss that is further off than either has moved
CHECKED = 3  # marks from which on something is left over to check with


def calibrate(
    fixtures: Sequence[Fixture],
    stage: Stage,
    measured: Sequence[Sighting],
    earlier: Mapping[str, CarriedPose] | None = None,
    carry_only_where_needed: bool = False,
) -> Calibration:
    """Solve a rig. `earlier` are poses from which trusses that kept their shape may be carried over, all of them or
    only those with a head that its own sightings cannot solve and with another that they place somewhere else.

    Raises ShowError on bad sightings and UnsolvableError where no fixture can be solved, each with what would help.
    """
    if not measured:
        raise UnsolvableError("there are no sightings to solve from; " + first_marks_advice(stage))
    trusses = carried_trusses(fixtures, measured, earlier or {}, carry_only_where_needed)
    if carry_only_where_needed and trusses:
        alone = fit_case(build_case(fixtures, stage, measured), stage)
        trusses = [t for t in trusses if truss_moved(t, alone, earlier or {})]
    case = build_case(fixtures, stage, measured, also=[name for truss in trusses for name in truss.names])
    fit = fit_case(case, stage, trusses)
    fit, suspects, learned = _learned(fit, stage)
    points, faces = performance_points(stage), _faces(fit.case)
    terms_on = fit.case.heads.terms_on
    driven = driven_sigma(fit.case.fixtures)
    error = aim_error(fit.poses, fit.cov, points, _face_pairs(faces, terms_on), terms_on, driven)
    good = fit.solved & (error.rms < USELESS)
    if fit.case.border.share_weight > 0 and np.any(good):
        known = aim_error(fit.poses, without_share(fit), points, _face_pairs(faces, terms_on), terms_on, driven)
        learned = replace(learned, share=_share(fit), centring=(_rms(error.rms[good]), _rms(known.rms[good])))
    error = error.stretched(fit.stretch)
    acceptable = accepted(error, fit.case.distinct_marks(), stage.accept)
    unsolved = {fit.case.names[r]: _why_unsolved(fit, int(r)) for r in np.flatnonzero(~good)}
    if not np.any(good):
        raise NothingSolved(nothing_solved_words(list(unsolved.values())))
    blamed = {s.fixture for s in suspects}
    solved = {}
    for r in np.flatnonzero(good):
        name = fit.case.names[r]
        sound = not blamed & {None, name}
        solved[name] = _solved(fit, int(r), error, faces[r], sound, sound and bool(acceptable[r]))
    for name in (f.name for f in fixtures if f.name not in {*solved, *unsolved}):
        unsolved[name] = f"{name}: not sighted yet"
    proposals = next_marks(fit, stage, good, faces)
    advice, notes = advise(fit, stage, solved, unsolved, suspects, proposals, learned)
    marks = {n: point3(fit.points[i]) for i, n in enumerate(fit.case.marks)}
    sigma = {n: float(min(fit.mark_sigma[i], 1e3)) for i, n in enumerate(fit.case.marks)}
    return Calibration(solved, unsolved, marks, sigma, tuple(suspects), proposals, advice, points, notes)


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


def _faces(case: Case) -> list[tuple[int, ...]]:
    return [tuple(sorted({s.face for s in row})) or (1,) for row in case.sightings]


def _face_pairs(faces: Sequence[tuple[int, ...]], terms_on: Mask) -> Rows:
    """Face of each prediction (F, K): the sighted one, and both in turn where any head has both."""
    pairs = np.array([(f[0], f[-1]) for f in faces], dtype=int).reshape(-1, 2)
    return pairs if np.any(terms_on) else pairs[:, :1]


def _solved(fit: Fit, row: int, error: AimError, faces: tuple[int, ...], sound: bool, trusted: bool) -> SolvedFixture:
    case = fit.case
    fixture, R = case.fixtures[row], fit.poses.R[row]
    cov = fit.cov[row] * fit.stretch[row] ** 2
    turn = R @ cov[3:6, 3:6] @ R.T
    has_terms = bool(case.heads.terms_on[row])
    marks = {s.mark for s in case.sightings[row]}
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
        verified=(len(marks) >= CHECKED and not in_line(case, fit.points, row)) or fit.carried.get(row) is not None,
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
