"""Decoding of channels and the motion of the venue's heads, in virtual time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Fixture
from bridge.rig.profile import Axis, Profile, ZoomTable
from bridge.venue.truth import FixtureTruth
from bridge.venue.virtual_heads import VirtualHeads

FLAWLESS = FixtureTruth((0, 0, 8), (0, 0, 0, 1))
DT = 0.01
PAN = Axis(-270, 270, 180, 600)


def _profile(depth: int, pan: Axis = PAN, curve: str = "linear") -> Profile:
    offsets = [tuple(range(1 + depth * i, 1 + depth * (i + 1))) for i in range(5)]
    channels = dict(zip(("pan", "tilt", "dimmer", "zoom", "focus"), offsets, strict=True))
    full = 256**depth - 1
    return Profile(
        "p", 5 * depth, channels, pan, Axis(-135, 135, 150, 500), zoom=ZoomTable(((0, 40, None), (full, 10, None))),
        focus=((4.0, 0), (20.0, full)), dimmer_curve=curve,
    )  # fmt: skip


def _slots(depth: int, shares: list[float], start: int = 0) -> bytes:
    values = b"".join(round(share * (256**depth - 1)).to_bytes(depth, "big") for share in shares)
    return (bytes(start) + values).ljust(512, b"\0")


def _heads(truth: FixtureTruth = FLAWLESS, profile: Profile | None = None) -> VirtualHeads:
    """One head that has heard one packet: middle of both axes (a hair above for whole raw values), dark."""
    heads = VirtualHeads([Fixture("a", profile or _profile(2), 7, 1)], [truth])
    depth = len(profile.channels["pan"]) if profile else 2
    heads.hear(7, _slots(depth, [0.5, 0.5, 0, 0, 0]))
    heads.step(DT)
    return heads


def _run(heads: VirtualHeads, seconds: float) -> np.ndarray:
    pans = []
    for _ in range(round(seconds / DT)):
        heads.step(DT)
        pans.append(float(np.degrees(heads.shaft[0, 0])))
    return np.array(pans)


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_every_depth_is_decoded(depth: int) -> None:
    heads = _heads(profile=_profile(depth))
    heads.hear(7, _slots(depth, [0.25, 0.75, 1.0, 0.5, 1.0]))
    _run(heads, 4.0)
    state, step = heads.state(), 270 / (256**depth - 1)
    assert np.degrees(state.pan_rad[0]) == pytest.approx(-135.0, abs=2 * step + 0.01)
    assert np.degrees(state.tilt_rad[0]) == pytest.approx(67.5, abs=step + 0.01)
    assert state.level[0] == pytest.approx(1.0)
    assert np.degrees(state.zoom_rad[0]) == pytest.approx(25.0, abs=0.1)
    assert state.focus_m[0] == pytest.approx(20.0, abs=0.01)


def test_a_reversed_axis_runs_the_other_way() -> None:
    heads = _heads(profile=_profile(2, pan=Axis(270, -270, 180, 600)))
    heads.hear(7, _slots(2, [0.25, 0.5, 0, 0, 0]))
    assert _run(heads, 4.0)[-1] == pytest.approx(135.0, abs=0.01)


def test_two_heads_of_two_depths_in_two_universes() -> None:
    fixtures = [Fixture("a", _profile(1), 7, 11), Fixture("b", _profile(3), 9, 101)]
    heads = VirtualHeads(fixtures, [FLAWLESS, FLAWLESS])
    heads.hear(9, _slots(3, [0.75, 0.5, 0.5, 0, 0], start=100))
    heads.hear(7, _slots(1, [0.25, 0.5, 0.0, 0, 0], start=10))
    heads.hear(8, bytes(512))  # nobody's universe
    _run(heads, 4.0)
    assert np.degrees(heads.state().pan_rad) == pytest.approx([-135, 135], abs=1.1)
    assert heads.state().level == pytest.approx([0.0, 0.5], abs=1e-3)


def test_a_short_packet_leaves_later_slots() -> None:
    heads = _heads()
    heads.hear(7, _slots(2, [0.5, 0.5, 1.0, 0, 0]))
    heads.hear(7, _slots(2, [0.75, 0.5, 0, 0, 0])[:4])
    assert heads.raw()[:, 0].tolist()[:3] == [49151, 32768, 65535]


def test_nothing_moves_before_the_dead_time_is_over() -> None:
    heads = _heads(replace(FLAWLESS, dead_time_s=0.2))
    heads.hear(7, _slots(2, [1.0, 0.5, 0, 0, 0]))
    pans = _run(heads, 0.5)
    assert np.abs(pans[:19]).max() < 0.01
    assert pans[24] > 0.1


def test_speed_and_acceleration_stay_inside_the_profile() -> None:
    heads = _heads()
    heads.hear(7, _slots(2, [1.0, 0.5, 0, 0, 0]))
    pans = _run(heads, 4.0)
    speed = np.diff(pans, prepend=0.0) / DT
    assert np.abs(speed).max() == pytest.approx(180.0, rel=1e-3)
    assert np.abs(np.diff(speed) / DT).max() <= 600.0 * (1 + 1e-6)
    assert pans.max() <= 270.0 + 0.02, "overshoot"
    # 270 deg at 180 deg/s, 0.3 s of ramp at each end: 270/180 + 180/600 = 1.8 s (trapezoidal profile, any textbook)
    arrival = DT * np.argmax(pans > 269.9)
    assert arrival == pytest.approx(1.8, abs=0.06)


def test_a_steady_motion_lags_by_dead_time_and_smoothing_only() -> None:
    heads = _heads(replace(FLAWLESS, dead_time_s=0.05, smoothing_s=0.06))
    error = []
    for i in range(300):
        wanted = 30.0 * i * DT  # deg, at 30 deg/s
        heads.hear(7, _slots(2, [(wanted + 270) / 540, 0.5, 0, 0, 0]))
        heads.step(DT)
        error.append(wanted - np.degrees(heads.shaft[0, 0]))
    assert error[-1] / 30.0 == pytest.approx(0.11, abs=0.012)


def test_backlash_is_the_gap_between_the_two_approaches() -> None:
    heads = _heads(replace(FLAWLESS, backlash_deg=0.4))
    stops = []
    for share in (0.3, 0.5, 0.7, 0.5):
        heads.hear(7, _slots(2, [share, 0.5, 0, 0, 0]))
        stops.append(_run(heads, 3.0)[-1])
    assert stops[3] - stops[1] == pytest.approx(0.4, abs=0.01)


def test_square_dimmer_and_its_response() -> None:
    heads = _heads(replace(FLAWLESS, dimmer_s=0.05), _profile(2, curve="square"))
    heads.hear(7, _slots(2, [0.5, 0.5, 0.5, 0, 0]))
    _run(heads, 0.05)
    assert heads.state().level[0] == pytest.approx(0.25 * (1 - np.exp(-1)), abs=0.01)
    _run(heads, 1.0)
    assert heads.state().level[0] == pytest.approx(0.25, abs=1e-3)


def test_zoom_and_focus_take_their_time() -> None:
    heads = _heads(replace(FLAWLESS, zoom_travel_s=1.0, focus_travel_s=2.0))
    heads.hear(7, _slots(2, [0.5, 0.5, 0, 1.0, 1.0]))
    _run(heads, 0.5)
    assert np.degrees(heads.state().zoom_rad[0]) == pytest.approx(25.0, abs=0.4)
    # focus: a quarter of the way from 1/4 to 1/20 dioptre
    assert 1 / heads.state().focus_m[0] == pytest.approx(0.25 - 0.2 / 4, abs=0.003)


def test_a_show_that_is_on_already_finds_the_heads_in_their_places() -> None:
    heads = VirtualHeads([Fixture("a", _profile(2), 7, 1)], [replace(FLAWLESS, dead_time_s=0.05, smoothing_s=0.05)])
    heads.hear(7, _slots(2, [0.75, 0.5, 1.0, 0.5, 0.5]))
    heads.step(DT)
    assert np.degrees(heads.state().pan_rad[0]) == pytest.approx(135.0, abs=0.01)
    assert heads.state().level[0] == 0.0
    assert _run(heads, 0.2) == pytest.approx(np.full(20, 135.0), abs=0.01)
    assert heads.state().level[0] == pytest.approx(1.0)


def test_dark_and_still_until_a_packet_is_heard() -> None:
    heads = VirtualHeads([Fixture("a", _profile(2), 7, 1)], [FLAWLESS])
    assert np.abs(_run(heads, 0.5)).max() == 0.0
    assert not heads.state().heard.any()
    assert heads.state().level[0] == 0.0


@pytest.mark.parametrize("smoothing_s", [0.0, 0.05, 0.1])
def test_a_move_commanded_at_the_limits_is_followed_without_overshoot(smoothing_s: float) -> None:
    """A sender that ramps with the profile's own speed and acceleration, 44 packets a second."""
    heads = _heads(replace(FLAWLESS, dead_time_s=0.03, smoothing_s=smoothing_s))
    pans, due = [], 0.0
    for i in range(400):
        t = i * DT
        if t >= due:
            due += 1 / 44
            wanted = _trapezoid(t, 100.0, 180.0, 600.0)
            heads.hear(7, _slots(2, [(wanted + 270) / 540, 0.5, 0, 0, 0]))
        heads.step(DT)
        pans.append(float(np.degrees(heads.shaft[0, 0])))
    assert max(pans) < 100.3
    assert pans[-1] == pytest.approx(100.0, abs=0.02)
    # 100 deg take 100/180 + 180/600 = 0.856 s; then dead time, smoothing and one packet
    assert DT * np.argmax(np.array(pans) > 99.5) < 0.856 + 0.03 + 0.023 + smoothing_s + 0.1


def _trapezoid(t: float, far: float, speed: float, acceleration: float) -> float:
    ramp = speed / acceleration
    total = far / speed + ramp
    if t <= ramp:
        return acceleration * t * t / 2
    if t <= total - ramp:
        return speed * ramp / 2 + speed * (t - ramp)
    return far - acceleration * max(total - t, 0.0) ** 2 / 2


def test_colour_is_what_the_slots_mix_and_white_without_any() -> None:
    mixing = replace(FLAWLESS, colour=(12, 11, 14))
    profile = replace(_profile(2), footprint=14)
    heads = VirtualHeads([Fixture("a", profile, 7, 1), Fixture("b", profile, 7, 21)], [FLAWLESS, mixing])
    assert heads.state().colour.tolist() == [[1, 1, 1], [0, 0, 0]]
    slots = bytearray(512)
    slots[30], slots[31], slots[33] = 51, 255, 102  # addresses 31, 32, 34: offsets 11, 12, 14 of the second head
    heads.hear(7, bytes(slots))
    heads.step(DT)
    assert heads.state().colour == pytest.approx(np.array([[1, 1, 1], [1, 0.2, 0.4]]))


def test_a_dimmer_in_a_part_of_its_channel_lights_there() -> None:
    heads = _heads(profile=replace(_profile(2), dimmer_ends=(6554, 32768)))
    for share, light in ((0.1, 0.0), (0.3, 0.5), (0.5, 1.0), (0.05, 0.0)):
        heads.hear(7, _slots(2, [0.5, 0.5, share, 0, 0]))
        _run(heads, 1.0)
        assert heads.state().level[0] == pytest.approx(light, abs=1e-3)
