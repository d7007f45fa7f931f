"""`tetherlight new FOLDER`: a commented show to begin with, from a few questions or options."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from pathlib import Path
from typing import Any

from bridge.commands import new_questions as ask
from bridge.commands.import_ import CAUTION
from bridge.commands.new_profile import ProfileAnswer
from bridge.exchange import starting
from bridge.exchange.new_folder import make_folder, refuse_show
from bridge.show.load import NETWORK, RIG, STAGE

PROFILE_HELP = "a built-in profile, the path of a profile file, which is copied, or spot.gdtf or spot.gdtf:MODE"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="where the show begins: a folder without one")
    parser.add_argument("--name", help="what the show is called (default: the folder's name)")
    parser.add_argument("--width", metavar="LENGTH", help="of the stage: 12, 40 ft, 39' 6\"")
    parser.add_argument("--depth", metavar="LENGTH", help="of the stage, from the setting line upstage")
    parser.add_argument("--trusses", metavar="N", help="how many trusses; 0 where the rig comes by `import`")
    parser.add_argument("--heads", metavar="N", help="heads on each truss; 0 where the rig comes by `import`")
    parser.add_argument("--height", metavar="LENGTH", help="of the trusses above the stage")
    parser.add_argument("--profile", metavar="NAME", help=PROFILE_HELP)
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text; asks nothing")


def run(args: argparse.Namespace) -> int:
    """Ask what was not given (on a terminal; else the defaults hold), write the folder, say what comes next."""
    refuse_show(args.folder)
    given = {key: value for key, value in vars(args).items() if key in ask.QUESTIONS and value is not None}
    answers = ask.answers(args.folder, given, asking=not args.json and sys.stdin.isatty())
    profile: ProfileAnswer = answers.pop("profile")
    plan = starting.Plan(profile=profile.word, footprint=profile.footprint, **answers)
    files = {STAGE: starting.starting_stage(plan.name, plan.width, plan.depth), NETWORK: starting.starting_network()}
    files |= profile.files
    if plan.count:
        files[RIG] = starting.starting_rig(plan)
    make_folder(args.folder, files)
    document = _document(args.folder, plan, files) | {"questions": list(profile.questions)}
    if args.json:
        print(json.dumps(document, indent=2, ensure_ascii=False))
    else:
        _print(document)
    return 0


def _document(folder: Path, plan: starting.Plan, files: dict[str, str]) -> dict[str, Any]:
    count = plan.count
    return {
        "folder": str(folder),
        "name": plan.name,
        "written": sorted(files),
        "fixtures": count,
        "universes": list(range(1, starting.universes(count, plan.footprint) + 1)),
        "next": _next(shlex.quote(str(folder)), count),
    }


def _next(folder: str, count: int) -> list[str]:
    if count:
        rig = "rig.yaml is a guess: correct what hangs where, its profile and patch"
    else:
        rig = (
            f"no rig.yaml yet, a rig has at least one head: `tetherlight import {folder} plot.mvr` (or .csv) brings it"
        )
    return [
        rig,
        "stage.yaml: the real edge of the area; put the marks down and write where they are",
        f"`tetherlight check {folder}` says what is left: heads are dark until they are sighted and solved, nothing "
        "leaves this machine until network.yaml names its interface (warnings till then: exit 1 with --strict)",
    ]


def _print(document: dict[str, Any]) -> None:
    count, universes = document["fixtures"], len(document["universes"])
    heads = f"{count} head{'s' * (count != 1)} on {universes} universe{'s' * (universes != 1)}" if count else "no heads"
    print(f"{document['folder']}: {', '.join(document['written'])} written, {heads}. Next:")
    for number, text in enumerate(document["next"], 1):
        print(f"  {number}. {text}")
    if document["questions"]:
        print("Questions:", *(f"  {text}" for text in document["questions"]), CAUTION, sep="\n")
