"""`tetherlight import` for the page: a process of its own inside limits, and what it printed as plain data."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from bridge.panel.limited import MEMORY_BYTES, SECONDS, WRITTEN_BYTES
from bridge.show.solve_by_exec import environment

ANSWER, SAID = "answer.json", "said.txt"
MOST_READ = 32 << 20
FILES = ("rig.yaml", "stage.yaml", "network.yaml", "imported.yaml")
PROFILES = "profiles"
TOO_MUCH = (
    f"This file asks for more than is given to it ({SECONDS} s, {MEMORY_BYTES >> 30} GB of memory), so it was left. "
    "Is it damaged? The program that wrote it may be able to write it again."
)


def command(show: Path, file: Path, words: Sequence[str], write: bool) -> list[str]:
    """The words of the process. What writes is not cut off when the panel dies."""
    limited = [sys.executable, "-m", "bridge.panel.limited", "free" if write else "tied"]
    dry = [] if write else ["--dry-run"]
    return [*limited, "-m", "bridge", "import", str(show), str(file), "--json", *dry, *words]


async def run_import(show: Path, file: Path, words: Sequence[str], write: bool) -> dict[str, Any]:
    """What the command printed; `errors` with at least one sentence where it refused, or ended otherwise.

    Output goes to files beside `file`, whose size the kernel bounds. The process is ended with this task.
    """
    answer, said = file.parent / ANSWER, file.parent / SAID
    with answer.open("wb") as out, said.open("wb") as err:
        process = await asyncio.create_subprocess_exec(
            *command(show, file, words, write), stdin=asyncio.subprocess.DEVNULL, stdout=out, stderr=err,
            env=environment(),
        )  # fmt: skip
    try:
        code = await asyncio.wait_for(process.wait(), SECONDS)
    except TimeoutError:
        return {"errors": [TOO_MUCH]}
    finally:
        if process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await asyncio.shield(process.wait())
    return await asyncio.to_thread(_read, code, answer, said)


def _read(code: int, answer: Path, said: Path) -> dict[str, Any]:
    if code in (-signal.SIGKILL, -signal.SIGXCPU, -signal.SIGXFSZ, -signal.SIGALRM, -signal.SIGSEGV):
        return {"errors": [TOO_MUCH]}
    words = _beginning(said, 1 << 16)
    if "MemoryError" in words or answer.stat().st_size >= WRITTEN_BYTES:
        return {"errors": [TOO_MUCH]}
    try:
        found = json.loads(_beginning(answer, MOST_READ))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        last = (words.strip().splitlines() or ["it said nothing"])[-1]
        return {"errors": [f"the import gave no answer (exit code {code}): {last[:300]}"]}
    found = _without(found, f"{answer.parent}/")
    if code:
        found["errors"] = [str(line) for line in found.get("errors") or []] or [f"exit code {code}"]
    return dict(found)


def _beginning(file: Path, most: int) -> str:
    with file.open("rb") as opened:
        return opened.read(most).decode("utf-8", "replace")


def _without(value: Any, place: str) -> Any:
    """Where we keep the file is nobody's concern: its name alone stays in texts."""
    if isinstance(value, str):
        return value.replace(place, "")
    if isinstance(value, list):
        return [_without(item, place) for item in value]
    if isinstance(value, dict):
        return {key: _without(item, place) for key, item in value.items()}
    return value


def digest_of(show: Path) -> str:
    """Of all files of the folder that a person or an import writes: alike as long as none of them has changed."""
    found = hashlib.sha256()
    for file in [*(show / name for name in FILES), *sorted((show / PROFILES).glob("*.y*ml"))]:
        try:
            data = file.read_bytes()
        except OSError:
            data = b""
        found.update(f"{file.name}:{len(data)}:".encode() + data)
    return found.hexdigest()[:16]
