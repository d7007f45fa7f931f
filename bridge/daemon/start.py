"""From a show folder to a running service, in an order that leaves nothing half done when it fails.

Files first, then the lock, then every socket; nothing has been sent yet. The slow imports of the engine come last,
while the universes are already being listened to, so that `--armed` costs no more than the listening itself.
"""

from __future__ import annotations

import contextlib
import time
from pathlib import Path
from typing import Any

from bridge.daemon import summary
from bridge.daemon.ears import Ears
from bridge.daemon.endpoint import close_quietly, open_osc
from bridge.daemon.logs import LOG, start_logging
from bridge.daemon.loop import Loop, tune_process
from bridge.daemon.output import Output
from bridge.daemon.state import StateFolder, default_state_folder
from bridge.daemon.watch import Watch
from bridge.show import load
from bridge.show.model import Show


def serve(path: Path, *, armed: bool = False, state: Path | None = None, log_level: str = "info") -> None:
    """Run the daemon on a show folder until a signal. Raises TetherlightError before anything was sent."""
    tune_process()
    show = load(path)
    with contextlib.ExitStack() as undo:
        undo.callback(start_logging(log_level))
        folder = StateFolder(state or default_state_folder(), show.path)
        undo.callback(folder.close)
        loop = Loop()
        undo.callback(loop.close)
        osc = open_osc(show.network.osc.host, show.network.osc.port)
        undo.callback(close_quietly, osc)
        output = Output(show.network.sacn)
        undo.callback(output.close)
        universes = sorted({fixture.universe for fixture in show.fixtures})
        watch = Watch(universes, show.network.sacn.interface, folder.cid.bytes)
        undo.callback(watch.close)
        since_s = time.monotonic()
        remembered = folder.remember(time.time())
        for text in remembered.warnings:
            LOG.warning("%s", text)
        resumed = remembered.live is not None and remembered.armed
        for level, text in summary.lines(show, universes, armed or resumed):
            (LOG.warning if level == "warning" else LOG.info)("%s", text)
        ears = Ears(watch, universes, folder.cid.bytes, time.monotonic)
        engine, encoder, commands = build(show)
        from bridge.daemon.service import Service

        service = Service(
            show, engine, encoder, commands,
            loop=loop, osc=osc, output=output, ears=ears, folder=folder, remembered=remembered,
            listening_since_s=since_s,
        )  # fmt: skip
        service.run(armed, remembered)


def build(show: Show) -> tuple[Any, Any, Any]:
    """Engine, encoder and commands of a show."""
    from bridge.daemon.live import Live
    from bridge.fixtures.encode import Encoder
    from bridge.fixtures.rig import Rig
    from bridge.follow.commands import Commands
    from bridge.follow.engine import Engine

    rig = Rig.from_fixtures(show.fixtures, show.poses)
    engine = Engine(rig, show.stage, show.network.lost_input, dict(show.solved_marks))
    return Live(engine), Encoder(rig), Commands(engine)
