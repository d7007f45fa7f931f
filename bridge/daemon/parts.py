"""What was opened for a service."""

from __future__ import annotations

import socket
from dataclasses import dataclass

from bridge.daemon.beside import DeskInput
from bridge.daemon.ears import Ears
from bridge.daemon.inputs import TrackingInputs
from bridge.daemon.loop import Loop
from bridge.daemon.output import Output
from bridge.daemon.panel_process import PanelProcess
from bridge.daemon.recorder import Recorder
from bridge.daemon.state import StateFolder


@dataclass(frozen=True)
class Parts:
    """Whoever opened them closes them. `recorder` is None where nothing is recorded, `panel` where none is wanted."""

    loop: Loop
    osc: socket.socket
    output: Output
    ears: Ears
    desk: DeskInput
    inputs: TrackingInputs
    folder: StateFolder
    recorder: Recorder | None = None
    panel: PanelProcess | None = None
