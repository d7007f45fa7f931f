"""A desk's bytes read by the profiles, and our slots laid over the desk's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.rig.bytes import ByteMap
from bridge.rig.decode import Decoder
from bridge.rig.encode import Encoder
from bridge.rig.fixture import Fixture
from bridge.rig.look import Look, Override
from bridge.rig.overlay import Overlay
from bridge.rig.profile import CHANNEL_NAMES, Axis, Profile
from bridge.rig.rig import Rig

ALL = np.array([True, True])
CHANNELS = {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6), "zoom": (7, 8), "focus": (9, 10)}


def profile(channels: dict[str, tuple[int, ...]] = CHANNELS, curve: str = "linear") -> Profile:
    pan, tilt = Axis(270.0, -270.0), Axis(-135.0, 135.0)
    return Profile("spot", 16, channels, pan, tilt, fixed={11: 255, 12: 7}, dimmer_curve=curve)


def two(of: Profile) -> Rig:
    """One head on each of two universes, the second in the middle of its universe."""
    return Rig.from_fixtures((Fixture("a", of, 1, 1), Fixture("b", of, 7, 201)), {})


def look(rig: Rig, own: np.ndarray, whole: np.ndarray, overrides: tuple[Override, ...] = ()) -> Look:
    half = np.full(len(rig), 0.5)
    return Look(half, half, half, half * 1000, half * 1000, overrides, own=own, whole=whole)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-270, 270), st.floats(-135, 135), st.floats(0, 1), st.sampled_from(["linear", "square"]),
    st.permutations(range(1, 17)), st.integers(1, 4),
)  # fmt: skip
def test_what_is_encoded_is_read_again(
    pan: float, tilt: float, light: float, curve: str, offsets: list[int], octets: int
) -> None:
    """In any order of bytes: to half a step of each channel."""
    rest = iter(offsets)
    channels = {"pan": tuple(next(rest) for _ in range(octets)), "tilt": (next(rest), next(rest))}
    channels |= {"dimmer": (next(rest), next(rest)), "zoom": (next(rest),)}
    of = Profile("spot", 16, channels, Axis(270.0, -270.0), Axis(-135.0, 135.0), dimmer_curve=curve)
    rig = two(of)
    angle, one = np.radians([pan, tilt]), np.ones(2)
    slots = Encoder(rig).encode(Look(angle[0] * one, angle[1] * one, light * one, 77 * one, np.nan * one))
    decoder = Decoder(rig, ByteMap(rig.fixtures))
    decoder.know_fine(["a", "b"])
    says = decoder.read(slots, ALL)
    assert np.degrees(says.pan_rad) == pytest.approx([pan, pan], abs=0.51 * 540 / (256**octets - 1) + 1e-9)
    assert np.degrees(says.tilt_rad) == pytest.approx([tilt, tilt], abs=0.51 * 270 / 65535)
    raw = says.light if curve == "linear" else np.sqrt(says.light)
    assert raw == pytest.approx([light if curve == "linear" else light**0.5] * 2, abs=0.51 / 65535)
    assert says.zoom_raw.tolist() == [77, 77]
    assert np.isnan(says.focus_raw).all(), "this profile has no focus"


def test_a_desk_of_8_bits_reaches_full_and_one_that_sends_16_is_taken_at_its_word() -> None:
    rig = two(profile())
    decoder, slots = Decoder(rig, ByteMap(rig.fixtures)), np.zeros((2, 512), np.uint8)
    slots[0, 4], slots[1, 204] = 255, 128
    assert decoder.read(slots, ALL).light.tolist() == [1.0, 128 / 255]
    slots[1, 205] = 1
    assert decoder.read(slots, ALL).light.tolist() == [1.0, (128 * 256 + 1) / 65535]
    slots[1, 205] = 0
    assert decoder.read(slots, ALL).light.tolist() == [1.0, 128 * 256 / 65535], "it has 16 bits from now on"
    again = Decoder(rig, ByteMap(rig.fixtures))
    again.know_fine(decoder.fine_names)
    assert again.read(slots, ALL).light.tolist() == decoder.read(slots, ALL).light.tolist()


@pytest.mark.parametrize("ends", [(2056, 34695), (65535, 0), (40000, 1000)])
def test_a_dimmer_in_a_part_of_its_channel_is_sent_and_read_in_that_part_alone(ends: tuple[int, int]) -> None:
    rig = two(replace(profile(), dimmer_ends=ends))
    encoder, decoder = Encoder(rig), Decoder(rig, ByteMap(rig.fixtures))
    decoder.know_fine(rig.names)
    half = np.full(2, 0.5)
    for level in (0.0, 0.25, 1.0, 7.0):
        slots = encoder.encode(Look(half, half, np.full(2, level), half, half))
        assert 256 * int(slots[0, 4]) + int(slots[0, 5]) == round(ends[0] + min(level, 1) * (ends[1] - ends[0]))
        assert decoder.read(slots, ALL).light == pytest.approx([min(level, 1)] * 2, abs=1e-4)
    beyond = np.zeros((2, 512), np.uint8)
    beyond[0, 4:6], beyond[1, 204:206] = 255, 0
    assert set(decoder.read(beyond, ALL).light.tolist()) <= {0.0, 1.0}, "what lies beside it is its nearer end"


def test_only_heads_on_a_universe_that_was_heard_are_heard() -> None:
    rig = two(profile())
    says = Decoder(rig, ByteMap(rig.fixtures)).read(np.zeros((2, 512), np.uint8), np.array([False, True]))
    assert says.heard.tolist() == [False, True]


def expected(rig: Rig, shown: Look, ours: np.ndarray, under: np.ndarray) -> np.ndarray:
    """Slot by slot, as slowly as a person would."""
    out = under.copy()
    at = {1: 0, 7: 1}
    assert shown.own is not None
    assert shown.whole is not None
    for number, fixture in enumerate(rig.fixtures):
        row = at[fixture.universe]
        mine = {o for c, name in enumerate(CHANNEL_NAMES) if shown.own[c, number] for o in CHANNELS[name]}
        mine |= set(fixture.profile.fixed) if shown.whole[number] else set()
        mine |= {offset for n, slots in shown.overrides if n == number for offset, _ in slots}
        for offset in mine:
            out[row, fixture.address + offset - 2] = ours[row, fixture.address + offset - 2]
    return out


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2**10 - 1), st.integers(0, 3), st.booleans()), min_size=1, max_size=5),
    st.integers(0, 2**32 - 1),
)
def test_owned_slots_are_ours_and_all_others_the_desks_for_any_pattern(
    steps: list[tuple[int, int, bool]], seed: int
) -> None:
    """Through any sequence of owners: what was ours a moment ago is the desk's again."""
    rig, random = two(profile()), np.random.default_rng(seed)
    at = ByteMap(rig.fixtures)
    encoder, overlay = Encoder(rig), Overlay(at)
    for bits, whole_bits, held in steps:
        own = np.array([[bits >> (2 * c + n) & 1 for n in range(2)] for c in range(5)], dtype=bool)
        whole = np.array([whole_bits >> n & 1 for n in range(2)], dtype=bool)
        overrides = (Override(1, ((14, 99), (12, 3))),) if held else ()
        shown = look(rig, own, whole, overrides)
        under = random.integers(0, 256, (2, 512), dtype=np.uint8)
        ours = encoder.encode(shown)
        laid = np.where(overlay.ours(shown), ours, under)
        assert np.array_equal(laid, expected(rig, shown, ours, under))


def test_a_dark_look_has_every_dimmer_whoever_had_it(make_profile: Callable[..., Profile]) -> None:
    rig = two(profile())
    own = np.zeros((5, 2), dtype=bool)
    dark = look(rig, own, np.zeros(2, dtype=bool)).dark()
    assert dark.own is not None
    assert dark.own.tolist() == [[False] * 2, [False] * 2, [True] * 2, [False] * 2, [False] * 2]
    assert not own.any(), "the look that it was made of is as it was"
    assert dark.level.tolist() == [0.0, 0.0]
