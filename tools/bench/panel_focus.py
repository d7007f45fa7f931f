"""How long a focus session takes on the panel, and how well the heads aim after it: a scripted person, by clicks alone.

    python tools/bench/panel_focus.py [--heads N] [--marks N] [--seed N] [--hand METRES]

Real daemon, real panel, real Chromium; the venue is simulated, its heads hang as nobody knows. The person sees where
the true beam lies, presses the page and puts every beam on every mark as well as a hand does (3 cm, sigma per axis).
Virtual time: 1 s for every press. `with travel` adds what the person waited for beams to come to rest, in real time on
this machine. Asked: at most 15 minutes, every head within 6 cm RMS.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
from pathlib import Path

from bridge.show.load import load
from bridge.venue.calibration import calibration
from tests.system.focus_person import Person
from tests.system.panel_stage import PanelStage, panel_stage

ASKED_MIN, ASKED_M = 15.0, 0.06
WITHIN_S = 3600.0
SOLVED_S = 120.0


async def choose(stage: PanelStage, person: Person, heads: list[str], marks: list[str]) -> None:
    """The first heads and marks, by the list; all of a kind are chosen to begin with."""
    page = stage.page
    await person.press("Focus session", "tab")
    await person.press_until("Choose", "!document.querySelector('.f-list').hidden")
    for kind, chosen in (("heads", heads), ("marks", marks)):
        every = await page.evaluate(f"[...panel.focusSession.{kind}]")
        for name in sorted(set(every) - set(chosen)):
            await person.press(f"{name} is chosen", "checkbox")
    await person.press("Aim")


async def session(stage: PanelStage, heads: int, marks: int, seed: int, hand_m: float) -> bool:
    """The whole session; prints the figures; whether what was asked was reached."""
    names = [fixture.name for fixture in stage.staged.show.fixtures][:heads]
    places = list(stage.venue.marks)[:marks]
    person = Person(stage, stage.page, seed, hand_m, drags=True)
    await choose(stage, person, names, places)
    for number in range(len(names) * len(places)):
        await person.sight(aim=number == 0)
        lines = [*person.said, f"{number + 1} sightings, {person.decisions} decisions"]
        print("\n".join(lines), file=sys.stderr, flush=True)
        person.said.clear()
    await person.press("Solve")
    await stage.page.until(f"panel.store.scene.heads.filter((h) => h.solved).length >= {len(names)}", SOLVED_S)
    errors = calibration(load(stage.staged.folder), stage.staged.truth)["fixtures"]
    worst = max(float(one["rms_m"]) for one in errors.values())
    minutes, travel = person.decisions / 60, person.waited_s / 60
    hand = (sum(d * d for d in person.left.values()) / len(person.left)) ** 0.5
    print(f"{len(names)} heads x {len(places)} marks, seed {seed}: {person.decisions} decisions")
    print(f"minutes at 1 s a decision: {minutes:.1f} (asked <= {ASKED_MIN:g}); with travel: {minutes + travel:.1f}")
    print(f"the hand left the beams {100 * hand:.1f} cm off their marks (rms)")
    for name, one in errors.items():
        print(f"  {name}: rms {100 * one['rms_m']:.1f} cm, 95 % {100 * one['p95_m']:.1f} cm")
    print(f"worst head: rms {100 * worst:.1f} cm (asked <= {100 * ASKED_M:g})")
    return minutes <= ASKED_MIN and worst <= ASKED_M and len(errors) == len(names)


async def main(args: argparse.Namespace) -> bool:
    """Set everything up in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="panel-focus-") as folder:
        async with panel_stage(Path(folder), solved=False, universe=args.universe) as stage:
            return await asyncio.wait_for(session(stage, args.heads, args.marks, args.seed, args.hand), WITHIN_S)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--heads", type=int, default=12)
    parser.add_argument("--marks", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hand", type=float, default=0.03)
    parser.add_argument("--universe", type=int, default=30240)
    sys.exit(0 if asyncio.run(main(parser.parse_args())) else 1)
