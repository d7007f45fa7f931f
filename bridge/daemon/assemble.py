"""From a show to a service with all sockets open, in an order that leaves nothing half done when it fails.

The lock first, then every socket; nothing has been sent yet.
"""

from __future__ import annotations

import socket
import time
from contextlib import ExitStack
from pathlib import Path

import scipy.interpolate  # noqa: F401 -- rig/optics takes it with the first focus table: that must not be within a frame

from bridge.daemon import clock, panel_process, summary
from bridge.daemon.beside import DeskInput
from bridge.daemon.boot import moment
from bridge.daemon.ears import Ears
from bridge.daemon.endpoint import close_quietly, open_osc
from bridge.daemon.inputs import TrackingInputs
from bridge.daemon.interfaces import resolve_address
from bridge.daemon.logs import LOG, start_logging
from bridge.daemon.loop import Loop
from bridge.daemon.options import Options
from bridge.daemon.output import Output
from bridge.daemon.panel_process import PanelProcess
from bridge.daemon.parts import Parts
from bridge.daemon.recorder import Recorder
from bridge.daemon.remembered import CLEAR, Remembered
from bridge.daemon.service import Service
from bridge.daemon.state import StateFolder, default_state_folder
from bridge.daemon.watch import Watch
from bridge.door.door import Door, Made, make
from bridge.door.inbox import AllowList
from bridge.door.poses import from_json
from bridge.show.model import Show
from bridge.wire.settings import PanelSettings, RecordSettings, reached_at


def assemble(show: Show, watch: Watch, loop: Loop, undo: ExitStack, options: Options) -> Service:
    """A service that only needs to be run; `watch` listens to the universes of the show already.

    What must be closed at the end goes on `undo`. Raises TetherlightError with nothing sent and nothing held.
    """
    undo.callback(start_logging(options.log_level))
    universes = sorted(watch.universes)
    folder = StateFolder(options.state or default_state_folder(), show.path)
    undo.callback(folder.close)
    osc = open_osc(show.network.osc.host, show.network.osc.port)
    undo.callback(close_quietly, osc)
    output = Output(show.network.sacn)
    undo.callback(output.close)
    ears = Ears(watch, universes, folder.cid.bytes, clock.now_s)
    undo.callback(ears.close)
    ears.ours(output.endpoint)
    remembered = folder.remember(moment())
    _greet(show, universes, remembered, options.armed)
    recorder = _recorder(show, options.record)
    door = Door(_made(show, folder, remembered), folder.cid.bytes)
    desk = DeskInput(loop, door, folder.cid.bytes, clock.now_s)
    undo.callback(desk.close)
    desk.open(show.network, universes)
    desk.ours(output.endpoint)
    inputs = TrackingInputs(loop, clock.now_s, folder.cid.bytes)
    undo.callback(inputs.close)
    inputs.take(show.network, show.stage.targets)

    def opened(endpoint: tuple[str, int]) -> None:
        ears.ours(endpoint)
        desk.ours(endpoint)

    output.opened = opened
    panel = _panel(show, osc, options)
    return Service(door, Parts(loop, osc, output, ears, desk, inputs, folder, recorder, panel), remembered)


def _made(show: Show, folder: StateFolder, remembered: Remembered) -> Made:
    """After a crash: with the poses that were aimed with then, should others be on disk by now."""
    kept, doubt = folder.poses() if remembered.live is not None else (None, "")
    try:
        if kept is not None:
            return make(show, from_json(kept))
    except Exception as error:  # whatever stands there, it must not end the start
        doubt = repr(error)
    if doubt:
        LOG.warning("the poses kept before the crash cannot be read (%s); those of poses.yaml are taken", doubt)
    return make(show)


def _panel(show: Show, osc: socket.socket, options: Options) -> PanelProcess | None:
    """Started by the service; here is only said how."""
    if not options.panel:
        return None
    host, port = osc.getsockname()[:2]
    host, state = reached_at(host), options.state or default_state_folder()

    def words(settings: PanelSettings) -> list[str]:
        listen = (resolve_address(settings.host), settings.port)
        return panel_process.command(show.path, (host, port), listen, state, options.record)

    if show.network.panel is not None and host not in AllowList(show.network.osc.allow):
        LOG.warning(
            "the panel will not be obeyed: it sends from %s, which is not in `osc: allow` of network.yaml", host
        )
    return PanelProcess(words)


def _recorder(show: Show, option: Path | None) -> Recorder | None:
    settings = show.network.record
    if option is None and settings is None:
        return None
    settings = settings or RecordSettings()
    folder = option or show.path / settings.folder
    recorder = Recorder(
        folder, settings.days, settings.megabytes, lambda: time.time_ns() // 1000, LOG.error, show.path.resolve().name
    )
    recorder.start()
    LOG.info("recording to %s, at most %g days and %g MB", folder, settings.days, settings.megabytes)
    return recorder


def _greet(show: Show, universes: list[int], remembered: Remembered, armed: bool) -> None:
    for text in remembered.warnings:
        (LOG.error if text.endswith(CLEAR) else LOG.warning)("%s", text)
    for level, text in summary.lines(show, universes, armed):
        (LOG.warning if level == "warning" else LOG.info)("%s", text)
