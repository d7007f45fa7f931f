"""`tetherlight solve SHOW`: poses from sightings, with what they are worth, what looks wrong and what to do next."""

from __future__ import annotations

import argparse
import hashlib
import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # numpy and rich are read when the command runs, not when the parser is built
    from bridge.errors import UnsolvableError
    from bridge.geometry.frames import Array
    from bridge.show import Show
    from bridge.solve.carry import CarriedPose
    from bridge.solve.result import Calibration, SolvedFixture

Entries = dict[str, dict[str, Any]]  # fixture -> its entry in poses.yaml as it stands there


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of this command."""
    parser.add_argument("show", metavar="SHOW", help="the show folder")
    parser.add_argument("--dry-run", action="store_true", help="solve and tell, write nothing into the show folder")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument(
        "--maps", action="store_true", help="with --json: also maps of the predicted aim error, for a focus session"
    )
    parser.add_argument("--report", metavar="FILE.html", help="also write a page to hand to the next crew")
    parser.add_argument(
        "--from",
        dest="earlier",
        metavar="OTHER_SHOW",
        help="a show whose poses tell the shape of trusses that kept it; may be SHOW itself",
    )


def run(args: argparse.Namespace) -> int:
    """Solve, tell, write poses.yaml unless --dry-run. Returns 0; errors carry the other exit codes."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # small matrices: more threads only get in each other's way
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from bridge.errors import UnsolvableError
    from bridge.show.damaged import kept_as, load_for_solve, set_aside
    from bridge.solve.calibrate import calibrate_fit
    from bridge.solve.document import poses_document, solve_json
    from bridge.solve.optics import learned_optics

    show, damage = load_for_solve(Path(args.show))
    entries = _entries(show)
    earlier = _earlier(Path(args.earlier)) if args.earlier else _carried(show, entries)
    try:
        calibration, fit = calibrate_fit(
            show.fixtures, show.stage, show.sightings, earlier, carry_only_where_needed=not args.earlier
        )
    except UnsolvableError as error:
        if not (args.json and args.maps):
            raise
        _tell_first(show, error)
        return error.exit_code
    calibration = replace(calibration, advice=(*calibration.advice, *_off_the_plot(show, calibration)))
    now = datetime.now(UTC).isoformat(timespec="seconds")
    damaged = kept_as(show.path, now[:10]) if damage else None
    if damaged is not None:
        told = _damage_words(damage, damaged, args.dry_run)
        show = replace(show, warnings=(*show.warnings, *told))
        calibration = replace(calibration, advice=(*told, *calibration.advice))
    if args.report:  # first: where it cannot be written, poses.yaml stays as it was
        _write_report(Path(args.report), show, calibration, now)
    if not args.dry_run:
        from bridge.show.poses_of import document_of
        from bridge.show.store import save_poses

        optics = learned_optics(show.fixtures, show.sightings, calibration)
        document = poses_document(
            calibration, list(show.fixtures), show.poses, show.solved_marks, optics, solved_from(show), now, entries
        )
        if damaged is not None:
            set_aside(show.path, damaged)
        save_poses(show.path, {**document, "of": document_of(show, calibration.fixtures, now)})
    if args.json:
        answer = {**solve_json(calibration), "warnings": list(show.warnings)}
        if args.maps:
            from bridge.solve.focus_json import focus_json

            answer |= focus_json([f.name for f in show.fixtures], calibration, fit, show.stage)
        print(json.dumps(answer, indent=None if args.maps else 2, allow_nan=False))
    else:
        _tell(show, calibration, written=not args.dry_run)
    return 0


def _tell_first(show: Show, error: UnsolvableError) -> None:
    """Where nothing could be solved: why, and which marks to sight first."""
    from bridge.solve.focus_json import unsolved_json

    told = unsolved_json(show.fixtures, show.stage, show.sightings, error.lines)
    print(json.dumps({"errors": error.lines, **told, "warnings": list(show.warnings)}, allow_nan=False))


def _off_the_plot(show: Show, calibration: Calibration) -> list[str]:
    """Heads that lie elsewhere than the plot has them, and of which nothing worse was told."""
    from bridge.show.plot import off_the_plot

    places = {
        name: solved.position
        for name, solved in calibration.fixtures.items()
        if not any(suspect.blames(name) for suspect in calibration.suspects)
    }
    verified = {name for name, solved in calibration.fixtures.items() if solved.verified}
    return [f"{name}: {text}" for name, text in off_the_plot(show.fixtures, places, verified).items()]


def solved_from(show: Show) -> str:
    """A hash of all that the poses depend on: sightings, rig, marks, tapes."""
    stage = show.stage
    parts = [
        sorted((s.fixture, s.mark, s.pan, s.tilt) for s in show.sightings),
        [(f.name, f.hang, f.at, f.at_sigma, f.truss, f.profile.pan, f.profile.tilt) for f in show.fixtures],
        sorted((n, m.at, m.sigma, m.height, m.height_sigma) for n, m in stage.marks.items()),
        stage.tapes,
        stage.datum,
        stage.aim_sigma,
    ]
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def _earlier(folder: Path) -> dict[str, CarriedPose]:
    from bridge.errors import InputError
    from bridge.show import load

    other = load(folder, with_sightings=False)
    carried = _carried(other, _entries(other))
    if not carried:
        raise InputError(f"{folder}: has no poses to carry over; expected a show folder with a solved poses.yaml")
    return carried


def _damage_words(damage: list[str], kept: Path, dry: bool) -> list[str]:
    verb = "would be kept" if dry else "is kept"
    return [f"poses.yaml is DAMAGED, so it {verb} as {kept.name} and its poses are not used:", *damage]


def _carried(show: Show, entries: Entries) -> dict[str, CarriedPose]:
    """Poses with the covariances that an earlier solve left beside them."""
    from bridge.solve.carry import CarriedPose

    covariances = _covariances(entries)
    return {name: CarriedPose(pose, covariances.get(name)) for name, pose in show.poses.items() if pose.trusted}


def _entries(show: Show) -> Entries:
    """Everything that poses.yaml holds of each head, also what the loader passes over."""
    from bridge.show.folder import read_tree
    from bridge.show.problems import Bad

    try:
        fixtures = read_tree(show.path / "poses.yaml")[0].get("fixtures") if show.poses else None
    except Bad:  # gone since it was loaded
        return {}
    found = fixtures.plain() if fixtures is not None else {}
    return {name: entry for name, entry in found.items() if isinstance(entry, dict)}


def _covariances(entries: Entries) -> dict[str, Array]:
    """`covariance` is for the solver alone, so the loader passes over it; one that makes no sense is left out."""
    import numpy as np

    from bridge.solve.document import covariance_from

    out: dict[str, Array] = {}
    for name, entry in entries.items():
        values = entry.get("covariance")
        if isinstance(values, list) and len(values) == 21 and all(isinstance(v, int | float) for v in values):
            matrix = np.array(covariance_from(values))
            if np.all(np.isfinite(matrix)) and np.min(np.linalg.eigvalsh(matrix)) > -1e-9:
                out[name] = matrix
    return out


def _write_report(path: Path, show: Show, calibration: Calibration, now: str) -> None:
    from bridge.errors import InputError
    from bridge.solve.report import report_html

    text = report_html(show.name, show.fixtures, show.stage, calibration, now)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path}: the report cannot be written: {error.strerror or error}") from error


def _tell(show: Show, calibration: Calibration, written: bool) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console(width=None if os.isatty(1) else 140, highlight=False)
    table = Table(
        title=f"{escape(show.name or show.path.name)}: poses from {len(show.sightings)} sightings", title_justify="left"
    )
    for heading in ("fixture", "position m", "sigma cm", "aim rms", "95 %", "worst, at", "residuals cm", "rests on"):
        table.add_column(heading)
    for f in calibration.fixtures.values():
        table.add_row(
            f.name + _state(f),
            " ".join(f"{v:.2f}" for v in f.position),
            " ".join(f"{100 * v:.0f}" for v in f.position_sigma),
            *_predicted(f),
            " ".join(f"{mark} {100 * miss:.1f}" for mark, miss in f.residuals.items()),
            "; ".join(f.rests_on),
        )
    console.print(table)
    if calibration.rms is not None:
        console.print(
            "Predicted aim error over the performance polygon, of all fixtures that nothing looks wrong with:"
            f" {100 * calibration.rms:.1f} cm rms."
        )
    warnings = [line for line in show.warnings if line not in calibration.advice]
    for heading, lines in (("Notes", calibration.notes), ("Advice", calibration.advice), ("Warnings", warnings)):
        if lines:
            console.print(f"\n{heading}:")
            for line in lines:
                console.print(f"  - {escape(line)}", soft_wrap=True)
    trusted = "trusted" if calibration.trusted else "NOT trusted until the doubts above are settled"
    where = f"poses.yaml written, {trusted}" if written else f"nothing written (--dry-run); these poses are {trusted}"
    console.print(f"\n{where}.", soft_wrap=True)


def _state(f: SolvedFixture) -> str:
    """What keeps a pose from being as good as one can be; a sound one may be predicted to miss by more than accept."""
    if not f.sound:
        return " (doubted)"
    return " (not accepted)" if not f.trusted else "" if f.verified else " (unverified)"


def _predicted(f: SolvedFixture) -> tuple[str, str, str]:
    """Three cells; nothing is predicted of a pose with which something looks wrong."""
    if not f.sound:
        return "-", "-", "-"
    at = f"({f.worst_at[0]:g}, {f.worst_at[1]:g})"
    return f"{100 * f.aim_rms:.1f}", f"{100 * f.aim_p95:.1f}", f"{100 * f.worst:.1f}, {at}"
