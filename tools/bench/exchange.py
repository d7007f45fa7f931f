#!/usr/bin/env python3
"""What reading other people's files costs: time and peak memory, ours beside pygdtf, pymvr and csv in the same run.

    python tools/bench/exchange.py [--times 5]

Every reading is a process of its own. `read` is the reader alone, the first time in its process, imports not counted;
`command` the whole `tetherlight import --dry-run`, interpreter and imports included. Seconds are the processor's, so
that other work on the machine counts little; memory is the process's peak (VmHWM), interpreter and packages included.
Medians. The peers only read: they make no profile and judge nothing. Files are made here.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from ear import machine  # noqa: E402

from tests.unit.exchange import made_mvr  # noqa: E402
from tests.unit.exchange.made_gdtf import USUAL, Channel, Function, Mode, Set, build_gdtf, wheel  # noqa: E402

MODES, SLOTS, HEADS, TYPES = 20, 40, 500, 8
MEASURED = """import sys, time, warnings
warnings.simplefilter('ignore')
{imports}
file, begun = sys.argv[1], {begun}
{read}
seconds = time.process_time() - begun
peak = next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM'))
print(f'\\n{{seconds}} {{peak}}')
"""
OURS = (
    "from pathlib import Path; from bridge.exchange.reading import read_file",
    "read_file(Path(file), {mode}, {{}})",
)
PYGDTF = ("import pygdtf", "pygdtf.FixtureType(file)")
PYMVR = ("import pymvr", "pymvr.GeneralSceneDescription(file)")
COMMAND = ("from bridge.cli import main", "assert main({arguments}) == 0")
CSV = ("import csv", "list(csv.DictReader(open(file, newline='', encoding='utf-8')))")


class Case(NamedTuple):
    """A file to read, its peer and what is asked of it."""

    name: str
    file: Path
    peer: tuple[str, str]
    mode: str | None
    seconds: float


class Cost(NamedTuple):
    """Processor seconds, and peak memory in MB."""

    seconds: float
    peak_mb: float


def modes(count: int) -> list[Mode]:
    """Modes of a usual spot with wheels, effects and control in all: SLOTS channels, a dozen channel sets on most."""
    sets = [Set(f"Slot {n}", f"{n * 20}/1", n + 1) for n in range(12)]
    more = [
        Channel(str(12 + n), [Function(f"Gobo{n + 1}", sets=sets, more={"Wheel": "Wheel"})]) for n in range(SLOTS - 11)
    ]
    return [Mode(f"Mode {n}", (*USUAL, *more)) for n in range(count)]


def gdtf(models: int = 0, pictures: int = 45_000) -> bytes:
    """A .gdtf of `models` octets of models and `pictures` of pictures, neither of which can be packed smaller."""
    rng = random.Random(7)
    slots = [f"Pattern {n}" for n in range(12)]
    files = {"wheels/pattern.png": rng.randbytes(pictures), "thumbnail.png": rng.randbytes(pictures)}
    files |= {f"models/gltf/part{n}.glb": rng.randbytes(models // 8) for n in range(8 if models else 0)}
    return build_gdtf(modes(MODES), wheels=wheel("Wheel", slots), files=files)


def mvr() -> bytes:
    """A drawing: heads of some types in layers and groups, turned."""
    quarter = made_mvr.matrix([[0, -1, 0], [1, 0, 0], [0, 0, 1]], [1000, 2000, 8000])
    layers = []
    for number in range(10):
        heads = [
            made_mvr.fixture(n + 1, matrix=made_mvr.matrix([[1, 0, 0], [0, -1, 0], [0, 0, -1]], [100.0 * n, 50, 0]),
                             spec=f"Spot {n % TYPES}.gdtf", mode=f"Mode {n % MODES}",
                             address=str(512 * (n // 12) + 41 * (n % 12) + 1))
            for n in range(number, HEADS, 10)
        ]  # fmt: skip
        layers.append(made_mvr.layer(made_mvr.group("".join(heads), f"Truss {number}", quarter), f"Layer {number}"))
    members = {f"Spot {n}.gdtf": build_gdtf(modes(MODES), name=f"Spot {n}") for n in range(TYPES)}
    return made_mvr.mvr("".join(layers), members)


def table() -> str:
    """Paperwork with decimal points and addresses by universe."""
    rows = [
        f"{n},Spot {n},Spot 12,Mode 3,{n // 12 + 1}/{41 * (n % 12) + 1},{n % 30 - 15:.3f},{n // 30:.3f},8.500,90,0,180"
        for n in range(HEADS)
    ]
    return "\n".join(["Channel,Name,Type,Mode,Address,X,Y,Z,Yaw,Pitch,Roll", *rows, ""])


def cases(folder: Path) -> list[Case]:
    """All files, made in a folder."""
    made: list[tuple[str, str, bytes, tuple[str, str], str | None, float]] = [
        ("GDTF, 20 modes", "usual.gdtf", gdtf(), PYGDTF, "Mode 3", 1.0),
        ("GDTF with 40 MB of models", "large.gdtf", gdtf(40_000_000), PYGDTF, "Mode 3", 5.0),
        ("MVR, 500 heads of 8 types", "hall.mvr", mvr(), PYMVR, None, 5.0),
        ("CSV, 500 rows", "hall.csv", table().encode(), CSV, None, 1.0),
    ]
    out = []
    for name, file, data, peer, mode, seconds in made:
        (folder / file).write_bytes(data)
        out.append(Case(name, folder / file, peer, mode, seconds))
    return out


def cost(what: tuple[str, str], file: Path, times: int, begun: str = "time.process_time()") -> Cost:
    """Medians of several processes; `what`: imports, and what is measured, as Python."""
    code = MEASURED.format(imports=what[0], read=what[1], begun=begun)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    costs = []
    for _ in range(times):
        done = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True, env=environment)
        if done.returncode:
            raise RuntimeError(f"{file.name}: exit {done.returncode}\n{(done.stdout + done.stderr)[-2000:]}")
        seconds, peak_kb = done.stdout.split()[-2:]
        costs.append(Cost(float(seconds), float(peak_kb) / 1000))
    return Cost(statistics.median(c.seconds for c in costs), statistics.median(c.peak_mb for c in costs))


def measure(case: Case, folder: Path, times: int) -> str:
    """A row of the table."""
    ours = cost((OURS[0], OURS[1].format(mode=repr(case.mode))), case.file, times)
    arguments = ["import", str(folder / "show"), str(case.file), "--dry-run", "--json"]
    arguments += ["--mode", case.mode] if case.mode and case.file.suffix == ".gdtf" else []
    whole = cost((COMMAND[0], COMMAND[1].format(arguments=arguments)), case.file, times, begun="0.0")
    peer = cost(case.peer, case.file, times)
    figures = "".join(f"{each.seconds:>9.3f} s{each.peak_mb:>7.0f} MB" for each in (ours, whole, peer))
    size_kb = case.file.stat().st_size / 1000
    return f"{case.name:<27}{size_kb:>9,.0f} kB{figures}{case.seconds:>7g} s, 300 MB"


def main() -> None:
    """Make the files, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    print(machine())
    print(f"{'':<39}{'read':>11}{'':>10}{'command':>11}{'':>10}{'peer':>11}{'':>10}{'asked':>16}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for case in cases(folder):
            print(measure(case, folder, times), flush=True)


if __name__ == "__main__":
    main()
