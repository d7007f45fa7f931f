"""What the command line of `panel` says."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Options:
    """Where the bridge is and where the page is served; files of TLS; `state` is this machine's state folder.

    `poses_file` is where a bridge on this machine keeps the poses that it aims with. `venue` is where a simulated venue
    is asked for its performers. `until_eof`: end when standard input ends, as it does with the daemon that started us.
    `record` is where that keeps captures, if its command line says so.
    """

    bridge: tuple[str, int]
    listen: tuple[str, int]
    state: Path
    poses_file: Path | None = None
    tls: tuple[Path, Path] | None = None
    venue: tuple[str, int] | None = None
    until_eof: bool = False
    record: Path | None = None
