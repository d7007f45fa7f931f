"""The encoder at its edges: light out of range, what a head has not, limits on a whole step, and `dark`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bridge.rig.encode import Encoder
from bridge.rig.fixture import Fixture
from bridge.rig.look import Look
from bridge.rig.profile import Axis, Profile
from bridge.rig.rig import Rig
from bridge.wire.e131 import DataPacket

PAN, TILT, DIMMER, ZOOM, FOCUS = range(5)
FULL = 65535


def encoder(*fixtures: Fixture) -> Encoder:
    return Encoder(Rig.from_fixtures(fixtures, {}))


def look(
    pan_deg: float = 0.0, tilt_deg: float = 0.0, level: float = 0.0, zoom: float = 0.0, focus: float = 0.0
) -> Look:
    values = np.array([[np.radians(pan_deg)], [np.radians(tilt_deg)], [level], [zoom], [focus]])
    return Look(*values)


@pytest.mark.parametrize(("level", "raw"), [(-0.5, 0), (1.5, FULL), (0.5, 32768)])
@pytest.mark.parametrize("curve", ["linear", "square"])
def test_light_out_of_range_is_held(level: float, raw: int, curve: str, make_profile: Callable[..., Profile]) -> None:
    one = encoder(Fixture("a", make_profile(dimmer_curve=curve), 1, 1))
    found = one.raw(look(level=level if curve == "linear" or not 0 < level < 1 else level**2))
    assert found[DIMMER, 0] == raw


@pytest.mark.parametrize(("value", "raw"), [(np.nan, 0), (-4.0, 0), (1e9, FULL), (1000.4, 1000), (1000.6, 1001)])
def test_zoom_and_focus_are_held_and_rounded(value: float, raw: int, make_profile: Callable[..., Profile]) -> None:
    one = encoder(Fixture("a", make_profile(), 1, 1))
    assert one.raw(look(zoom=value))[ZOOM, 0] == raw
    assert one.raw(look(focus=value))[FOCUS, 0] == raw
    assert one.raw(look(zoom=value))[FOCUS, 0] == 0


def test_what_is_encoded_can_be_patched_into_a_packet(make_profile: Callable[..., Profile]) -> None:
    """DMX slots are octets: a packet takes an array of uint8 and no other."""
    slots = encoder(Fixture("a", make_profile(), 1, 1)).encode(look(level=1.0))
    packet = DataPacket(bytes(16), "x", 100, 1).pack(slots[0], 0)
    assert bytes(packet[126 + 4 : 126 + 6]) == b"\xff\xff"


def test_every_channel_has_a_full_scale_of_its_own(make_profile: Callable[..., Profile]) -> None:
    channels = {"pan": (1, 2, 3), "tilt": (4, 5), "dimmer": (6,), "zoom": (7,), "focus": (8, 9)}
    one = encoder(Fixture("a", make_profile(channels=channels, fixed={}), 1, 1))
    shown = look(270.0, 135.0, 1.0, 1e9, 1e9)
    assert one.raw(shown)[:, 0].tolist() == [256**3 - 1, FULL, 255, 255, FULL]
    assert one.encode(shown)[0, :10].tolist() == [255] * 9 + [0]


def test_a_limit_on_a_whole_step_is_reached_and_not_passed(make_profile: Callable[..., Profile]) -> None:
    """540 degrees over 16 bits: raw 1000 and 60000 written in degrees are not whole numbers of steps in floats."""
    step = 540 / FULL
    limits = (-270 + 1000 * step, -270 + 60000 * step)
    for ends, expected in (((-270.0, 270.0), (1000, 60000)), ((270.0, -270.0), (FULL - 1000, FULL - 60000))):
        profile = make_profile(pan=Axis(*ends))
        one = encoder(Fixture("a", profile, 1, 1, pan_limits=limits))
        assert tuple(one.raw(look(pan))[PAN, 0] for pan in (-270, 270)) == expected


@pytest.mark.parametrize("backwards", [False, True])
def test_a_limit_between_two_steps_stays_on_the_inner_one(
    backwards: bool, make_profile: Callable[..., Profile]
) -> None:
    step = 540 / FULL
    profile = make_profile(pan=Axis(*((270.0, -270.0) if backwards else (-270.0, 270.0))))
    one = encoder(Fixture("a", profile, 1, 1, pan_limits=(-270 + 1000.4 * step, -270 + 60000.6 * step)))
    sent = [one.raw(look(pan))[PAN, 0] for pan in (-270, 270)]
    assert sent == ([FULL - 1001, FULL - 60000] if backwards else [1001, 60000])


def test_limits_closer_than_a_step_leave_one_value(make_profile: Callable[..., Profile]) -> None:
    step = 540 / FULL
    one = encoder(Fixture("a", make_profile(), 1, 1, pan_limits=(-270 + 1000.4 * step, -270 + 1000.6 * step)))
    assert {int(one.raw(look(pan))[PAN, 0]) for pan in (-270, 0, 270)} == {1001}


def test_fixed_channels_hold_in_every_universe_whatever_is_encoded(make_profile: Callable[..., Profile]) -> None:
    profile = make_profile(fixed={11: 255, 16: 7})
    both = encoder(Fixture("a", profile, 5, 1), Fixture("b", profile, 3, 497))
    two = Look(*np.zeros((5, 2)))
    for _ in range(2):
        slots = both.encode(two)
        assert both.universes == (3, 5)
        assert [slots[0, 496 + 10], slots[0, 511], slots[1, 10], slots[1, 15]] == [255, 7, 255, 7]


def test_a_head_of_one_byte_is_patched_beside_one_of_two(make_profile: Callable[..., Profile]) -> None:
    coarse = make_profile(channels={"pan": (1,), "tilt": (2,), "dimmer": (3,)}, fixed={}, footprint=3)
    both = encoder(Fixture("a", coarse, 1, 20), Fixture("b", make_profile(fixed={}), 1, 1))
    shown = Look(*np.array([np.radians([270.0, -270.0]), np.radians([-135.0, 135.0]), [0.5, 1.0], [9, 257], [9, 258]]))
    slots = both.encode(shown)[0].tolist()
    assert slots[:10] == [0, 0, 255, 255, 255, 255, 1, 1, 1, 2]
    assert slots[19:22] == [255, 0, 128]
    assert sum(slots) == 4 * 255 + 1 + 1 + 1 + 2 + 255 + 128


def test_dark_takes_the_light_and_nothing_else() -> None:
    shown = Look(*np.arange(1.0, 11.0).reshape(5, 2))
    dark = shown.dark()
    assert dark.level.tolist() == [0.0, 0.0]
    for name in ("pan_rad", "tilt_rad", "zoom_raw", "focus_raw"):
        assert getattr(dark, name).tolist() == getattr(shown, name).tolist()
    assert shown.level.tolist() == [5.0, 6.0]


def test_nobody_to_light_is_no_universe() -> None:
    none = encoder()
    assert none.universes == ()
    assert none.encode(Look(*np.zeros((5, 0)))).shape == (0, 512)
