"""Degrees to bytes against conventions.md, "Angles and DMX", and decoding done here by hand."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.rig.encode import Encoder
from bridge.rig.fixture import Fixture
from bridge.rig.look import Look
from bridge.rig.profile import Axis, Profile
from bridge.rig.rig import Rig

PAN, TILT, DIMMER, ZOOM, FOCUS = range(5)


def profile(pan: tuple[float, float] = (-270.0, 270.0), depth: int = 2, curve: str = "linear") -> Profile:
    offsets = [tuple(range(1 + depth * n, 1 + depth * (n + 1))) for n in range(3)]
    channels = dict(zip(("pan", "tilt", "dimmer"), offsets, strict=True))
    return Profile("made up", 3 * depth, channels, Axis(*pan), Axis(-135.0, 135.0), dimmer_curve=curve)


def look(pan_deg: float = 0.0, tilt_deg: float = 0.0, level: float = 0.0, heads: int = 1) -> Look:
    ones, nan = np.ones(heads), np.full(heads, np.nan)
    return Look(math.radians(pan_deg) * ones, math.radians(tilt_deg) * ones, level * ones, nan, nan)


def encoder(*fixtures: Fixture) -> Encoder:
    return Encoder(Rig.from_fixtures(fixtures, {}))


def decoded(raw: float, axis: tuple[float, float], depth: int) -> float:
    """deg = from + (to - from) · raw / (256^n - 1)"""
    return axis[0] + (axis[1] - axis[0]) * raw / (256**depth - 1)


# design/conventions.md: "For 540 deg on 16 bits a step is 0.00824 deg: 1.4 mm at 10 m"
def test_a_16_bit_step_of_540_degrees_is_540_over_65535() -> None:
    one, step = encoder(Fixture("a", profile(), 1, 1)), 540 / 65535
    assert step == pytest.approx(0.00824, abs=5e-6)
    assert 10 * math.radians(step) == pytest.approx(1.4e-3, abs=5e-5)
    raws = [one.raw(look(-270 + n * step))[PAN, 0] for n in range(5)]
    assert raws == [0, 1, 2, 3, 4]
    assert [one.raw(look(-270 + 0.49 * step))[PAN, 0], one.raw(look(-270 + 0.51 * step))[PAN, 0]] == [0, 1]


@pytest.mark.parametrize(("depth", "full"), [(1, 255), (2, 65535), (3, 16777215), (4, 4294967295)])
@pytest.mark.parametrize("pan", [(-270.0, 270.0), (270.0, -270.0), (0.0, 540.0)])
def test_the_ends_of_the_range_are_0_and_full_scale(depth: int, full: int, pan: tuple[float, float]) -> None:
    one = encoder(Fixture("a", profile(pan, depth), 1, 1))
    assert [one.raw(look(end))[PAN, 0] for end in pan] == [0, full]


@given(
    ends=st.tuples(st.floats(-400, 400), st.floats(-400, 400)).filter(lambda e: abs(e[1] - e[0]) > 1),
    depth=st.integers(1, 3),
    share=st.floats(0, 1),
)
@settings(max_examples=60, deadline=None)
def test_what_is_decoded_is_what_was_meant_to_half_a_step(ends: tuple[float, float], depth: int, share: float) -> None:
    angle = ends[0] + share * (ends[1] - ends[0])
    raw = encoder(Fixture("a", profile(ends, depth), 1, 1)).raw(look(angle))[PAN, 0]
    half_a_step = abs(ends[1] - ends[0]) / (256**depth - 1) / 2
    assert abs(decoded(raw, ends, depth) - angle) <= half_a_step * (1 + 1e-6)


@given(
    limits=st.tuples(st.floats(-270, 270), st.floats(-270, 270)).filter(lambda e: e[1] - e[0] > 5),
    angle=st.floats(-720, 720),
    depth=st.integers(1, 3),
    backwards=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_nothing_is_ever_sent_beyond_a_soft_limit(
    limits: tuple[float, float], angle: float, depth: int, backwards: bool
) -> None:
    ends = (270.0, -270.0) if backwards else (-270.0, 270.0)
    one = encoder(Fixture("a", profile(ends, depth), 1, 1, pan_limits=limits))
    sent = decoded(one.raw(look(angle))[PAN, 0], ends, depth)
    assert limits[0] - 1e-4 <= sent <= limits[1] + 1e-4


def test_coarse_comes_first_wherever_the_bytes_lie() -> None:
    channels = {"pan": (7, 2), "tilt": (3, 4, 5), "dimmer": (1,)}
    scattered = Profile("scattered", 8, channels, Axis(-270, 270), Axis(-135, 135), fixed={8: 77})
    one = encoder(Fixture("a", scattered, 3, 101))
    pan = decoded(0x1234, (-270, 270), 2)
    tilt = decoded(0xABCDEF, (-135, 135), 3)
    slots = one.encode(look(pan, tilt, 1.0))
    assert one.universes == (3,)
    # offset n of a fixture at address 101 is slot 100 + n, here counted from 0; coarse = raw >> 8, fine = raw & 255
    assert list(slots[0, 100:108]) == [255, 0x34, 0xAB, 0xCD, 0xEF, 0, 0x12, 77]
    assert int(slots.astype(int).sum()) == 255 + 0x34 + 0xAB + 0xCD + 0xEF + 0x12 + 77


def test_universes_are_sorted_and_a_fixture_may_end_on_slot_512() -> None:
    last = Fixture("last", profile(), 9, 507)
    both = encoder(last, Fixture("first", profile(), 2, 1))
    slots = both.encode(look(270, 135, 1.0, heads=2))
    assert both.universes == (2, 9)
    assert list(slots[0, :6]) == [255] * 6
    assert list(slots[1, 506:]) == [255] * 6
    assert int(slots.astype(int).sum()) == 12 * 255


# interface.md, profiles: "linear | square: light = (raw/max)², so raw = max·√level"
@pytest.mark.parametrize(
    ("curve", "depth", "level", "raw"),
    [
        ("linear", 1, 0.5, 128),
        ("linear", 2, 0.25, 16384),
        ("square", 1, 0.25, 128),
        ("square", 2, 0.25, 32768),
        ("square", 2, 0.01, 6554),
        ("square", 2, 1.0, 65535),
        ("linear", 2, 0.0, 0),
    ],
)
def test_light_goes_through_the_dimmer_curve(curve: str, depth: int, level: float, raw: int) -> None:
    one = encoder(Fixture("a", profile(depth=depth, curve=curve), 1, 1))
    assert one.raw(look(level=level))[DIMMER, 0] == raw


def test_a_head_without_zoom_and_focus_has_no_such_bytes(make_profile: Callable[..., Profile]) -> None:
    with_zoom, without = Fixture("a", make_profile(), 1, 1), Fixture("b", profile(), 1, 101)
    shown = look(heads=2)
    shown = Look(shown.pan_rad, shown.tilt_rad, shown.level, np.full(2, 4660.0), np.full(2, 22136.0))
    pair = encoder(with_zoom, without)
    assert list(pair.raw(shown)[ZOOM]) == [4660, 0]
    slots = pair.encode(shown)
    assert list(slots[0, 6:10]) == [0x12, 0x34, 0x56, 0x78]
    assert not slots[0, 106:].any()
