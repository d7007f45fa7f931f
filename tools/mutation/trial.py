"""Copies of the tree and the children that test them; the parent has all libraries imported, but nothing of ours."""

from __future__ import annotations

import compileall
import contextlib
import importlib
import json
import os
import py_compile
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import inside
from changes import Fault

JUNK = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache", ".hypothesis", "*.egg-info")
NOT_HERE = ("daemon", "venue", "system", "test_tshark")  # sockets, clocks and processes: not two at a time
POLL_S = 0.01


def copy_tree(root: Path, to: Path) -> None:
    """The tree, compiled so that a file of the same size and time is still seen to have changed."""
    shutil.copytree(root, to, ignore=JUNK)
    compileall.compile_dir(to / "bridge", quiet=1, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)


def stages_of(root: Path, room: str) -> list[list[str]]:
    """Test files by what they cost: the room's unit tests, then standards and other rooms' tests, then scenarios."""

    def files(*patterns: str) -> list[str]:
        found = [p.relative_to(root) for pattern in patterns for p in sorted(root.glob(pattern))]
        return [str(p) for p in found if not set(NOT_HERE) & {*p.parts, p.stem}]

    own = files(f"tests/unit/{room}/**/test_*.py")
    others = [f for f in files("tests/standards/**/test_*.py", "tests/unit/*/**/test_*.py") if f not in own]
    return [own, others, files("tests/scenarios/**/test_*.py")]


def start(tree: Path, log: Path, work: Callable[[], int]) -> int:
    """Fork a child that enters the tree and leaves with what `work` returns; its process id."""
    child = os.fork()
    if child:
        return child
    code = 99
    try:
        inside.enter(tree, log)
        code = work()
    finally:
        sys.stdout.flush()
        os._exit(code & 0xFF)


def end(child: int) -> None:
    """Kill a child with all that it started."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)


def finish(children: dict[int, Path]) -> None:
    """Wait for children, given with their logs. Raises RuntimeError when one fails; none outlives this call."""
    waiting = dict(children)
    try:
        for child, log in children.items():
            _, status = os.waitpid(child, 0)
            del waiting[child]
            if status:
                text = log.read_text(errors="replace")[-3000:]
                raise RuntimeError(f"the tests fail without a fault, so that they would catch anything:\n{text}")
    finally:
        for child in waiting:
            end(child)
            os.waitpid(child, 0)


@dataclass
class Witnesses:
    """Which tests run which lines, from one run without a fault."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[int, set[str]]] = field(default_factory=dict)

    def add(self, answer: dict[str, Any]) -> None:
        self.seconds |= answer["seconds"]
        for file, lines in answer["lines"].items():
            known = self.lines.setdefault(file, {})
            for line, tests in lines.items():
                known.setdefault(int(line), set()).update(tests)
        for name in answer["modules"]:
            with contextlib.suppress(Exception):
                importlib.import_module(name)

    def choose(self, fault: Fault, stages: list[list[str]]) -> list[list[str]]:
        """The tests of each stage that can see the fault, quickest first.

        What runs at import (constants, defaults) may matter to whoever enters the file; or to all where nobody was seen
        to enter, as in files of plain data. That, and what nobody was seen to run, the room's own tests always see.
        """
        lines = self.lines.get(str(fault.path), {})
        seen = set().union(*(lines.get(n, set()) for n in range(fault.lines[0], fault.lines[1] + 1)))
        at_import = "" in seen
        if at_import:
            seen = set().union(*lines.values()) - {""} or set(self.seconds)
        if at_import or not seen:
            seen |= set(stages[0])
        quickest_first = sorted(self.seconds, key=self.seconds.__getitem__)
        files_first = [(test.split("::")[0], test) for test in quickest_first]
        return [[test for file, test in files_first if file in files and {file, test} & seen] for files in stages]


@dataclass(frozen=True)
class Outcome:
    """What became of one fault: `caught`, `time` (caught by the time limit) or `survived`."""

    fault: Fault
    word: str
    log: str


@dataclass
class _Running:
    fault: Fault
    tree: Path
    until_s: float


class Trials:
    """Tries faults, one in each tree at a time."""

    def __init__(self, trees: list[Path], witnesses: Witnesses) -> None:
        self._free = list(trees)
        self._witnesses = witnesses
        self._running: dict[int, _Running] = {}

    def outcomes(self, faults: Iterable[tuple[Fault, list[list[str]]]]) -> Iterator[Outcome]:
        """Outcomes as they come. The files of the trees are as they were afterwards, whatever happens."""
        waiting = iter(faults)
        more = True
        try:
            while more or self._running:
                while more and self._free:
                    item = next(waiting, None)
                    more = item is not None
                    if item is not None:
                        self._begin(*item)
                yield from self._ended()
                time.sleep(POLL_S)
        finally:
            for child in list(self._running):
                end(child)
                os.waitpid(child, 0)

    def _begin(self, fault: Fault, stages: list[list[str]]) -> None:
        tree = self._free.pop()
        chosen = self._witnesses.choose(fault, stages)
        (tree / fault.path).write_text(fault.source())
        limit_s = 15 + 4 * sum(self._witnesses.seconds[test] for tests in chosen for test in tests)
        child = start(tree, tree.with_suffix(".log"), lambda: inside.notice(chosen))
        self._running[child] = _Running(fault, tree, time.monotonic() + limit_s)

    def _ended(self) -> Iterator[Outcome]:
        for child, run in list(self._running.items()):
            done, status = os.waitpid(child, os.WNOHANG)
            late = not done and time.monotonic() > run.until_s
            if late:
                end(child)
                os.waitpid(child, 0)
            if done or late:
                del self._running[child]
                (run.tree / run.fault.path).write_text(run.fault.module.code)
                self._free.append(run.tree)
                log = run.tree.with_suffix(".log").read_text(errors="replace")
                yield Outcome(run.fault, "time" if late else "survived" if status == 0 else "caught", log)


def find_witnesses(tree: Path, rooms: list[Path], tests: list[str]) -> Witnesses:
    """Run all tests once without a fault, in two children. Raises RuntimeError when one fails by itself."""
    found, children, answers = Witnesses(), {}, []
    for number in range(2):
        answer, log = (tree.with_suffix(f".{number}.{kind}") for kind in ("json", "log"))
        part = tests[number::2]
        children[start(tree, log, lambda part=part, answer=answer: inside.witness(tree, rooms, part, answer))] = log
        answers.append(answer)
    finish(children)
    for answer in answers:
        found.add(json.loads(answer.read_text()))
    return found


def control(trees: list[Path], witnesses: Witnesses, files: set[str]) -> None:
    """Try no fault at all in every tree, as faults are tried. Raises RuntimeError when that is caught."""
    tests = [test for test in witnesses.seconds if test.split("::")[0] in files]
    logs = [tree.with_suffix(".log") for tree in trees]
    finish({start(tree, log, lambda: inside.notice([tests])): log for tree, log in zip(trees, logs, strict=True)})
