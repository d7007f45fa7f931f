"""A profile as a GDTF, read back by our own reader: the same channels, ranges, speeds and held slots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.exchange.gdtf import read_gdtf
from bridge.exchange.gdtf_out import gdtf_of, type_name
from bridge.rig.profile import Axis, Profile
from bridge.show.folder import built_in_profiles, read_tree
from bridge.show.profile import read_profile

BUILT_IN = {name: read_profile(read_tree(path)[0]) for name, path in built_in_profiles().items()}
DEGREES = st.floats(-400, 400).map(lambda angle: round(angle, 3))
METRES = st.floats(-1, 1).map(lambda metres: round(metres, 4))


def check(profile: Profile) -> None:
    found = read_gdtf(gdtf_of(profile), "made.gdtf")
    assert (found.skipped, found.asks) == ((), ())
    (one,) = found.profiles
    document = one.document
    assert document["footprint"] == profile.footprint
    assert document["channels"] == {name: list(offsets) for name, offsets in profile.channels.items()}
    for name, axis in (("pan", profile.pan), ("tilt", profile.tilt)):
        assert (document[name]["from"], document[name]["to"]) == (axis.from_deg, axis.to_deg)
        assert document[name]["speed"] == pytest.approx(axis.speed, rel=1e-3)
    held = {int(slot): value for slot, value in document["fixed"].items()}
    assert {slot: value for slot, value in held.items() if value} == {s: v for s, v in profile.fixed.items() if v}
    assert document.get("axes_at", [0, 0, 0]) == pytest.approx(list(profile.axes_at), abs=1e-9)
    ends = document.get("dimmer", {"from": 0, "to": profile.full_scale("dimmer")})
    assert (ends["from"], ends["to"]) == profile.dimmer_raw
    if profile.zoom is not None and "zoom" in profile.channels:
        table = [row[:2] for row in document["zoom"]["table"]]
        for raw in np.linspace(0, profile.full_scale("zoom"), 50):
            was, now = (np.interp(raw, *zip(*rows, strict=True)) for rows in (_angles(profile), table))
            assert now == pytest.approx(was, abs=1e-3)
        assert document["zoom"]["edge"] == profile.zoom.edge


def _angles(profile: Profile) -> list[tuple[float, float]]:
    return [row[:2] for row in profile.zoom.rows] if profile.zoom else []


@pytest.mark.parametrize("profile", BUILT_IN.values(), ids=BUILT_IN)
def test_our_reader_finds_the_same_profile(profile: Profile) -> None:
    check(profile)


@settings(deadline=None)
@given(
    st.permutations(range(1, 33)),
    st.tuples(*[st.integers(1, 4)] * 3),
    st.tuples(DEGREES, DEGREES).filter(lambda ends: abs(ends[0] - ends[1]) > 90),
    st.tuples(METRES, METRES, METRES),
    st.dictionaries(st.integers(13, 32), st.integers(0, 255)),
    st.tuples(st.integers(0, 255), st.integers(0, 255)).filter(lambda ends: ends[0] != ends[1]),
)
def test_bytes_in_any_place_and_order_and_axes_anywhere(
    slots: list[int],
    sizes: tuple[int, int, int],
    ends: tuple[float, float],
    axes: tuple[float, ...],
    held: dict,
    dimmer: tuple[int, int],
) -> None:
    waiting = list(slots)
    channels = {
        name: tuple(waiting.pop(0) for _ in range(size))
        for name, size in zip(("pan", "tilt", "dimmer"), sizes, strict=True)
    }
    owned = {slot for offsets in channels.values() for slot in offsets}
    fixed = {slot: value for slot, value in held.items() if slot not in owned}
    step = 256 ** (sizes[2] - 1)
    first, last = min(dimmer) * step, (max(dimmer) + 1) * step - 1
    ends_of = (first, last) if dimmer[0] < dimmer[1] else (last, first)
    check(Profile("any", 32, channels, Axis(*ends), Axis(-100, 100), fixed, axes_at=axes, dimmer_ends=ends_of))


def test_names_keep_to_the_characters_that_the_standard_allows() -> None:
    profile = BUILT_IN["spot-16bit"]
    assert type_name(profile) == "generic spot 16 bit"
    assert type_name(replace(profile, name="Äöü<&>\0")) == "head"
    assert gdtf_of(replace(profile, name="Äöü<&>\0"))


@pytest.mark.parametrize("profile", BUILT_IN.values(), ids=BUILT_IN)
def test_brightness_of_the_widest_zoom_comes_back(profile: Profile) -> None:
    (one,) = read_gdtf(gdtf_of(profile), "made.gdtf").profiles
    was = max(profile.zoom.rows, key=lambda row: row[1])
    now = max(one.document["zoom"]["table"], key=lambda row: row[1])
    assert now[2] == pytest.approx(was[2], rel=0.02)
