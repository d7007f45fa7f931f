"""How a solve runs in a process of its own: by exec, at low priority, with one BLAS thread, so that no frame is late.

The daemon waits for it in a thread, the panel in its event loop; both read its answer here.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from pathlib import Path
from typing import Any

NICE = 10
TIMEOUT_S = 600.0
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def command(show: Path, *more: str) -> list[str]:
    """`tetherlight solve SHOW --json`, with further words."""
    return [sys.executable, "-m", "bridge", "solve", str(show), "--json", *more]


def environment() -> dict[str, str]:
    """What such a process is started with."""
    return {**os.environ, **_ONE_THREAD}


def give_way(pid: int) -> None:
    """Lower the priority of a process, if it still runs."""
    with contextlib.suppress(ProcessLookupError):
        os.setpriority(os.PRIO_PROCESS, pid, NICE)


def read_answer(exit_code: int, out: str | bytes, err: str) -> dict[str, Any]:
    """What it printed; where it failed, `errors` holds at least one sentence."""
    try:
        answer = json.loads(out)
    except ValueError:
        answer = None
    if not isinstance(answer, dict):
        return {"errors": [f"the solve gave no answer (exit {exit_code}): {err.strip()[-400:]}"]}
    if exit_code not in (0, 1):
        answer["errors"] = [str(line) for line in answer.get("errors", [])] or [f"exit {exit_code}"]
    return answer


def too_long() -> str:
    """The sentence about a solve that was ended."""
    return f"the solve took longer than {TIMEOUT_S:.0f} s and was ended"
