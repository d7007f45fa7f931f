"""`tetherlight check SHOW`: everything that can be known before doors. Writes nothing, sends nothing."""

from __future__ import annotations

import argparse
import json
from collections.abc import Container
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bridge.commands import findings, live
from bridge.commands.control_findings import control_findings
from bridge.commands.desk_findings import desk_findings
from bridge.commands.import_findings import import_findings
from bridge.commands.input_findings import input_findings
from bridge.commands.live_findings import as_data, live_findings
from bridge.commands.marks import mark_findings
from bridge.errors import ShowError
from bridge.follow.coverage import Coverage, survey
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.show.damaged import with_advice
from bridge.show.plot import plot_poses

if TYPE_CHECKING:
    from rich.console import Console

SIGNS = {"error": "✗ error", "warning": "! warning", "note": "· note"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--strict", action="store_true", help="exit 1 where there is a warning or an error")
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text")
    parser.add_argument("--live", type=live.seconds, metavar="SECONDS", help="listen: who sends, which nodes answer")
    parser.add_argument("--state", type=Path, metavar="DIR", help="state folder (default $XDG_STATE_HOME/tetherlight)")


def run(args: argparse.Namespace) -> int:
    """Print findings, worst first."""
    try:
        show = load(args.show)
    except ShowError as found_in_files:
        error = with_advice(found_in_files, args.show)
        if args.json:
            rows = [findings.split(line, "error")._asdict() for line in error.lines]
            print(json.dumps({"errors": error.lines, "findings": rows}, indent=2))
            return error.exit_code
        raise error from None
    by_plot = plot_poses(show.fixtures, show.poses)
    rig = Rig.from_fixtures(show.fixtures, {**by_plot, **show.poses})
    engine = Engine(rig, show.stage, show.network.lost_input, show.solved_marks)
    coverage = survey(engine)
    found = [*findings.all_findings(show, engine, coverage), *mark_findings(show, engine)]
    found += [*desk_findings(show), *control_findings(show, rig), *input_findings(show), *import_findings(show)]
    hearing = live.listen(show, args.live, args.state) if args.live else None
    if hearing:
        found += live_findings(*hearing)
    found.sort(key=lambda finding: list(SIGNS).index(finding.level))
    if args.json:
        document = {"findings": [f._asdict() for f in found], "coverage": _shares(engine, coverage, by_plot)}
        print(json.dumps(document | (as_data(*hearing) if hearing else {}), indent=2))
    else:
        console = _console()
        _print_shares(console, show.name, _shares(engine, coverage, by_plot))
        if hearing:
            live.print_heard(console, *hearing)
        _print_findings(console, found)
    return 1 if args.strict and any(finding.level != "note" for finding in found) else 0


def _shares(engine: Engine, coverage: Coverage, by_plot: Container[str]) -> dict[str, Any]:
    """Per head with a pose, or with one by the plot alone: the share of the polygon it lights, the least way left to a
    stop in degrees, and from where to where it throws in metres."""
    lit = coverage.lit.mean(axis=0)
    degrees = np.degrees(coverage.near_stop_rad)
    throw = np.linalg.norm(coverage.points[:, None] - engine.rig.heads.position, axis=2)
    return {
        name: {
            "lit": float(lit[n]),
            "to_stop_deg": float(degrees[n]),
            "throw_m": [float(throw[:, n].min()), float(throw[:, n].max())],
            "from": "plot" if name in by_plot else "pose",
        }
        for n, name in enumerate(engine.rig.names)
        if engine.rig.has_pose[n]
    }


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, width=None if Console().is_terminal else 140)


def _print_shares(console: Console, name: str, shares: dict[str, Any]) -> None:
    from rich.table import Table

    console.print(f"{name}: what each head lights of the performance polygon")
    table = Table()
    for heading in ("fixture", "lit", "", "to a stop", "throws", "by"):
        table.add_column(heading, justify="left" if heading in ("fixture", "", "by") else "right")
    for fixture, row in shares.items():
        bar = "█" * round(20 * row["lit"])
        near, far = row["throw_m"]
        by = "its pose" if row["from"] == "pose" else "the plot"
        table.add_row(fixture, f"{row['lit']:.0%}", bar, f"{row['to_stop_deg']:.1f}°", f"{near:.1f}..{far:.1f} m", by)
    console.print(table)
    if any(row["from"] == "plot" for row in shares.values()):
        console.print(
            "By the plot: `at` and `hang` alone, as if the heads hung just so. Yaw is not known before a solve."
        )


def _print_findings(console: Console, found: list[findings.Finding]) -> None:
    for finding in found:
        console.print(f"{SIGNS[finding.level]}  {finding.where}: {finding.what}", markup=False, soft_wrap=True)
    counts = ", ".join(f"{sum(f.level == level for f in found)} {level}s" for level in SIGNS)
    console.print(f"{counts}. Not a safety check: sight lines, rigging and people aloft are yours to look after.")
