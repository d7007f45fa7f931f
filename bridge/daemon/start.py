"""The first moments of a daemon: read the show, listen to its universes, and only then import what takes time.

A universe is listened to for 1.2 s before anything is sent on it. The engine's modules take a third of that to import,
so the listening begins first.
"""

from __future__ import annotations

import contextlib
import signal
from pathlib import Path

from bridge.daemon.interfaces import with_addresses
from bridge.daemon.loop import Loop, require_descriptors, tune_process
from bridge.daemon.options import Options
from bridge.daemon.watch import Watch
from bridge.show import load

ENDING = (signal.SIGTERM, signal.SIGINT)


def serve(path: Path, options: Options) -> None:
    """Run the daemon on a show folder until a signal. Raises TetherlightError before anything was sent."""
    tune_process()
    require_descriptors()
    with contextlib.ExitStack() as undo:
        loop = Loop()
        undo.callback(loop.close)
        loop.on_signals(ENDING, loop.end)  # nothing is sent yet: a signal just ends it
        loop.on_signals((signal.SIGHUP,), lambda: None)  # a terminal that is closed must not end a show
        show = with_addresses(load(path))
        universes = sorted({fixture.universe for fixture in show.fixtures})
        require_descriptors(len(universes))
        watch = Watch(universes, show.network.sacn.interface)
        undo.callback(watch.close)
        from bridge.daemon.assemble import assemble  # numpy, scipy and the engine

        service = assemble(show, watch, loop, undo, options)
        loop.on_signals(ENDING, service.stop)
        loop.on_signals((signal.SIGHUP,), service.reload)
        service.run(options.armed)
