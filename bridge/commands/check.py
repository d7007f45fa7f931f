"""`tetherlight check SHOW`: everything that can be known before doors. Writes nothing, sends nothing."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from bridge.commands import findings
from bridge.errors import ShowError
from bridge.follow.coverage import Coverage, survey
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.show.damaged import with_advice

SIGNS = {"error": "✗ error", "warning": "! warning", "note": "· note"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--strict", action="store_true", help="exit 1 where there is a warning or an error")
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text")


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
    rig = Rig.from_fixtures(show.fixtures, show.poses)
    engine = Engine(rig, show.stage, show.network.lost_input, show.solved_marks)
    coverage = survey(engine)
    found = findings.all_findings(show, engine, coverage)
    found.sort(key=lambda finding: list(SIGNS).index(finding.level))
    if args.json:
        document = {"findings": [f._asdict() for f in found], "coverage": _shares(engine, coverage)}
        print(json.dumps(document, indent=2))
    else:
        _print(show.name, engine, coverage, found)
    return 1 if args.strict and any(finding.level != "note" for finding in found) else 0


def _shares(engine: Engine, coverage: Coverage) -> dict[str, Any]:
    """Per solved fixture: the share of the polygon it lights, and the least way left to a stop in degrees."""
    names, solved = engine.rig.names, engine.rig.has_pose
    lit = coverage.lit.mean(axis=0)
    degrees = np.degrees(coverage.near_stop_rad)
    rows = zip(names, solved, lit.tolist(), degrees.tolist(), strict=True)
    return {name: {"lit": share, "to_stop_deg": left} for name, ok, share, left in rows if ok}


def _print(name: str, engine: Engine, coverage: Coverage, found: list[findings.Finding]) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, width=None if Console().is_terminal else 140)
    console.print(f"{name}: what each head lights of the performance polygon")
    table = Table()
    for heading in ("fixture", "lit", "", "to a stop"):
        table.add_column(heading, justify="left" if heading in ("fixture", "") else "right")
    for fixture, row in _shares(engine, coverage).items():
        bar = "█" * round(20 * row["lit"])
        table.add_row(fixture, f"{row['lit']:.0%}", bar, f"{row['to_stop_deg']:.1f}°")
    console.print(table)
    for finding in found:
        console.print(f"{SIGNS[finding.level]}  {finding.where}: {finding.what}", markup=False, soft_wrap=True)
    counts = ", ".join(f"{sum(f.level == level for f in found)} {level}s" for level in SIGNS)
    console.print(f"{counts}. Not a safety check: sight lines, rigging and people aloft are yours to look after.")
