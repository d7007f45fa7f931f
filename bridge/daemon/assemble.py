"""From a show folder to a service with all sockets open, in an order that leaves nothing half done when it fails.

Files first, then the lock, then every socket; nothing has been sent yet. The slow imports of the engine come last,
while the universes are already being listened to, so that `--armed` costs no more than the listening itself.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from bridge.daemon import summary
from bridge.daemon.ears import Ears
from bridge.daemon.endpoint import close_quietly, open_osc
from bridge.daemon.logs import LOG, start_logging
from bridge.daemon.loop import Loop
from bridge.daemon.output import Output
from bridge.daemon.poses_in_use import from_json
from bridge.daemon.service import Parts, Service
from bridge.daemon.state import Remembered, StateFolder, default_state_folder
from bridge.daemon.watch import Watch
from bridge.show import load
from bridge.show.model import Show


def assemble(
    path: Path, loop: Loop, early: Watch | None, undo: ExitStack, *, armed: bool, state: Path | None, log_level: str
) -> Service:
    """A service that only needs to be run; `early` is used if it covers the show.

    What must be closed at the end goes on `undo`. Raises TetherlightError with nothing sent and nothing held.
    """
    show = load(path)
    undo.callback(start_logging(log_level))
    folder = StateFolder(state or default_state_folder(), show.path)
    undo.callback(folder.close)
    osc = open_osc(show.network.osc.host, show.network.osc.port)
    undo.callback(close_quietly, osc)
    output = Output(show.network.sacn)
    undo.callback(output.close)
    universes = sorted({fixture.universe for fixture in show.fixtures})
    watch = _covering(early, universes, show.network.sacn.interface)
    undo.callback(watch.close)
    watch.ignore(folder.cid.bytes)
    remembered = folder.remember(time.time())
    show = _with_poses_in_use(show, folder, remembered)
    _greet(show, universes, remembered, armed)
    ears = Ears(watch, universes, folder.cid.bytes, time.monotonic)
    return build(show, Parts(loop, osc, output, ears, folder), remembered)


def build(show: Show, parts: Parts, remembered: Remembered) -> Service:
    """Engine, encoder and commands of a show, in a service."""
    from bridge.daemon.live import Live
    from bridge.follow.commands import Commands
    from bridge.follow.engine import Engine
    from bridge.rig.encode import Encoder
    from bridge.rig.rig import Rig

    rig = Rig.from_fixtures(show.fixtures, show.poses)
    engine = Engine(rig, show.stage, show.network.lost_input, dict(show.solved_marks))
    return Service(show, Live(engine, show.poses), Encoder(rig), Commands(engine), parts, remembered)


def _with_poses_in_use(show: Show, folder: StateFolder, remembered: Remembered) -> Show:
    """After a crash: the show with the poses that were aimed with then, should others be on disk by now."""
    kept = folder.poses() if remembered.live is not None else None
    if kept is None:
        return show
    try:
        poses = {name: pose for name, pose in from_json(kept).items() if any(f.name == name for f in show.fixtures)}
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        LOG.warning("the poses kept before the crash cannot be read (%r); those of poses.yaml are taken", error)
        return show
    return replace(show, poses=poses)


def _covering(early: Watch | None, universes: Iterable[int], interface: str) -> Watch:
    """The early watch where it listens where it should, else a proper one."""
    if early is not None:
        if early.interface == interface and early.universes.issuperset(universes):
            return early
        early.close()
    return Watch(universes, interface)


def _greet(show: Show, universes: list[int], remembered: Remembered, armed: bool) -> None:
    for text in remembered.warnings:
        LOG.warning("%s", text)
    resumed = remembered.live is not None and remembered.armed
    for level, text in summary.lines(show, universes, armed or resumed):
        (LOG.warning if level == "warning" else LOG.info)("%s", text)
