"""The daemon's solve: in a process of its own (show/solve_by_exec.py), and what it wrote."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.errors import TetherlightError
from bridge.show import load
from bridge.show.model import Show
from bridge.show.solve_by_exec import TIMEOUT_S, command, environment, give_way, read_answer, too_long


@dataclass(frozen=True)
class SolveAnswer:
    """What came out of a solve: the show with its new poses, or why not."""

    show: Show | None
    suspects: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()


def run_solve(show: Path) -> SolveAnswer:
    """`tetherlight solve SHOW --json`, and what it wrote; blocks: call it in a thread."""
    process = subprocess.Popen(
        command(show), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=environment(),
    )  # fmt: skip
    give_way(process.pid)
    try:
        out, err = process.communicate(timeout=TIMEOUT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        return SolveAnswer(None, (too_long(),))
    answer = read_answer(process.returncode, out, err)
    if "errors" in answer:
        return SolveAnswer(None, tuple(answer["errors"]))
    try:
        return SolveAnswer(load(show), *sentences(answer))
    except TetherlightError as error:
        return SolveAnswer(None, tuple(error.lines))


def sentences(answer: Mapping[str, Any]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What looks wrong and the other advice, of what `solve --json` prints: there the advice holds both."""
    suspects = tuple(str(suspect["text"]) for suspect in answer.get("suspects", []))
    return suspects, tuple(str(line) for line in answer.get("advice", []) if line not in suspects)
