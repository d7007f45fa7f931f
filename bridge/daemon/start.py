"""The first moments of a daemon: start to listen, and only then read and import what takes time."""

from __future__ import annotations

import contextlib
import signal
from pathlib import Path

from bridge.daemon.early import early_watch
from bridge.daemon.loop import Loop, tune_process


def serve(show: Path, *, armed: bool = False, state: Path | None = None, log_level: str = "info") -> None:
    """Run the daemon on a show folder until a signal. Raises TetherlightError before anything was sent."""
    tune_process()
    with contextlib.ExitStack() as undo:
        loop = Loop()
        undo.callback(loop.close)
        loop.on_signals((signal.SIGTERM, signal.SIGINT), loop.end)  # nothing is sent yet: a signal just ends it
        early = early_watch(show)
        if early is not None:
            undo.callback(early.close)
        from bridge.daemon.assemble import assemble  # numpy, YAML and the schema: a fifth of a second

        service = assemble(show, loop, early, undo, armed=armed, state=state, log_level=log_level)
        loop.on_signals((signal.SIGTERM, signal.SIGINT), service.stop)
        service.run(armed)
