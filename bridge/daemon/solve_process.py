"""A solve in a process of its own: by exec, at low priority, with one BLAS thread, so that no frame is late for it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.errors import TetherlightError
from bridge.show import load
from bridge.show.model import Show

NICE = 10
TIMEOUT_S = 600.0
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


@dataclass(frozen=True)
class SolveAnswer:
    """What came out of a solve: the show with its new poses, or why not."""

    show: Show | None
    suspects: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()


def run_solve(show: Path) -> SolveAnswer:
    """`tetherlight solve SHOW --json`, and what it wrote; blocks: call it in a thread."""
    command = [sys.executable, "-m", "bridge", "solve", str(show), "--json"]
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, **_ONE_THREAD},
    )  # fmt: skip
    os.setpriority(os.PRIO_PROCESS, process.pid, NICE)
    try:
        out, err = process.communicate(timeout=TIMEOUT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        return SolveAnswer(None, (f"the solve took longer than {TIMEOUT_S:.0f} s and was ended",))
    try:
        answer = json.loads(out)
    except ValueError:
        return SolveAnswer(None, (f"the solve gave no answer (exit {process.returncode}): {err.strip()[-400:]}",))
    if process.returncode not in (0, 1):
        why = tuple(str(line) for line in answer.get("errors", [])) or (f"exit {process.returncode}",)
        return SolveAnswer(None, why)
    try:
        return SolveAnswer(load(show), *sentences(answer))
    except TetherlightError as error:
        return SolveAnswer(None, tuple(error.lines))


def sentences(answer: Mapping[str, Any]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What looks wrong and the other advice, of what `solve --json` prints: there the advice holds both."""
    suspects = tuple(str(suspect["text"]) for suspect in answer.get("suspects", []))
    return suspects, tuple(str(line) for line in answer.get("advice", []) if line not in suspects)
