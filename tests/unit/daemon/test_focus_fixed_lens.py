"""A head whose beam has one angle: what is recorded of it is what a show reads again."""

from dataclasses import replace

import numpy as np

from bridge.daemon.status import pointing
from bridge.rig.profile import ZoomTable
from bridge.show.model import Show
from tests.unit.door.stand_ins import say, small_door, small_show


def with_fixed_lens() -> Show:
    show = small_show()
    first = show.fixtures[0]
    channels = {name: at for name, at in first.profile.channels.items() if name not in ("zoom", "focus")}
    profile = replace(first.profile, channels=channels, zoom=ZoomTable(((0.0, 20.0, 209000.0),)), focus=None)
    return replace(show, fixtures=(replace(first, profile=profile), *show.fixtures[1:]))


def test_no_zoom_and_no_focus_are_recorded_of_a_head_without_such_channels() -> None:
    door = small_door(with_fixed_lens())
    say(door, 0.0, "/arm", 1)
    door.tick(1.5)
    fixed, other = (door.engine.rig.names[n] for n in (0, 1))
    assert (pointing(door, fixed).zoom, pointing(door, fixed).focus) == (None, None)
    say(door, 2.0, f"/sight/{fixed}/point", 10.0, 50.0)
    door.tick(3.0)
    assert np.isnan(door.engine.lens_of(0)).all()
    assert pointing(door, fixed).zoom is None
    assert pointing(door, other).zoom is not None
