"""When a capture begins: at a state from which the same packets follow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bridge.daemon.recording import Recording
from bridge.door.door import Door, make
from bridge.door.events import Start, Stop
from bridge.door.inbox import Inbox
from bridge.show import load
from tests.unit.daemon.test_reloading import RIG, STAGE


class EagerRecorder:
    """Wants to begin a capture all the time; counts how often it may."""

    begun = 0

    def wants_start(self, at_us: int) -> bool:
        return True

    def begin_file(self, at_us: int, events: Any) -> None:
        self.begun += 1


def test_no_capture_begins_while_the_streams_end_with_a_frame_that_no_state_holds(tmp_path: Path) -> None:
    (tmp_path / "rig.yaml").write_text(RIG)
    (tmp_path / "stage.yaml").write_text(STAGE)
    door, recorder = Door(make(load(tmp_path)), bytes(16)), EagerRecorder()
    inbox = Inbox(("127.0.0.1/32",), lambda message: None, lambda refusal: None)
    recording = Recording(recorder, door, inbox, bytes(16), ("127.0.0.1", 9000), None)  # type: ignore[arg-type]
    door.apply(Start(0.0, armed=True, listening_since_s=-2.0))
    door.tick(0.0)
    recording.turn(0.1)
    assert recorder.begun == 1
    door.apply(Stop(0.1))
    while not door.transmission.ended:
        recording.turn(0.2)
        door.tick(0.2)
    assert recorder.begun == 1
    recording.turn(0.3)
    assert recorder.begun == 2
