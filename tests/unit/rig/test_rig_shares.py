"""rig/shares.py: what network.yaml and rig.yaml say of each head's channels, as arrays."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from bridge.rig.fixture import DeskShare, Fixture
from bridge.rig.profile import CHANNEL_NAMES
from bridge.rig.shares import DIMMER, FOCUS, PAN, TILT, ZOOM, shares
from bridge.wire.settings import DeskSettings
from tests.conftest import spot_profile

OURS_ALL = np.ones(5, dtype=bool)


def head(name: str, universe: int, share: DeskShare | None = None) -> Fixture:
    said: dict[str, Any] = {} if share is None else {"desk": share}
    return Fixture(name, spot_profile(), universe, 1, **said)


def test_the_rows_are_those_of_the_channel_names() -> None:
    assert [CHANNEL_NAMES[row] for row in (PAN, TILT, DIMMER, ZOOM, FOCUS)] == list(CHANNEL_NAMES)


def test_a_head_is_as_the_settings_say_unless_it_says_otherwise() -> None:
    desk = DeskSettings(universes={1: 101}, own=("pan", "tilt", "dimmer"))
    heads = [head("a", 1), head("b", 1, DeskShare(own=("pan", "tilt"))), head("c", 1, DeskShare(dimmer="ours"))]
    found = shares(heads, desk)
    assert found.own.T.tolist() == [
        [True, True, True, False, False],
        [True, True, False, False, False],
        [True, True, True, False, False],
    ]
    assert found.multiply.tolist() == [True, False, False]
    assert found.under.all()


def test_a_head_on_a_universe_without_a_desk_is_ours_alone() -> None:
    found = shares([head("a", 1), head("b", 2)], DeskSettings(universes={1: 101}, own=("pan",)))
    assert found.under.tolist() == [True, False]
    assert (found.own[:, 1] == OURS_ALL).all()
    assert not found.multiply.any()


@pytest.mark.parametrize(("universes", "under"), [({}, [True, True]), ({2: 2}, [False, True])])
def test_by_slot_lies_over_every_universe_unless_some_are_named(universes: dict[int, int], under: list[bool]) -> None:
    found = shares([head("a", 1), head("b", 2)], DeskSettings(way="by-slot", universes=universes))
    assert found.under.tolist() == under
    assert found.multiply.tolist() == under


def test_no_fixture_at_all() -> None:
    found = shares([], DeskSettings())
    assert found.own.shape == (5, 0)
    assert found.multiply.shape == found.under.shape == (0,)
