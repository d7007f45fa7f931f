"""Which channels of each fixture are ours beside a desk, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from bridge.rig.fixture import Fixture
from bridge.rig.profile import CHANNEL_NAMES
from bridge.wire.settings import DeskSettings

PAN, TILT, DIMMER, ZOOM, FOCUS = range(len(CHANNEL_NAMES))


class Shares(NamedTuple):
    """Over N fixtures: `own` (5, N) channels of ours, rows as CHANNEL_NAMES; `multiply` (N,) those whose light is the
    desk's times ours; `under` (N,) those on a universe with a desk's under it. Elsewhere all is ours, and ours alone.
    """

    own: np.ndarray
    multiply: np.ndarray
    under: np.ndarray


def shares(fixtures: Sequence[Fixture], desk: DeskSettings) -> Shares:
    """As the settings say, unless a fixture says otherwise. A dimmer that is not ours is not multiplied either."""
    patched = desk.under({fixture.universe for fixture in fixtures})
    under = np.array([fixture.universe in patched for fixture in fixtures], dtype=bool)
    channels = [desk.own if f.desk.own is None else f.desk.own for f in fixtures]
    own = np.array([[name in ours for ours in channels] for name in CHANNEL_NAMES], dtype=bool)
    multiply = np.array([(f.desk.dimmer or desk.dimmer) == "multiply" for f in fixtures], dtype=bool)
    return Shares(own.reshape(len(CHANNEL_NAMES), -1) | ~under, multiply & own[DIMMER] & under, under)
