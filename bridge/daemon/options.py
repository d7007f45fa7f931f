"""What the command line of `run` says."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Options:
    """Whether to send from the start, where the state folder is, where captures go, what is logged, and whether the
    panel is started that network.yaml asks for."""

    armed: bool = False
    state: Path | None = None
    record: Path | None = None
    log_level: str = "info"
    panel: bool = True
