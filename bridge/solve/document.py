"""A calibration as plain data: the document of poses.yaml and that of `solve --json` (design/interface.md)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture, Mechanics, Pose
from bridge.solve.carry import other_unit
from bridge.solve.optics import OpticsTables
from bridge.solve.result import Calibration, SolvedFixture
from bridge.solve.words import suspect_words

METRES, DEGREES = 6, 7  # decimals: a micrometre, and angles well below a 16-bit step


def solve_json(calibration: Calibration) -> dict[str, Any]:
    """The one JSON document of `solve --json`; no value in it is NaN or infinite."""
    document = {
        "trusted": calibration.trusted,
        "fixtures": {name: _fixture_json(f) for name, f in calibration.fixtures.items()},
        "unsolved": dict(calibration.unsolved),
        "marks": {name: _round(at) for name, at in calibration.marks.items()},
        "mark_sigma": {name: round(s, METRES) for name, s in calibration.mark_sigma.items()},
        "suspects": [
            {
                "fixture": s.fixture, "mark": s.mark, "kind": s.kind, "instead": s.instead,
                "misfit": round(s.misfit, 4), "sure": s.sure, "text": suspect_words(s), "also": s.also,
            }
            for s in calibration.suspects
        ],
        "next_marks": [_round(m.at, 3) for m in calibration.next_marks],
        "next_mark_gains": [
            {"at": _round(m.at, 3), "before": round(m.before, 4), "after": round(m.after, 4), "fixture": m.fixture}
            for m in calibration.next_marks
        ],
        "aim_error": {"rms": None if calibration.rms is None else round(calibration.rms, METRES)},
        "advice": list(calibration.advice),
        "notes": list(calibration.notes),
    }  # fmt: skip
    return dict(_finite(document))


def _fixture_json(f: SolvedFixture) -> dict[str, Any]:
    return {
        "position": _round(f.position),
        "rotation": _round(f.rotation, 9),
        "faces": list(f.faces),
        "aim_error": _aim_error(f),
        "residuals": {mark: round(miss, METRES) for mark, miss in f.residuals.items()},
        "sigma": _sigma(f),
        "mechanics": mechanics_data(f.mechanics),
        "trusted": f.trusted,
        "verified": f.verified,
        "rests_on": list(f.rests_on),
        "carried_over": f.carried_over,
    }


def _aim_error(f: SolvedFixture) -> dict[str, Any]:
    """What is predicted; nothing for a pose with which something looks wrong: it may miss by many times as much."""
    if not f.sound:
        return dict.fromkeys(("rms", "p95", "worst", "worst_p95", "worst_at"))
    return {
        "rms": round(f.aim_rms, METRES),
        "p95": round(f.aim_p95, METRES),
        "worst": round(f.worst, METRES),
        "worst_p95": round(f.worst_p95, METRES),
        "worst_at": _round(f.worst_at, 3),
    }


def _sigma(f: SolvedFixture) -> dict[str, Any]:
    return {"position": _round(f.position_sigma), "rotation": _round(f.rotation_sigma)}


def mechanics_data(mechanics: Mechanics | None) -> dict[str, float] | None:
    """Terms by name, degrees and metres; None where there are none."""
    return None if mechanics is None else {k: round(v, DEGREES) for k, v in asdict(mechanics).items()}


def poses_document(
    calibration: Calibration,
    fixtures: list[Fixture],
    previous: Mapping[str, Pose],
    previous_marks: Mapping[str, Point3],
    optics: Mapping[str, OpticsTables],
    solved_from: str,
    solved_at: str,
    previous_entries: Mapping[str, Mapping[str, Any]] | None = None,
) -> dict[str, Any]:
    """Everything poses.yaml holds. Fixtures without a new pose keep their old one, with what it was solved from, and
    everything that its entry in the file before (`previous_entries`) held."""
    entries: dict[str, Any] = {}
    for fixture in fixtures:
        solved = calibration.fixtures.get(fixture.name)
        if solved is not None:
            entries[fixture.name] = _new_entry(solved) | ({"unit": fixture.unit} if fixture.unit else {})
        elif fixture.name in previous:
            held = (previous_entries or {}).get(fixture.name, {})
            entries[fixture.name] = {**_old_entry(previous[fixture.name]), **held}
            if other_unit(fixture, previous[fixture.name]):
                entries[fixture.name] |= {"trusted": False, "notes": "of another unit, kept from an earlier solve"}
                entries[fixture.name].pop("accepted", None)
        tables = {**_kept_optics(fixture), **optics.get(fixture.name, {})}
        if fixture.name in entries and tables:
            entries[fixture.name]["optics"] = tables
    marks = {name: _round(at) for name, at in {**previous_marks, **calibration.marks}.items()}
    document = {
        "version": 1, "trusted": calibration.trusted, "solved_from": solved_from, "solved_at": solved_at,
        "marks": marks, "fixtures": entries,
    }  # fmt: skip
    return dict(_finite(document))


def _kept_optics(fixture: Fixture) -> OpticsTables:
    """Tables that an earlier poses.yaml taught and this solve did not see again."""
    out: OpticsTables = {}
    if fixture.zoom_table:
        out["zoom"] = [[v for v in row if v is not None] for row in fixture.zoom_table]
    if fixture.focus_table:
        out["focus"] = [list(row) for row in fixture.focus_table]
    return out


def _new_entry(f: SolvedFixture) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "position": _round(f.position), "rotation": _round(f.rotation, 9), "faces": list(f.faces),
    }  # fmt: skip
    if f.mechanics is not None:
        entry["mechanics"] = mechanics_data(f.mechanics)
    entry |= {
        "trusted": f.trusted,
        "verified": f.verified,
        "sigma": _sigma(f),
        **({"aim_error": _aim_error(f)} if f.sound else {}),
        "residuals": {mark: round(miss, METRES) for mark, miss in f.residuals.items()},
    }
    if f.rests_on:
        entry["rests_on"] = list(f.rests_on)
    if f.carried_over:
        entry["carried_over"] = f.carried_over
    entry["covariance"] = [float(f"{v:.9g}") for v in f.covariance[_LOWER]]
    return entry


_LOWER = tuple(zip(*[(i, j) for i in range(6) for j in range(i + 1)], strict=True))


def covariance_from(values: list[float]) -> list[list[float]]:
    """The symmetric 6 x 6 matrix of the 21 numbers of `covariance` in poses.yaml (rows of the lower triangle)."""
    out = [[0.0] * 6 for _ in range(6)]
    for (i, j), value in zip(zip(*_LOWER, strict=True), values, strict=True):
        out[i][j] = out[j][i] = float(value)
    return out


def _old_entry(pose: Pose) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "position": list(pose.position), "rotation": list(pose.rotation), "faces": list(pose.faces),
        "trusted": pose.trusted, "verified": pose.verified,
    }  # fmt: skip
    if pose.mechanics != Mechanics():
        entry["mechanics"] = mechanics_data(pose.mechanics)
    if pose.position_sigma and pose.rotation_sigma:
        entry["sigma"] = {"position": list(pose.position_sigma), "rotation": list(pose.rotation_sigma)}
    if pose.aim_error_rms is not None and pose.aim_error_p95 is not None:
        entry["aim_error"] = {"rms": pose.aim_error_rms, "p95": pose.aim_error_p95}
    if pose.residuals:
        entry["residuals"] = dict(pose.residuals)
    if pose.unit:
        entry["unit"] = pose.unit
    if pose.accepted:
        entry["accepted"] = pose.accepted
    if pose.solved_from:
        entry["solved_from"] = pose.solved_from
    entry["notes"] = "kept from an earlier solve"
    return entry


def _round(values: Iterable[float], decimals: int = METRES) -> list[float]:
    return [round(float(v), decimals) + 0.0 for v in values]


def _finite(value: Any) -> Any:
    """The same data with anything that JSON cannot say as a very large number made plain."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    return [_finite(v) for v in value] if isinstance(value, list) else value
