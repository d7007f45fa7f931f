"""What hands set in a focus session acts as soon as its poses are taken, in the daemon that learned it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from bridge.door import record
from bridge.door.events import NewPoses
from bridge.rig.fixture import OwnTables

LEARNED = OwnTables(focus=((3.0, 61000.0), (8.0, 33000.0), (20.0, 14000.0)))
TWO = {"foh-1": LEARNED, "mid-2": LEARNED}


def focus(bridge: Any) -> np.ndarray:
    return np.array([bridge.frame.focus_raw, bridge.frame.zoom_raw])


def take(bridge: Any, optics: dict[str, OwnTables] = TWO) -> None:
    bridge.apply(NewPoses(bridge.now_s, dict(bridge.door.poses), optics=optics))


def test_a_learned_focus_acts_with_the_poses_and_is_told(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    before, numbers = focus(bridge), [bridge.number(name) for name in TWO]
    bridge.door.news.take()
    take(bridge)
    bridge.stand(1.0, 3.0)
    change = focus(bridge)[0] - before[0]
    assert change[numbers] == pytest.approx(2000, abs=150)
    assert np.delete(change, numbers) == pytest.approx(0, abs=1e-6)
    assert focus(bridge)[1] == pytest.approx(before[1], abs=1e-6)
    assert [notice.text for notice in bridge.door.news.take()] == [
        "focus from now on as hands set it at the marks: foh-1, mid-2"
    ]


def test_a_table_that_is_learned_no_more_gives_way_to_the_profiles(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    before = focus(bridge)
    take(bridge)
    bridge.stand(1.0, 3.0)
    take(bridge, {"foh-1": OwnTables(), "mid-2": OwnTables()})
    bridge.stand(1.0, 3.0)
    assert focus(bridge) == pytest.approx(before, abs=1e-6)


def test_a_capture_that_begins_later_has_what_was_learned(bridge: Any) -> None:
    """The show's files in a capture are those of the start; the tape's replay, byte for byte, is the check."""
    bridge.stand(1.0, 3.0)
    take(bridge)
    bridge.stand(1.0, 3.0)
    bridge.begin_tape()
    bridge.stand(-2.0, 4.0)


def test_poses_of_older_captures_hold_no_tables(bridge: Any) -> None:
    event = NewPoses(1.0, dict(bridge.door.poses), optics=TWO)
    written = record.event(event, 0)
    data = record.json.loads(written)
    assert record.event_from(data, lambda files: bridge.door.show).optics == TWO  # type: ignore[union-attr]
    del data["optics"]
    assert record.event_from(data, lambda files: bridge.door.show).optics == {}  # type: ignore[union-attr]
