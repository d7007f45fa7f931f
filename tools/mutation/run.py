"""Plants faults in the rooms, one at a time, and prints the share that the tests catch.

    tools/mutants                          60 faults a room, some ten minutes
    tools/mutants --room wire --all        every fault of one room
    tools/mutants --sample 200 --seed 7    other and more faults

Prints figures and survivors, asserts nothing. Each survivor is either a hole in the tests or a change that changes
nothing; only a person can say which.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from changes import LEFT_OUT, Fault, faults_in
from trial import NOT_HERE, Outcome, Trials, control, copy_tree, find_witnesses, stages_of

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("follow", "rig", "wire", "solve")
ASKED = 0.85


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--room", action="append", choices=ROOMS, help="only this room (may be given again)")
    parser.add_argument("--file", help="only files whose path holds this text")
    parser.add_argument("--sample", type=int, default=60, metavar="N", help="faults a room (default 60)")
    parser.add_argument("--all", action="store_true", help="every fault")
    parser.add_argument("--seed", type=int, default=1, help="which faults are drawn (default 1)")
    parser.add_argument("--jobs", type=int, default=2, help="how many are tried at a time (default 2)")
    parser.add_argument("--quick", action="store_true", help="without tests/scenarios")
    parser.add_argument("--caught", action="store_true", help="show also what caught each fault")
    return parser.parse_args()


def faults_of(root: Path, room: str, text: str | None) -> tuple[list[Fault], Counter[str]]:
    faults: list[Fault] = []
    left_out: Counter[str] = Counter()
    for path in sorted((root / "bridge" / room).rglob("*.py")):
        shown = path.relative_to(root)
        if text is None or text in str(shown):
            found, not_counted = faults_in(path, shown)
            faults += found
            left_out += not_counted
    return faults, left_out


def show(outcome: Outcome, caught_too: bool) -> None:
    if outcome.word == "survived" or caught_too:
        print(f"{outcome.word:8} {outcome.fault.path}:{outcome.fault.line}")
        print("".join(f"         {line}\n" for line in outcome.fault.difference()), end="", flush=True)
    if caught_too and outcome.word == "caught":
        blamed = [line for line in outcome.log.splitlines() if line.startswith(("FAILED", "ERROR", "/", "E "))]
        print(f"         by {(blamed or ['?'])[-1][:150]}", flush=True)


@dataclass
class Tally:
    """How many faults a room has, what became of those that were tried, what was left out, and how long it took."""

    total: int = 0
    words: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0

    def add(self, other: Tally) -> None:
        self.total += other.total
        self.words += other.words
        self.left_out += other.left_out
        self.seconds += other.seconds

    def line(self, name: str) -> str:
        run = sum(self.words.values())
        caught = run - self.words["survived"]
        share = f"{caught / run:6.1%}" if run else "   -  "
        rate = 60 * run / max(self.seconds, 1e-9)
        return (
            f"{name:7} {run:5} of {self.total:5} run {caught:5} caught ({self.words['time']} by the time limit) "
            f"{self.words['survived']:4} survived {share} caught, asked {ASKED:.0%}; {rate:.0f} a minute"
        )


def tally(room: str, trials: Trials, root: Path, stages: list[list[str]], options: argparse.Namespace) -> Tally:
    faults, left_out = faults_of(root, room, options.file)
    total = len(faults)
    if not options.all:
        faults = random.Random(options.seed).sample(faults, min(options.sample, total))
    began_s, words = time.monotonic(), Counter[str]()
    for outcome in trials.outcomes((fault, stages) for fault in faults):
        words[outcome.word] += 1
        if sys.stderr.isatty():
            print(f"{room}: {sum(words.values())} of {len(faults)}", end="\r", file=sys.stderr, flush=True)
        show(outcome, options.caught)
    return Tally(total, words, left_out, time.monotonic() - began_s)


def main() -> None:
    options = arguments()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the copies go away then, too
    rooms = list(dict.fromkeys(options.room or ROOMS))
    how_many = "every fault" if options.all else f"{options.sample} faults a room, seed {options.seed}"
    print(f"{how_many}; tests: unit, standards{'' if options.quick else ', scenarios'}, not {', '.join(NOT_HERE)}")
    stages = {room: stages_of(ROOT, room)[: 2 if options.quick else 3] for room in rooms}
    tests = sorted({file for room in rooms for stage in stages[room] for file in stage})
    tallies, everything = {}, Tally()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        kept, *trees = [Path(folder) / f"tree{number}" for number in range(options.jobs + 1)]
        copy_tree(ROOT, kept)  # never changed, so that somebody may work on meanwhile
        witnesses = find_witnesses(kept, [Path("bridge", room) for room in rooms], tests)
        for tree in trees:
            shutil.copytree(kept, tree)  # with what pytest has compiled
        control(trees, witnesses, {file for room in rooms for file in stages[room][0]})
        print(f"{len(witnesses.seconds)} tests pass without a fault", flush=True)
        trials = Trials(trees, witnesses)
        for room in rooms:
            tallies[room] = tally(room, trials, kept, stages[room], options)
            everything.add(tallies[room])
    print("\nleft out, since no test ought to notice it:")
    for reason, meaning in LEFT_OUT.items():
        print(f"  {everything.left_out[reason]:5} {reason}: {meaning}")
    print("\n".join(["", *(tallies[room].line(room) for room in rooms), everything.line("all")]))


if __name__ == "__main__":
    try:
        main()
    except RuntimeError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit(130)
