"""`tetherlight export SHOW FILE`: patch, solved positions and rotations for other programs, as MVR or CSV.

`--into OLD.mvr` writes a copy of somebody's file in which only the matrices of this show's solved heads are new.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from bridge.errors import InputError
from bridge.exchange.ids import known_ids
from bridge.exchange.mvr_into import Report, into_mvr
from bridge.exchange.mvr_out import new_mvr
from bridge.exchange.placed import PLOT, SOLVED, placed_heads
from bridge.exchange.table_out import write_table
from bridge.show import load
from bridge.show.model import Show
from bridge.show.store import atomic_write, previous_of

Document = dict[str, Any]
COUNTED = {SOLVED: "solved", PLOT: "by the plot alone", "as it was": "as they were", None: "without a place"}
SAID = {SOLVED: "solved", PLOT: "only by the plot (at, hang)", "as it was": "not changed", None: "no place"}
FAR_M = 1.0  # a solved place so far from the drawing's is told apart


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("file", type=Path, metavar="FILE", help="what to write: FILE.mvr or FILE.csv")
    parser.add_argument(
        "--into", type=Path, metavar="OLD.mvr", help="write a copy of this MVR; only matrices of solved heads are new"
    )
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text")


def run(args: argparse.Namespace) -> int:
    """Write the file and say what is in it. Nothing is written where anything is refused."""
    kind = args.file.suffix.lower()
    if kind not in (".mvr", ".csv"):
        raise InputError(f"{args.file}: found '{args.file.suffix}', allowed is a name that ends in .mvr or .csv")
    if args.into is not None and kind != ".mvr":
        raise InputError(f"--into puts poses into an MVR, and {args.file} is to be a CSV: write FILE.mvr, or no --into")
    show = load(args.show)
    data: str | bytes
    if kind == ".csv":
        data, answer = write_table(show), _table_rows(show)
    elif args.into is not None:
        data, report = into_mvr(show, args.into, known_ids(args.show), str(args.into))
        answer = {"into": str(args.into), **_changes(show, report)}
    else:
        data, answer = new_mvr(show, known_ids(args.show)), _places(show)
    existed = args.file.exists()
    atomic_write(args.file, data)
    kept = str(previous_of(args.file)) if existed and previous_of(args.file).exists() else None
    answer = {"file": str(args.file), "previous": kept, **answer}
    print(json.dumps(answer, indent=2, allow_nan=False) if args.json else "\n".join(_lines(answer)))
    return 0


def _table_rows(show: Show) -> Document:
    """A table has plot and solve side by side, and a column that says whether the solve is trusted."""
    rows: dict[str, Document] = {}
    for fixture in show.fixtures:
        pose = show.poses.get(fixture.name)
        place = SOLVED if pose else PLOT if fixture.at else None
        why = "not trusted, as its column says" if pose and not pose.trusted else ""
        rows[fixture.name] = {"place": place, "why": why}
    return {"fixtures": rows, "notes": []}


def _places(show: Show) -> Document:
    """From where each head's place is; heads without one are left out."""
    placed, nowhere = placed_heads(show)
    if not placed:
        raise InputError(
            f"{show.path}: no head has a place, so an MVR would be empty: solve first (`tetherlight solve`), or write "
            "`at` of the heads in rig.yaml"
        )
    rows: dict[str, Document] = {}
    for fixture in show.fixtures:
        name = fixture.name
        where = placed.get(name)
        rows[name] = {"place": where.source if where else None, "why": where.doubt if where else nowhere[name]}
    return {"fixtures": rows, "notes": _notes(show, [name for name in placed if placed[name].source == SOLVED])}


def _changes(show: Show, report: Report) -> Document:
    """What is new in the copy of somebody's file, and why the rest is not."""
    rows: dict[str, Document] = {}
    for fixture in show.fixtures:
        changed = report.changed.get(fixture.name)
        if changed is None:
            rows[fixture.name] = {"place": "as it was", "why": report.kept[fixture.name]}
            continue
        why = "; ".join(filter(None, [changed.doubt, "it had no Matrix: one was added" if changed.added else ""]))
        found = {"by": changed.by, "drawn": changed.drawn, "where": changed.where, "moved": changed.moved}
        rows[fixture.name] = {"place": SOLVED, "why": why, **found}
    return {"fixtures": rows, "notes": _notes(show, list(report.changed))}


def _notes(show: Show, solved: list[str]) -> list[str]:
    """What a solve knows and no drawing can hold."""
    tilts = [abs(show.poses[name].mechanics.tilt_zero) for name in solved]
    if not max(tilts, default=0.0):
        return []
    return [
        f"the zero of tilt that the solve found (up to {max(tilts):.2f} degrees) has no place in such a file: beams "
        "that a visualiser draws are off by as much"
    ]


def _lines(answer: Document) -> list[str]:
    rows: dict[str, Document] = answer["fixtures"]
    width = max((len(name) for name in rows), default=0)
    lines = [f"{name:<{width}}  {_said(row)}" for name, row in rows.items()]
    counts = [(words, sum(row["place"] == place for row in rows.values())) for place, words in COUNTED.items()]
    total = ", ".join(f"{count} {words}" for words, count in counts if count)
    lines += [f"note: {note}" for note in answer["notes"]]
    lines.append(f"{answer['file']} written: {total or 'no heads'}")
    if answer["previous"]:
        lines.append(f"the file before is kept as {answer['previous']}")
    return lines


def _said(row: Document) -> str:
    text = SAID[row["place"]]
    if row.get("by"):
        text += f"; found by its {row['by']}" + (f" as {row['drawn']!r}" if row["drawn"] else "")
        if row["where"]:
            text += f" ({row['where']})"
        if row["moved"] is not None:
            text += f"; {row['moved']:.3f} m from its place there"
            text += ": LOOK AGAIN, is it the same head?" if row["moved"] > FAR_M else ""
    return text + (f": {row['why']}" if row["why"] else "")
